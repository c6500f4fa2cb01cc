"""The team's own files, asked again at single places: outlines by point in polygon, rasters by the cells around.

Nothing here is gridded or warped; the code shares no line with the layers it checks.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from rasterio.windows import Window

from sitekit.base.files import inside
from sitekit.errors import Fault, FileFault
from sitekit.season.settings import Settings
from sitekit.season.settings_layers import File, Protected

Floats = NDArray[np.float64]
_METRES = {"m": 1.0, "ft": 0.3048, "fathom": 1.8288}  # international foot (1959), six feet to a fathom
_PIECE = 2048  # side of the raster pieces read at once [cells]


def outlines(project: Path, layer: File, crs: CRS) -> gpd.GeoDataFrame:
    """Return the polygons of a layer's file in the working system, repaired where they cross themselves.

    Raises
    ------
    FileFault
        If the file cannot be read.
    """
    path = inside(project, layer.file)
    try:
        frame: Any = pyogrio.read_dataframe(path)
    except (pyogrio.errors.DataSourceError, OSError) as error:
        raise FileFault(Fault(layer.file, f"cannot be read: {error}", "outlines", "Restore the file.")) from error
    if layer.crs is not None:
        frame = frame.set_crs(layer.crs, allow_override=True)
    frame = frame.to_crs(crs)
    frame.geometry = shapely.make_valid(frame.geometry.to_numpy())
    return frame


def ruled(project: Path, layer: Protected, crs: CRS) -> gpd.GeoDataFrame:
    """Return the protected areas of a layer's file with their names and rules, columns `_name` and `_rule`.

    A rule that the plan gives by name counts; of the others, areas whose status is "proposed" have none.

    Raises
    ------
    FileFault
        As `outlines`.
    """
    frame = outlines(project, layer, crs)
    by_plain = {str(c).lower(): str(c) for c in frame.columns}
    own = layer.name_field if layer.name_field in frame.columns else by_plain.get(layer.name_field.lower(), "")
    names = [str(v) for v in frame[own]]
    blank = [""] * len(frame)
    fields = frame[layer.rule_field] if layer.rule_field else blank
    status = frame[by_plain["status"]] if "status" in by_plain else blank
    rules = [
        layer.rules.get(n) or ("none" if str(s).lower() == "proposed" else str(f or "").strip().lower())
        for n, f, s in zip(names, fields, status, strict=True)
    ]
    return frame.assign(_name=names, _rule=rules)


def covering(frame: gpd.GeoDataFrame, x: Floats, y: Floats) -> pd.DataFrame:
    """Return which polygons cover which points: columns `point` and `row`, positions in both lists."""
    tree = shapely.STRtree(frame.geometry.to_numpy())
    point, row = tree.query(shapely.points(x, y), predicate="intersects")
    return pd.DataFrame({"point": point, "row": row})


def depth_range(project: Path, settings: Settings, crs: CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the least and the greatest depth of the bathymetry around each point [m, positive down].

    A raster is asked in all cells that touch a square of one working cell, and one input cell more, around the point;
    polygons are asked that cover the point or come within one working cell of it. NaN where there is no depth.
    """
    layer = settings.layers.bathymetry
    factor = _METRES[layer.units] * (1.0 if layer.sign == "depth" else -1.0)
    if layer.field is not None:
        low, high = _around_outlines(outlines(project, layer, crs), layer.field, settings.plan.cell_m, x, y)
    else:
        low, high = _around_cells(inside(project, layer.file), settings, crs, x, y)
    first, second = low * factor, high * factor
    return np.fmin(first, second), np.fmax(first, second)


def _around_outlines(frame: gpd.GeoDataFrame, name: str, reach: float, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    values = pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=np.float64)
    tree = shapely.STRtree(frame.geometry.to_numpy())
    point, row = tree.query(shapely.points(x, y), predicate="dwithin", distance=reach)
    low, high = np.full(x.size, np.inf), np.full(x.size, -np.inf)
    np.fmin.at(low, point, values[row])
    np.fmax.at(high, point, values[row])
    none = ~np.isfinite(low)
    low[none] = high[none] = np.nan
    return low, high


def _around_cells(path: Path, settings: Settings, crs: CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    layer, cell_m = settings.layers.bathymetry, settings.plan.cell_m
    low, high = np.full(x.size, np.nan), np.full(x.size, np.nan)
    with rasterio.open(path) as source:
        own = CRS.from_user_input(layer.crs) if layer.crs else CRS.from_wkt(source.crs.to_wkt())
        change = Transformer.from_crs(crs, own, always_xy=True)
        px, py = (np.asarray(v, dtype=np.float64) for v in change.transform(x, y))
        qx, qy = change.transform(x + 0.5 * cell_m, y + 0.5 * cell_m)
        column, row = cell_place(source.transform, px, py)
        column_q, row_q = cell_place(source.transform, np.asarray(qx), np.asarray(qy))
        spread = float(np.max(np.abs([column_q - column, row_q - row]), initial=0.0))
        halo = int(np.ceil(spread)) + 1
        columns, rows = np.floor(column).astype(np.int64), np.floor(row).astype(np.int64)
        for r, c, members in _pieces(rows, columns):
            top, left = r * _PIECE - halo, c * _PIECE - halo
            side = _PIECE + 2 * halo
            filled = padded(source, layer.band, (top, left, side, side))
            if layer.nodata is not None:
                filled[filled == layer.nodata] = np.nan
            base_row, base_column = rows[members] - top, columns[members] - left
            for dr in range(-halo, halo + 1):
                for dc in range(-halo, halo + 1):
                    found = filled[base_row + dr, base_column + dc]
                    low[members] = np.fmin(low[members], found)
                    high[members] = np.fmax(high[members], found)
    return low, high


def cell_place(transform: Any, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return column and row of points in a raster, with fractions; whole numbers are corners of cells."""
    t = ~transform
    return t.a * x + t.b * y + t.c, t.d * x + t.e * y + t.f


def padded(source: Any, band: int, block: tuple[int, int, int, int]) -> Floats:
    """Return a block (top, left, rows, columns) of a raster's band; NaN beyond its edges and where it has no data."""
    top, left, rows, columns = block
    out = np.full((rows, columns), np.nan)
    first_row, first_column = max(top, 0), max(left, 0)
    high = min(top + rows, source.height) - first_row
    wide = min(left + columns, source.width) - first_column
    if high > 0 and wide > 0:
        window = Window(first_column, first_row, wide, high)
        values = source.read(band, window=window, masked=True).astype(np.float64).filled(np.nan)
        out[first_row - top : first_row - top + high, first_column - left : first_column - left + wide] = values
    return out


def _pieces(rows: NDArray[np.int64], columns: NDArray[np.int64]) -> Iterator[tuple[int, int, NDArray[np.int64]]]:
    """Row and column of each piece of the raster that holds points, and the places of those points in the list."""
    keys = np.column_stack([rows // _PIECE, columns // _PIECE])
    found, which = np.unique(keys, axis=0, return_inverse=True)
    order = np.argsort(which.ravel(), kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(which.ravel()[order])) + 1) if len(order) else []
    for (r, c), members in zip(found, parts, strict=True):
        yield int(r), int(c), members


def raster_values(path: Path, band: int, x: Floats, y: Floats) -> Floats:
    """Return the value of the cell that holds each point; NaN outside the raster and where it has no data.

    Parameters
    ----------
    path : Path
        A raster of the run, in the working system.
    band : int
        From 1.
    x, y : ndarray
        Easting and northing [m].
    """
    out = np.full(x.size, np.nan)
    with rasterio.open(path) as source:
        column, row = (np.floor(v) for v in cell_place(source.transform, x, y))
        good = np.isfinite(column) & np.isfinite(row)
        good &= (row >= 0) & (row < source.height) & (column >= 0) & (column < source.width)
        places = np.flatnonzero(good)
        rows, columns = row[places].astype(np.int64), column[places].astype(np.int64)
        for r, c, members in _pieces(rows, columns):
            top, left = r * _PIECE, c * _PIECE
            size = min(_PIECE, source.height - top), min(_PIECE, source.width - left)
            values = padded(source, band, (top, left, *size))
            out[places[members]] = values[rows[members] - top, columns[members] - left]
    return out


def cell_centres(path: Path, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return easting and northing of the centre of the raster's cell that holds each point [m]."""
    with rasterio.open(path) as source:
        t = source.transform
        column, row = (np.floor(v) + 0.5 for v in cell_place(t, x, y))
    return t.a * column + t.b * row + t.c, t.d * column + t.e * row + t.f


def nearest_cell(project: Path, layer: Any, crs: CRS, x: Floats, y: Floats) -> Floats:
    """Return the value of the input raster's cell that holds each point; NaN where it has none.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    layer : settings of a raster
        With `file`, `crs`, `band`, `nodata`.
    crs : CRS
        Of the points.
    x, y : ndarray
        Easting and northing [m].
    """
    path = inside(project, layer.file)
    with rasterio.open(path) as source:
        own = CRS.from_user_input(layer.crs) if layer.crs else CRS.from_wkt(source.crs.to_wkt())
    px, py = Transformer.from_crs(crs, own, always_xy=True).transform(x, y)
    values = raster_values(path, layer.band, np.asarray(px, dtype=np.float64), np.asarray(py, dtype=np.float64))
    if layer.nodata is not None:
        values = np.where(values == layer.nodata, np.nan, values)
    return values
