"""Stage 1: every file on one grid, warped once; what was understood of each goes into the figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import partial
from typing import Any

import numpy as np
from pyproj import CRS

from sitekit.base.crs import largest_scale_factor, read_crs, transform_points, working_crs
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.aligned import Aligned
from sitekit.layers.cells import Doubt
from sitekit.layers.grid import Grid, grid_for
from sitekit.layers.polygons import read_polygons
from sitekit.layers.raster import align_raster, rasterize_polygons
from sitekit.layers.series import CELSIUS
from sitekit.layers.source_raster import open_source
from sitekit.layers.substrate import align_substrate
from sitekit.layers.vertical import Vertical, check_sign
from sitekit.pipeline.fields import GRID_FILE, RASTERS, Ground, write_ground
from sitekit.pipeline.keep_clear import KEEP_CLEAR, drawn_layers, keep_clear_layers
from sitekit.pipeline.memory import tell_memory
from sitekit.pipeline.partners import SetAside, write_set_aside
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.scout import override_layers
from sitekit.pipeline.sea import sea_layers
from sitekit.pipeline.sea_inputs import read_sea_inputs
from sitekit.pipeline.shape_layers import area_layer, colonies_layer, protected_layer, write_marks
from sitekit.season.settings_layers import UNSTATED, Area, Protected, Substrate

Row = dict[str, Any]
_NO_DATUM = Doubt(
    "layers.bathymetry",
    "nobody states what the depths are counted from: they may be off by metres beside their stated error",
    "Ask the surveyor, then write layers.bathymetry.datum; a least depth of work needs it most.",
)
_WGS84 = CRS.from_epsg(4326)


def run(project: Project, run_id: str) -> Done:
    """Write aligned rasters, the existing colonies and the protected areas; return a row of figures per layer."""
    settings = project.settings
    sea = read_sea_inputs(project)
    grid = _grid(project)
    tell_memory(project, grid)
    aside = SetAside()
    names: set[str] = {"depth"}
    rows = [_depth(project, grid, aside)]
    faults = Faults()
    for work in _file_layers(project, grid, aside, names):
        try:
            rows += work()
        except InputFault as error:
            faults.take(error)
    faults.stop_if_any()
    seen = override_layers(project, grid, names)  # before the waves, which read the depths
    sea_files = sea_layers(project, grid, sea)
    reason = _scout_reason(project, grid, rows)
    ground = Ground(grid, frozenset(names), largest_scale_factor(grid.crs, grid.bounds), bool(reason), reason)
    write_ground(project.target(GRID_FILE), ground)
    files = [f"{RASTERS}/{n}.tif" for n in sorted(names)] + [GRID_FILE]
    files += [f"{RASTERS}/{n}.gpkg" for n in ("colonies", "protected") if n in names]
    files += [f"{RASTERS}/{n}.gpkg" for n in drawn_layers(settings)]
    files += [*sea_files, *seen, write_set_aside(project, aside)]
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


def _file_layers(project: Project, grid: Grid, aside: SetAside, names: set[str]) -> Iterator[Callable[[], list[Row]]]:
    """Yield the reading of each layer but the depths; it gives rows of figures and adds to `names` what it wrote."""
    layers = project.settings.layers

    def bottom(layer: Substrate) -> list[Row]:
        names.add("substrate")
        return [_substrate(project, grid, layer)]

    def colonies() -> list[Row]:
        found, surveyed = colonies_layer(project, grid, aside)
        names.update({"colonies", "surveyed"} if surveyed else {"colonies"})
        return found

    def areas(layer: Protected) -> list[Row]:
        names.update({"protected", "no_permit"})
        return [protected_layer(project, grid, layer, aside)]

    def area(layer: Area) -> list[Row]:
        names.add("area")
        return [area_layer(project, grid, layer)]

    def kept_clear() -> list[Row]:
        kept, shapes = keep_clear_layers(project, grid)
        if any(c.keep_clear_m is not None for c in layers.constraints.values()):
            write_marks(project, grid, KEEP_CLEAR, shapes=shapes, touched=True)
            names.add(KEEP_CLEAR)
        return kept

    def raster(name: str) -> list[Row]:
        names.add(f"raster_{name}")
        return [_user_raster(project, grid, name)]

    if layers.substrate:
        yield partial(bottom, layers.substrate)
    if layers.colonies:
        yield colonies
    if layers.protected:
        yield partial(areas, layers.protected)
    if layers.area:
        yield partial(area, layers.area)
    yield kept_clear
    for name in layers.rasters:
        yield partial(raster, name)


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


def _depth(project: Project, grid: Grid, aside: SetAside) -> dict[str, Any]:
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
    unstated = [_NO_DATUM] if layer.datum == UNSTATED else []
    aside.doubts += unstated
    remark = check_sign("layers.bathymetry", vertical, done.share_positive, done.minimum, done.maximum)
    return _row(
        "bathymetry",
        done,
        unit="m, positive down",
        notes=(*extra, remark),
        sign=layer.sign,
        datum=layer.datum,
        file=layer.file,
        doubts=[asdict(d) for d in unstated],
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
    return _row(
        "substrate", done, unit="class", stated_resolution_m=layer.resolution_m, file=layer.file, classes=layer.classes
    )


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
    return _row(f"rasters.{name}", done, unit=layer.units, file=layer.file)


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
