"""Rasters and polygons brought onto the grid: each source once, in fixed tiles, written as an aligned tiled GeoTIFF."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import MergeAlg
from rasterio.features import rasterize

from sitekit.base.crs import datum_note, geographic_bounds, name_of, transform_points
from sitekit.base.files import atomic_path
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.aligned import Aligned, Seen, aligned_result, refuse_hidden_gaps, write_tiles
from sitekit.layers.grid import Grid
from sitekit.layers.sampling import bilinear, nearest
from sitekit.layers.source_raster import SourceRaster, open_source

Kind = Literal["continuous", "class"]

_AVERAGED_FROM = 2.0  # a grid cell this many source cells wide gets their mean, not the value at its centre
# House choice: source cells are measured on the ellipsoid, grid cells on the map, which stretches them by up to 0.1 % in
# a UTM zone; without this slack 0.5 m cells under a 1 m grid count as 1.9992 to the cell and are not averaged.
_STRETCH = 1.005
_MOST_LISTED = 12  # classes without a code that one message lists


def align_raster(
    path: Path,
    grid: Grid,
    target: Path,
    *,
    kind: Kind = "continuous",
    codes: Mapping[int, int] | None = None,
    band: int = 1,
    crs: CRS | str | None = None,
    scale: float = 1.0,
    offset: float = 0.0,
    nodata: float | None = None,
    variable: str | None = None,
    name: str = "value",
    unit: str = "",
) -> Aligned:
    """Bring one band of a raster onto the grid.

    Parameters
    ----------
    path : Path
        Source; see `open_source`.
    grid : Grid
        Where to.
    target : Path
        Aligned GeoTIFF, written whole or not at all.
    kind : {"continuous", "class"}
        `continuous`: bilinear between source cell centres, float32; where a grid cell is at least two source cells
        wide, whole blocks of source cells are averaged first. `class`: the source cell that holds the grid cell's
        centre, turned into a uint8 code by `codes`.
    codes : mapping of int to int, optional
        Due for `class`: value of the file -> code, 0 for unknown.
    band, crs, nodata, variable
        See `open_source`.
    scale, offset : float
        A value becomes value × scale + offset (feet, sign, kelvin).
    name, unit : str
        Written into the file.

    Returns
    -------
    Aligned

    Raises
    ------
    InputFault
        If source and grid do not overlap or no value falls on the grid; if a gap value stands in the data without a
        tag; if a class has no code.

    Notes
    -----
    A cell has a value exactly if its centre lies in a source cell (or averaged block) with one: gaps stay gaps.
    Bilinear weights of neighbours without a value are shared out among the others. Coordinates are computed exactly
    every 16 cells of a 512 × 512 tile counted from the grid's first cell and linearly between: the result does not
    depend on what is read when.
    """
    if (kind == "class") != (codes is not None):
        raise InputFault(Fault(str(path), f"kind {kind!r}", "codes exactly for classes", "Map each class to a code."))
    seen = Seen()
    with open_source(path, band=band, crs=crs, nodata=nodata, variable=variable) as source:
        middle = _middle(source, grid)
        size = source.resolution_m(*middle)
        if codes is None:
            ratio = grid.cell / max(size) * _STRETCH
            block = int(ratio) if ratio >= _AVERAGED_FROM else 1

            def tile(part: Grid) -> NDArray[Any]:
                values = bilinear(source, part, block=block, watch=seen.watch)
                return (values * scale + offset).astype(np.float32)
        else:
            block = 1
            table = dict(codes)

            def tile(part: Grid) -> NDArray[Any]:
                return _coded(nearest(source, part), table, seen)

        with atomic_path(target) as beside:
            write_tiles(beside, grid, tile, seen, name, unit, np.float32 if codes is None else np.uint8)
            refuse_hidden_gaps(str(path), seen)
            _refuse_unmapped(str(path), seen)
            extent = source.extent
            if seen.cells == 0:
                raise _nothing(str(path), extent, grid)
        notes = list(source.notes)
        west, south, east, north = source.corners
        across = np.array([west, east])
        if source.crs.is_geographic:  # the grid's places come as ±180°, whatever side the raster counts from
            across = (across + 180.0) % 360.0 - 180.0
        shift = datum_note(source.crs, grid.crs, across, [south, north])
        notes += [f"datum shift: {shift}"] if shift else []
        if block > 1:
            notes.append(f"averaged over {block} × {block} source cells")
        if max(size) > 1.5 * grid.cell:
            notes.append(
                f"source cells are {max(size) / grid.cell:.1f} grid cells wide: detail between them is made up"
            )
        if max(size) > 1.2 * min(size):
            notes.append(f"source cells are not square: {size[0]:.3g} m by {size[1]:.3g} m")
        return aligned_result(target, seen, grid, name_of(source.crs), size, extent, notes)


def rasterize_polygons(
    polygons: Any,
    field_name: str,
    grid: Grid,
    target: Path,
    *,
    kind: Kind = "continuous",
    codes: Mapping[Any, int] | None = None,
    scale: float = 1.0,
    where: str = "polygons",
    name: str = "value",
    unit: str = "",
) -> Aligned:
    """Bring a field of polygons onto the grid: a cell takes the value of the polygon that holds its centre.

    Parameters
    ----------
    polygons : GeoDataFrame
        In the grid's CRS.
    field_name : str
        Numbers for `continuous`; anything that `codes` maps for `class`.
    grid, target, kind, scale, name, unit
        See `align_raster`.
    codes : mapping, optional
        Value of the field -> code, due for `class`.
    where : str
        Names the layer in messages.

    Raises
    ------
    InputFault
        If the field is absent or holds no numbers, the systems differ, a class has no code, or nothing overlaps.

    Notes
    -----
    Where polygons overlap the later row decides; a note counts such cells.
    """
    shapes = _shapes(polygons, field_name, grid, codes if kind == "class" else None, scale, where)
    seen, doubled = Seen(), 0
    tree = polygons.sindex

    def tile(part: Grid) -> NDArray[Any]:
        nonlocal doubled
        hits = np.sort(tree.query(shapely.box(*part.bounds)))
        chosen = [shapes[i] for i in hits if shapes[i] is not None]
        out = np.full(part.shape, np.nan)
        if chosen:
            out = rasterize(chosen, part.shape, fill=np.nan, transform=part.transform, dtype="float64")
        if len(chosen) > 1:
            layers = rasterize(
                [(g, 1) for g, _ in chosen], part.shape, fill=0, transform=part.transform, dtype="uint16",
                merge_alg=MergeAlg.add,
            )  # fmt: skip
            doubled += int((layers > 1).sum())
        return np.nan_to_num(out).astype(np.uint8) if kind == "class" else out.astype(np.float32)

    extent = geographic_bounds(tuple(polygons.total_bounds), grid.crs)
    with atomic_path(target) as beside:
        write_tiles(beside, grid, tile, seen, name, unit, np.uint8 if kind == "class" else np.float32)
        if seen.cells == 0:
            raise _nothing(where, extent, grid)
    notes = [f"{doubled} cells lie in more than one polygon: the later row decides"] if doubled else []
    return aligned_result(target, seen, grid, name_of(grid.crs), None, extent, notes)


def _middle(source: SourceRaster, grid: Grid) -> tuple[float, float]:
    west, south, east, north = grid.bounds
    x, y = transform_points([(west + east) / 2], [(south + north) / 2], grid.crs, source.crs)
    if not (np.isfinite(x[0]) and np.isfinite(y[0])):
        raise _nothing(str(source.path), source.extent, grid)
    return float(x[0]), float(y[0])


def _coded(values: NDArray[np.float64], codes: Mapping[int, int], seen: Seen) -> NDArray[np.uint8]:
    out = np.zeros(values.shape, np.uint8)
    for value in np.unique(values[np.isfinite(values)]):
        hit = values == value
        if value in codes:
            out[hit] = codes[int(value)]
        else:
            seen.unmapped[float(value)] += int(hit.sum())
    return out


def _refuse_unmapped(where: str, seen: Seen) -> None:
    with Faults() as faults:
        for value, count in seen.unmapped.most_common(_MOST_LISTED):
            faults.add(
                f"{where}, class {value:g}",
                f"stands in {count} cells and has no class",
                "a line for every class of the file",
                f'Add "{value:g}" = "…" to the classes, or declare it as nodata.',
            )


def _shapes(
    polygons: Any, field_name: str, grid: Grid, codes: Mapping[Any, int] | None, scale: float, where: str
) -> list[tuple[Any, float] | None]:
    """Pairs of geometry and value per row, None where a number is missing."""
    if polygons.crs is None or CRS(polygons.crs) != grid.crs:
        raise InputFault(Fault(where, f"system {polygons.crs}", f"{name_of(grid.crs)}, that of the grid", "Reproject."))
    if field_name not in polygons.columns:
        names = ", ".join(str(c) for c in polygons.columns if c != polygons.geometry.name)
        raise InputFault(Fault(f"{where}, field", f"{field_name!r} is not there", names, "Name one of these fields."))
    values = polygons[field_name]
    lines = polygons["line"] if "line" in polygons.columns else pd.Series(range(1, len(polygons) + 1), polygons.index)
    out: list[tuple[Any, float] | None] = []
    with Faults() as faults:
        for geometry, value, line in zip(polygons.geometry, values, lines, strict=True):
            number = _number(value) if codes is None else codes.get(str(value))
            if number is None and not (codes is None and pd.isna(value)):
                faults.add(
                    f"{where}, feature {line}, {field_name}",
                    repr(value),
                    "a number" if codes is None else "a mapped class",
                    "Correct it." if codes is None else f'Add "{value}" = "…" to the classes.',
                )
            out.append(None if number is None else (geometry, number * scale if codes is None else float(number)))
    return out


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if np.isfinite(number) else None


def _nothing(where: str, extent: tuple[float, float, float, float], grid: Grid) -> InputFault:
    def text(bounds: tuple[float, float, float, float]) -> str:
        west, south, east, north = bounds
        return f"{west:.4f} to {east:.4f} E, {south:.4f} to {north:.4f} N"

    return InputFault(
        Fault(
            where,
            f"has no value on the grid; it lies at {text(extent)}",
            f"a layer that overlaps {text(geographic_bounds(grid.bounds, grid.crs))}",
            "Check its coordinate system and the area; swapped axes and a wrong zone show like this.",
        )
    )
