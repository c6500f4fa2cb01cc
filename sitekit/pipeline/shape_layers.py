"""Colonies, protected areas and the area of interest: shapes read, kept, and marked on the grid."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from rasterio.features import rasterize

from sitekit.base.crs import geographic_bounds
from sitekit.errors import Fault, InputFault
from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.points import read_points
from sitekit.layers.polygons import read_polygons
from sitekit.layers.protected import RULE_CODES, read_protected
from sitekit.layers.tiled import Output
from sitekit.pipeline.fields import RASTERS
from sitekit.pipeline.project import Project
from sitekit.season.plan_tables import fixed_time
from sitekit.season.settings_layers import Area, Protected


def colonies_layer(project: Project, grid: Grid) -> tuple[list[dict[str, Any]], bool]:
    """Read existing colonies, mark their cells; return a row of figures per file, and whether searches have outlines."""
    rows, frames, areas = [], [], []
    for i, layer in enumerate(project.settings.layers.colonies):
        key = f"layers.colonies[{i + 1}]"
        frame, notes = read_points(
            project.input(layer.file, f"{key}.file"),
            to_crs=grid.crs,
            x=layer.x,
            y=layer.y,
            crs=layer.crs,
            columns={str(k): v for k, v in layer.columns.items()},
            origin=layer.origin,
            position_error_m=layer.position_error_m,
            where=key,
        )
        row, col = grid.cell_of(frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy())
        inside = grid.holds(row, col)
        if not inside.any():
            raise InputFault(
                Fault(
                    key,
                    f"none of {len(frame)} colonies lies on the grid",
                    "colonies in the area",
                    "Check the order of the coordinates and the system.",
                )
            )
        frames.append(frame)
        if layer.surveyed_area:
            shape, more = read_polygons(
                project.input(layer.surveyed_area, f"{key}.surveyed_area"),
                to_crs=grid.crs,
                where=f"{key}.surveyed_area",
            )
            areas.append(shapely.unary_union(list(shape.geometry)))
            notes = (*notes, *more)
        extent = _extent(frame, grid)
        rows.append(
            {
                "layer": f"colonies[{i + 1}]",
                "unit": "points",
                "source_crs": grid.crs.name,
                "extent": list(extent),
                "rows": len(frame),
                "on_grid": int(inside.sum()),
                "origin": {k: int(v) for k, v in frame["origin"].value_counts().sort_index().items()},
                "position_error_m": [float(frame["position_error_m"].min()), float(frame["position_error_m"].max())],
                "notes": [*notes, *([] if layer.surveyed_area else ["no surveyed_area: absence is taken as seen"])],
            }
        )
    together = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=grid.crs)
    _write_shapes(project, "colonies", together)
    row, col = grid.cell_of(together.geometry.x.to_numpy(), together.geometry.y.to_numpy())
    keep = grid.holds(row, col)
    write_marks(project, grid, "colonies", marks=(row[keep], col[keep]))
    if areas:
        write_marks(project, grid, "surveyed", shapes=[(shapely.unary_union(areas), 1)])
    return rows, bool(areas)


def protected_layer(project: Project, grid: Grid, layer: Protected) -> dict[str, Any]:
    """Read protected areas, mark their rules and where a permit is lacking; return a row of figures."""
    areas, notes = read_protected(
        project.input(layer.file, "layers.protected.file"),
        to_crs=grid.crs,
        name_field=layer.name_field,
        rule_field=layer.rule_field,
        rules=layer.rules,
        crs=layer.crs,
    )
    held = project.settings.exclusions.permit_held
    wrong = [n for n in held if n not in set(areas["name"])]
    if wrong:
        raise InputFault(
            *[
                Fault("exclusions.permit_held", repr(n), ", ".join(sorted(areas["name"])), "Correct the name.")
                for n in wrong
            ]
        )
    _write_shapes(project, "protected", areas)
    write_marks(
        project,
        grid,
        "protected",
        shapes=[(g, int(c)) for g, c in zip(areas.geometry, areas["code"], strict=True)],
        touched=True,
    )
    lacking = areas[(areas["rule"] == "permit") & ~areas["name"].isin(held)]
    write_marks(project, grid, "no_permit", shapes=[(g, 1) for g in lacking.geometry], touched=True)
    extent = _extent(areas, grid)
    return {
        "layer": "protected",
        "unit": "rule",
        "source_crs": grid.crs.name,
        "extent": list(extent),
        "rows": len(areas),
        "rules": {r: int((areas["rule"] == r).sum()) for r in RULE_CODES},
        "notes": [*notes, *([f"no permit is held for: {', '.join(lacking['name'])}"] if len(lacking) else [])],
    }


def area_layer(project: Project, grid: Grid, layer: Area) -> dict[str, Any]:
    """Read the area of interest and mark it; return a row of figures."""
    frame, notes = read_polygons(
        project.input(layer.file, "layers.area.file"), to_crs=grid.crs, crs=layer.crs, where="layers.area"
    )
    write_marks(project, grid, "area", shapes=[(g, 1) for g in frame.geometry])
    extent = _extent(frame, grid)
    return {
        "layer": "area",
        "unit": "",
        "source_crs": grid.crs.name,
        "extent": list(extent),
        "rows": len(frame),
        "notes": list(notes),
    }


def write_marks(
    project: Project,
    grid: Grid,
    name: str,
    *,
    shapes: list[Any] | None = None,
    marks: Any = None,
    touched: bool = False,
) -> None:
    """Write a uint8 raster tile by tile: codes of shapes (later ones on top), or 1 where a point lies.

    `touched` marks every cell a shape touches, not only those whose centre it holds: for areas that forbid.
    """

    def block(_: dict[str, Any], part: Any) -> dict[str, Any]:
        window = grid.window(part.row, part.col, (part.rows, part.cols))
        out = np.zeros((part.rows, part.cols), np.uint8)
        if shapes:
            box = shapely.box(*window.bounds)
            near = [(g, c) for g, c in shapes if g.intersects(box)]
            if near:
                out = rasterize(
                    near, out_shape=out.shape, transform=window.transform, dtype="uint8", all_touched=touched
                )
        if marks is not None:
            row, col = marks[0] - part.row, marks[1] - part.col
            keep = (row >= 0) & (row < part.rows) & (col >= 0) & (col < part.cols)
            out[row[keep], col[keep]] = 1
        return {name: out}

    run_blocks(
        grid,
        {},
        {name: Output(project.target(f"{RASTERS}/{name}.tif"), "uint8", ((name, "code"),))},
        block,
        threads=1,
        memory_gb=project.machine.memory_gb,
        overviews=False,
    )


def _extent(frame: gpd.GeoDataFrame, grid: Grid) -> tuple[float, float, float, float]:
    west, south, east, north = (float(v) for v in frame.total_bounds)
    return geographic_bounds((west, south, east, north), grid.crs)


def _write_shapes(project: Project, name: str, frame: gpd.GeoDataFrame) -> None:
    with fixed_time():
        target = project.target(f"{RASTERS}/{name}.gpkg")
        target.unlink(missing_ok=True)
        frame.to_file(target, driver="GPKG", layer=name, engine="pyogrio")
