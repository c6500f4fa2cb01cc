"""Colonies, protected areas and the area of interest: shapes read, kept, and marked on the grid."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from rasterio.features import rasterize

from sitekit.base.crs import geographic_bounds
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.aliases import Aliases
from sitekit.layers.blocks import run_blocks
from sitekit.layers.cells import Doubt, Refused
from sitekit.layers.depth_units import depth_units
from sitekit.layers.doubles import near_doubles
from sitekit.layers.grid import Grid
from sitekit.layers.points import Given, read_points
from sitekit.layers.polygons import read_polygons
from sitekit.layers.protected import RULE_CODES, read_protected
from sitekit.layers.sampling import values_at
from sitekit.layers.tiled import Output
from sitekit.pipeline.fields import RASTERS
from sitekit.pipeline.partners import SetAside, partner_names, refused_said
from sitekit.pipeline.project import Project
from sitekit.season.plan_tables import fixed_time
from sitekit.season.settings_layers import Area, Colonies, Protected
from sitekit.sites.work_areas import ROUNDING_M


def colonies_layer(project: Project, grid: Grid, aside: SetAside) -> tuple[list[dict[str, Any]], bool]:
    """Read existing colonies, mark their cells; return a row of figures per file, and whether searches have outlines.

    The depths of the grid must stand; what the files' own depths tell beside them goes to `aside`, with rows refused.
    """
    rows: list[dict[str, Any]] = []
    frames: list[gpd.GeoDataFrame] = []
    areas: list[Any] = []
    names = partner_names(project)
    faults = Faults()
    for i, layer in enumerate(project.settings.layers.colonies):
        try:
            rows.append(_colonies_of(project, grid, aside, layer, i + 1, names, frames, areas))
        except InputFault as error:
            faults.take(InputFault(*(_named(f, layer.file) for f in error.faults)))
    faults.stop_if_any()
    together = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=grid.crs)
    doubles = near_doubles(
        together.geometry.x.to_numpy(),
        together.geometry.y.to_numpy(),
        together["position_error_m"].to_numpy(np.float64),
        [s or "" for s in together["species"]],
        [
            (str(f), str(p or ""), str(called) if called else int(n))
            for f, p, n, called in zip(
                together["file"], together["partner"], together["line"], together.pop("called"), strict=True
            )
        ],
    )
    aside.doubts += doubles
    rows[-1]["doubts"] = [*rows[-1]["doubts"], *(asdict(d) for d in doubles)]
    _write_shapes(project, "colonies", together)
    row, col = grid.cell_of(together.geometry.x.to_numpy(), together.geometry.y.to_numpy())
    keep = grid.holds(row, col)
    write_marks(project, grid, "colonies", marks=(row[keep], col[keep]))
    if areas:
        write_marks(project, grid, "surveyed", shapes=[(shapely.unary_union(areas), 1)])
    return rows, bool(areas)


def _named(fault: Fault, file: str) -> Fault:
    """A fault that names the file beside the number of its table."""
    return fault if file in f"{fault.where} {fault.came}" else replace(fault, where=f"{fault.where} ({file})")


def _colonies_of(
    project: Project, grid: Grid, aside: SetAside, layer: Colonies, number: int, names: Aliases,
    frames: list[gpd.GeoDataFrame], areas: list[Any],
) -> dict[str, Any]:  # fmt: skip
    """Read one file of colonies into `frames`, where its searches went into `areas`; return its row of figures."""
    key = f"layers.colonies[{number}]"
    refused: list[Refused] | None = [] if layer.accept_partial else None
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
        given=Given(
            position=layer.position,
            reading=layer.reading,
            partner=layer.partner,
            aliases=names,
            depth_units=layer.depth_units,
            depth_units_by_year=layer.depth_units_by_year,
            swap=layer.swapped_rows == "swap",
        ),
        refused=refused,
    )
    frame["file"] = layer.file.replace("\\", "/")  # with its folder: two partners may both send a colonies.csv
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
    asked = _depth_doubts(project, frame, layer, key)
    aside.refused += refused or []
    aside.doubts += asked
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
    return {
        "layer": f"colonies[{number}]",
        "file": layer.file,
        "unit": "points",
        "source_crs": frame.attrs["source_crs"],
        "extent": list(extent),
        "rows": len(frame),
        "on_grid": int(inside.sum()),
        "origin": {k: int(v) for k, v in frame["origin"].value_counts().sort_index().items()},
        "position_error_m": [float(frame["position_error_m"].min()), float(frame["position_error_m"].max())],
        "notes": [*notes, *([] if layer.surveyed_area else ["no surveyed_area: absence is taken as seen"])],
        "refused": refused_said(refused or []),
        "doubts": [asdict(d) for d in asked],
    }


def _depth_doubts(project: Project, frame: gpd.GeoDataFrame, layer: Colonies, key: str) -> list[Doubt]:
    """Years of a file whose depths fit the grid's in another unit than the one they were read in, or in one where none is told.

    A year that `depth_units_by_year` names is answered.
    """
    if "depth_read" not in frame:
        return []
    open_ones = frame[~frame["year"].isin(list(layer.depth_units_by_year))]
    x, y = open_ones.geometry.x.to_numpy(np.float64), open_ones.geometry.y.to_numpy(np.float64)
    mapped = values_at(project.result(f"{RASTERS}/depth.tif"), x, y)
    found = []
    compared = depth_units(open_ones["depth_read"].to_numpy(np.float64), mapped, list(open_ones["year"]))
    told = dict(zip(open_ones["year"], open_ones["depth_unit"], strict=True))
    if not any(one.unit == told[one.group] for one in compared):  # the map may be what is wrong
        units = project.settings.layers.bathymetry.units
        map_first = f'No year of this file agrees with the map: first look whether layers.bathymetry.units = "{units}" is right. '
    else:
        map_first = ""
    for one in compared:
        read_as = open_ones.loc[open_ones["year"] == one.group, "depth_unit"].iloc[0]
        if one.unit is None or one.unit == read_as:
            continue
        of = f"of {one.group}" if one.group else "without a year"
        how = f"read in {read_as}" if read_as else "whose unit is not told"
        said = (
            f"{one.rows} depths {of}, {how}, are {one.ratio:.2f} times the metres mapped at their places: {one.unit}?"
        )
        lines = [f'depth_units_by_year = {{ {one.group} = "{u}" }}' if one.group else f'depth_units = "{u}"'
                 for u in (one.unit, read_as) if u]  # fmt: skip
        ask = f"{map_first}Ask who read them, then write {', or '.join(lines)}."
        found.append(Doubt(key, f"{frame['file'].iloc[0]}: {said}", ask))
    return found


def protected_layer(project: Project, grid: Grid, layer: Protected, aside: SetAside) -> dict[str, Any]:
    """Read protected areas, mark their rules and where a permit is lacking; return a row of figures."""
    doubts: list[Doubt] = []
    areas, notes = read_protected(
        project.input(layer.file, "layers.protected.file"),
        to_crs=grid.crs,
        name_field=layer.name_field,
        rule_field=layer.rule_field,
        rules=layer.rules,
        crs=layer.crs,
        doubts=doubts,
    )
    aside.doubts += doubts
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
    # a work area is cut back from such ground for the rounding of its printed corners: units stand back as far
    shut = 2.0 * ROUNDING_M
    write_marks(
        project,
        grid,
        "protected",
        shapes=[
            (g.buffer(shut) if r == "forbidden" else g, int(c))
            for g, c, r in zip(areas.geometry, areas["code"], areas["rule"], strict=True)
        ],
        touched=True,
    )
    lacking = areas[(areas["rule"] == "permit") & ~areas["name"].isin(held)]
    write_marks(project, grid, "no_permit", shapes=[(g, 1) for g in lacking.geometry], touched=True)
    extent = _extent(areas, grid)
    return {
        "layer": "protected",
        "file": layer.file,
        "unit": "rule",
        "source_crs": areas.attrs["source_crs"],
        "extent": list(extent),
        "rows": len(areas),
        "rules": {r: int((areas["rule"] == r).sum()) for r in RULE_CODES},
        "notes": [*notes, *([f"no permit is held for: {', '.join(lacking['name'])}"] if len(lacking) else [])],
        "doubts": [asdict(d) for d in doubts],
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
        "file": layer.file,
        "unit": "",
        "source_crs": frame.attrs["source_crs"],
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
