"""Stage 1: every file on one grid, warped once; what was understood of each goes into the figures."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from rasterio.features import rasterize

from sitekit.base.crs import geographic_bounds, largest_scale_factor, read_crs, transform_points, working_crs
from sitekit.errors import Fault, InputFault
from sitekit.layers.aligned import Aligned
from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid, grid_for
from sitekit.layers.points import read_points
from sitekit.layers.polygons import read_polygons
from sitekit.layers.protected import RULE_CODES, read_protected
from sitekit.layers.raster import align_raster, rasterize_polygons
from sitekit.layers.series import CELSIUS
from sitekit.layers.source_raster import open_source
from sitekit.layers.substrate import align_substrate
from sitekit.layers.tiled import Output
from sitekit.layers.vertical import Vertical, check_sign
from sitekit.pipeline.fields import GRID_FILE, RASTERS, Ground, write_ground
from sitekit.pipeline.keep_clear import KEEP_CLEAR, drawn_layers, keep_clear_layers
from sitekit.pipeline.memory import tell_memory
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.scout import override_layers
from sitekit.pipeline.sea import sea_layers
from sitekit.pipeline.sea_inputs import read_sea_inputs
from sitekit.season.plan_tables import fixed_time
from sitekit.season.settings_layers import Area, Protected, Substrate

_WGS84 = CRS.from_epsg(4326)


def run(project: Project, run_id: str) -> Done:
    """Write aligned rasters, the existing colonies and the protected areas; return a row of figures per layer."""
    settings = project.settings
    sea = read_sea_inputs(project)
    grid = _grid(project)
    tell_memory(project, grid)
    names: set[str] = {"depth"}
    rows = [_depth(project, grid)]
    if settings.layers.substrate:
        rows.append(_substrate(project, grid, settings.layers.substrate))
        names.add("substrate")
    if settings.layers.colonies:
        colony_rows, surveyed = _colonies(project, grid)
        rows += colony_rows
        names |= {"colonies", "surveyed"} if surveyed else {"colonies"}
    if settings.layers.protected:
        rows.append(_protected(project, grid, settings.layers.protected))
        names |= {"protected", "no_permit"}
    if settings.layers.area:
        rows.append(_area(project, grid, settings.layers.area))
        names.add("area")
    kept, shapes = keep_clear_layers(project, grid)
    rows += kept
    if any(c.keep_clear_m is not None for c in settings.layers.constraints.values()):
        _write_marks(project, grid, KEEP_CLEAR, shapes=shapes, touched=True)
        names.add(KEEP_CLEAR)
    for name in settings.layers.rasters:
        rows.append(_user_raster(project, grid, name))
        names.add(f"raster_{name}")
    seen = override_layers(project, grid, names)  # before the waves, which read the depths
    sea_files = sea_layers(project, grid, sea)
    reason = _scout_reason(project, grid, rows)
    ground = Ground(grid, frozenset(names), largest_scale_factor(grid.crs, grid.bounds), bool(reason), reason)
    write_ground(project.target(GRID_FILE), ground)
    files = [f"{RASTERS}/{n}.tif" for n in sorted(names)] + [GRID_FILE]
    files += [f"{RASTERS}/{n}.gpkg" for n in ("colonies", "protected") if n in names]
    files += [f"{RASTERS}/{n}.gpkg" for n in drawn_layers(settings)]
    files += [*sea_files, *seen]
    figures = {
        "grid": {
            "crs": grid.crs.name,
            "cell_m": grid.cell,
            "rows": grid.shape[0],
            "columns": grid.shape[1],
            "largest_scale_factor": ground.scale,
        },
        "layers": rows,
        "sea": sea.rows,
        "scout": reason,
    }
    return Done(files, figures)


def _grid(project: Project) -> Grid:
    """Return the working grid: the area of interest, else the extent of the bathymetry."""
    settings = project.settings
    layers = settings.layers
    if layers.area:
        path = project.input(layers.area.file, "layers.area.file")
        frame, _ = read_polygons(path, to_crs=_WGS84, crs=layers.area.crs, where="layers.area")
        extent = tuple(float(v) for v in frame.total_bounds)
    elif layers.bathymetry.field is None:
        path = project.input(layers.bathymetry.file, "layers.bathymetry.file")
        with open_source(
            path, band=layers.bathymetry.band, crs=layers.bathymetry.crs, variable=layers.bathymetry.variable
        ) as source:
            extent = source.extent
            corners, source_crs = source.corners, source.crs
    else:
        path = project.input(layers.bathymetry.file, "layers.bathymetry.file")
        frame, _ = read_polygons(path, to_crs=_WGS84, crs=layers.bathymetry.crs, where="layers.bathymetry")
        extent = tuple(float(v) for v in frame.total_bounds)
    west, south, east, north = extent
    crs = (
        working_crs((west, south, east, north))
        if settings.plan.crs == "auto"
        else read_crs(settings.plan.crs, "plan.crs")
    )
    if layers.area:
        frame, _ = read_polygons(path, to_crs=crs, crs=layers.area.crs, where="layers.area")
        bounds = tuple(float(v) for v in frame.total_bounds)
    elif layers.bathymetry.field is None and source_crs == crs:
        bounds = corners
    else:
        x = np.linspace(west, east if east >= west else east + 360.0, 23)
        y = np.linspace(south, north, 23)
        gx, gy = np.meshgrid(x, y)
        px, py = transform_points((gx.ravel() + 180.0) % 360.0 - 180.0, gy.ravel(), _WGS84, crs)
        bounds = (float(px.min()), float(py.min()), float(px.max()), float(py.max()))
    return grid_for((bounds[0], bounds[1], bounds[2], bounds[3]), crs, settings.plan.cell_m)


def _row(key: str, done: Aligned, *, unit: str = "", notes: tuple[str, ...] = (), **more: Any) -> dict[str, Any]:
    figures = asdict(done)
    figures.pop("path")
    figures["notes"] = [*done.notes, *(n for n in notes if n)]
    figures["minimum"] = None if np.isnan(done.minimum) else done.minimum
    figures["maximum"] = None if np.isnan(done.maximum) else done.maximum
    figures["share_positive"] = None if np.isnan(done.share_positive) else done.share_positive
    return {"layer": key, "unit": unit, **figures, **more}


def _depth(project: Project, grid: Grid) -> dict[str, Any]:
    layer = project.settings.layers.bathymetry
    path = project.input(layer.file, "layers.bathymetry.file")
    vertical = Vertical(layer.sign, layer.units, layer.datum)
    target = project.target(f"{RASTERS}/depth.tif")
    if layer.field is None:
        done = align_raster(
            path,
            grid,
            target,
            band=layer.band,
            crs=layer.crs,
            scale=vertical.scale,
            nodata=layer.nodata,
            variable=layer.variable,
            name="depth",
            unit="m",
        )
        extra: tuple[str, ...] = ()
    else:
        frame, extra = read_polygons(path, to_crs=grid.crs, crs=layer.crs, where="layers.bathymetry")
        done = rasterize_polygons(
            frame, layer.field, grid, target, scale=vertical.scale, where="layers.bathymetry", name="depth", unit="m"
        )
    remark = check_sign("layers.bathymetry", vertical, done.share_positive, done.minimum, done.maximum)
    return _row(
        "bathymetry",
        done,
        unit="m, positive down",
        notes=(*extra, remark),
        sign=layer.sign,
        datum=layer.datum,
        file_units=layer.units,
        error_m=layer.depth_error_m,
    )


def _substrate(project: Project, grid: Grid, layer: Substrate) -> dict[str, Any]:
    path = project.input(layer.file, "layers.substrate.file")
    done = align_substrate(
        path,
        grid,
        project.target(f"{RASTERS}/substrate.tif"),
        classes=layer.classes,
        field=layer.field,
        band=layer.band,
        crs=layer.crs,
        nodata=layer.nodata,
        variable=layer.variable,
    )
    return _row("substrate", done, unit="class", stated_resolution_m=layer.resolution_m)


def _colonies(project: Project, grid: Grid) -> tuple[list[dict[str, Any]], bool]:
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
    _write_marks(project, grid, "colonies", marks=(row[keep], col[keep]))
    if areas:
        _write_marks(project, grid, "surveyed", shapes=[(shapely.unary_union(areas), 1)])
    return rows, bool(areas)


def _protected(project: Project, grid: Grid, layer: Protected) -> dict[str, Any]:
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
    _write_marks(
        project,
        grid,
        "protected",
        shapes=[(g, int(c)) for g, c in zip(areas.geometry, areas["code"], strict=True)],
        touched=True,
    )
    lacking = areas[(areas["rule"] == "permit") & ~areas["name"].isin(held)]
    _write_marks(project, grid, "no_permit", shapes=[(g, 1) for g in lacking.geometry], touched=True)
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


def _area(project: Project, grid: Grid, layer: Area) -> dict[str, Any]:
    frame, notes = read_polygons(
        project.input(layer.file, "layers.area.file"), to_crs=grid.crs, crs=layer.crs, where="layers.area"
    )
    _write_marks(project, grid, "area", shapes=[(g, 1) for g in frame.geometry])
    extent = _extent(frame, grid)
    return {
        "layer": "area",
        "unit": "",
        "source_crs": grid.crs.name,
        "extent": list(extent),
        "rows": len(frame),
        "notes": list(notes),
    }


def _user_raster(project: Project, grid: Grid, name: str) -> dict[str, Any]:
    layer = project.settings.layers.rasters[name]
    done = align_raster(
        project.input(layer.file, f"layers.rasters.{name}.file"),
        grid,
        project.target(f"{RASTERS}/raster_{name}.tif"),
        band=layer.band,
        crs=layer.crs,
        scale=layer.scale,
        offset=layer.offset,
        nodata=layer.nodata,
        variable=layer.variable,
        name=layer.label,
        unit=layer.units,
    )
    if layer.units.lower().replace(" ", "_") in CELSIUS and done.minimum > 200.0:
        raise InputFault(
            Fault(
                f"layers.rasters.{name}",
                f"{done.minimum:.1f} to {done.maximum:.1f}, declared as {layer.units}",
                "sea temperatures in °C",
                "These look like kelvin: set offset = -273.15.",
            )
        )
    return _row(f"rasters.{name}", done, unit=layer.units)


def _extent(frame: gpd.GeoDataFrame, grid: Grid) -> tuple[float, float, float, float]:
    west, south, east, north = (float(v) for v in frame.total_bounds)
    return geographic_bounds((west, south, east, north), grid.crs)


def _write_shapes(project: Project, name: str, frame: gpd.GeoDataFrame) -> None:
    with fixed_time():
        target = project.target(f"{RASTERS}/{name}.gpkg")
        target.unlink(missing_ok=True)
        frame.to_file(target, driver="GPKG", layer=name, engine="pyogrio")


def _write_marks(
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


def _scout_reason(project: Project, grid: Grid, rows: list[dict[str, Any]]) -> str:
    """Return why the bottom is known too coarsely to place colonies, empty if it is not."""
    settings = project.settings
    plot = settings.spacing.plot
    shorter = min(plot.length_m, plot.width_m) if plot.shape == "rectangle" else 2 * plot.radius_m
    if settings.layers.substrate is None:
        return "no substrate layer: areas to scout, no colony is placed"
    found = next(r for r in rows if r["layer"] == "substrate")
    mapped = settings.layers.substrate.resolution_m or 0.0
    size = found["source_resolution_m"]
    coarse = max([mapped, grid.cell, *(size or [])])
    if coarse > shorter * (1 + 1e-9):
        return (
            f"the bottom was mapped at {coarse:.3g} m, wider than the shorter side of a plot ({shorter:g} m): "
            "areas to scout, no colony is placed"
        )
    return ""
