"""What a permit office asks about (seagrass, heritage, cables, anchorages) and the coast: read, kept, kept clear of."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from sitekit.base.crs import geographic_bounds, largest_scale_factor
from sitekit.layers.grid import Grid
from sitekit.layers.shapes import read_shapes
from sitekit.pipeline.fields import RASTERS
from sitekit.pipeline.project import Project
from sitekit.season.plan_tables import fixed_time
from sitekit.season.settings import Settings

KEEP_CLEAR = "keep_clear"  # name of the raster of cells to keep clear of
COASTLINE, CONSTRAINTS = "coastline", "constraints"


def drawn_layers(settings: Settings) -> list[str]:
    """Return the names of the vector files that the layers stage writes for these layers."""
    return [
        n for n, given in ((COASTLINE, settings.layers.coastline), (CONSTRAINTS, settings.layers.constraints)) if given
    ]


def keep_clear_layers(project: Project, grid: Grid) -> tuple[list[dict[str, Any]], list[tuple[Any, int]]]:
    """Read coastline and constraints into `layers/`; return a row of figures each, and the shapes no unit may stand on.

    The shapes are the constraints widened by their `keep_clear_m` on the ellipsoid: times the largest scale factor.
    """
    layers = project.settings.layers
    rows: list[dict[str, Any]] = []
    if layers.coastline:
        frame, notes = read_shapes(
            project.input(layers.coastline.file, "layers.coastline.file"),
            to_crs=grid.crs,
            crs=layers.coastline.crs,
            where="layers.coastline",
        )
        _write(project, COASTLINE, frame)
        rows.append(_row(COASTLINE, frame, grid, list(notes)))
    shut: list[tuple[Any, int]] = []
    frames = []
    for key, layer in layers.constraints.items():
        where = f"layers.constraints.{key}"
        frame, notes = read_shapes(
            project.input(layer.file, f"{where}.file"),
            to_crs=grid.crs,
            crs=layer.crs,
            where=where,
            name_field=layer.name_field,
        )
        clear = layer.keep_clear_m
        frames.append(
            frame.assign(constraint=key, label=layer.label, keep_clear_m=float("nan") if clear is None else clear)
        )
        said = "reported only: no keep_clear_m" if clear is None else f"cells within {clear:g} m are excluded"
        rows.append(_row(f"constraints.{key}", frame, grid, [said, *notes]))
        if clear is not None:
            reach = clear * largest_scale_factor(grid.crs, grid.bounds)
            shut += [(g.buffer(reach) if reach else g, 1) for g in frame.geometry]
    if frames:
        _write(project, CONSTRAINTS, gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=grid.crs))
    return rows, shut


def read_drawn(project: Project, name: str) -> gpd.GeoDataFrame | None:
    """Return the shapes of `coastline`, `constraints` or `protected` in the working system; None where none are given."""
    path = project.result(f"{RASTERS}/{name}.gpkg")
    return gpd.read_file(path) if path.exists() else None


def _row(key: str, frame: gpd.GeoDataFrame, grid: Grid, notes: list[str]) -> dict[str, Any]:
    west, south, east, north = (float(v) for v in frame.total_bounds)
    kinds = frame.geometry.geom_type.value_counts().sort_index()
    return {
        "layer": key,
        "unit": "shapes",
        "source_crs": frame.attrs["source_crs"],
        "extent": list(geographic_bounds((west, south, east, north), grid.crs)),
        "rows": len(frame),
        "shapes": {str(k): int(v) for k, v in kinds.items()},
        "notes": notes,
    }


def _write(project: Project, name: str, frame: gpd.GeoDataFrame) -> None:
    with fixed_time():
        target = project.target(f"{RASTERS}/{name}.gpkg")
        target.unlink(missing_ok=True)
        frame.to_file(target, driver="GPKG", layer=name, engine="pyogrio")
