"""Values of a source raster at the centres of grid cells: where a centre lies in the source, and what stands there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from sitekit.base.crs import transform_points
from sitekit.layers.grid import Grid
from sitekit.layers.source_raster import SourceRaster

_TILE = 512  # cells a side, read at once for points
_NODES = 16  # cells between the places at which coordinates are computed exactly; straight between them


def places(source: SourceRaster, part: Grid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Source columns and rows, with fractions, of the centres of a tile's cells.

    Computed exactly every 16 cells and at the last, linearly between.
    """
    rows, cols = part.shape
    at_r = np.unique(np.append(np.arange(0, rows, _NODES), rows - 1))
    at_c = np.unique(np.append(np.arange(0, cols, _NODES), cols - 1))
    east, north = part.centres()
    x, y = np.meshgrid(east[at_c], north[at_r])
    u, v = source.pixels(*transform_points(x, y, part.crs, source.crs))
    return _between(u, at_r, at_c, rows, cols), _between(v, at_r, at_c, rows, cols)


def _between(
    values: NDArray[np.float64], at_r: NDArray[np.int64], at_c: NDArray[np.int64], rows: int, cols: int
) -> NDArray[np.float64]:
    """Linear between nodes, first along columns, then along rows."""

    def spread(v: NDArray[np.float64], at: NDArray[np.int64], count: int) -> NDArray[np.float64]:
        if len(at) == 1:
            return np.repeat(v, count, axis=0)
        left = np.clip(np.searchsorted(at, np.arange(count), side="right") - 1, 0, len(at) - 2)
        share = ((np.arange(count) - at[left]) / (at[left + 1] - at[left]))[:, None]
        return v[left] * (1.0 - share) + v[left + 1] * share

    return spread(spread(values, at_r, rows).T, at_c, cols).T


def _window(
    source: SourceRaster, u: NDArray[np.float64], v: NDArray[np.float64], block: int
) -> tuple[int, int, int, int] | None:
    """First row, first column, rows, columns that the places need, one cell of margin; None if none is inside."""
    good = np.isfinite(u) & np.isfinite(v)
    if not good.any():
        return None
    high, wide = -(-source.file.height // block), -(-source.file.width // block)
    r0, r1 = max(int(np.floor(v[good].min())) - 1, -1), min(int(np.floor(v[good].max())) + 2, high + 1)
    c0, c1 = max(int(np.floor(u[good].min())) - 1, -1), min(int(np.floor(u[good].max())) + 2, wide + 1)
    return (r0, c0, r1 - r0, c1 - c0) if r1 > r0 and c1 > c0 else None


def bilinear(
    source: SourceRaster, part: Grid, *, block: int = 1, watch: Callable[[NDArray[np.float64]], None] | None = None
) -> NDArray[np.float64]:
    """Values at cell centres, bilinear between the centres of source cells (or of their averaged blocks).

    Parameters
    ----------
    source : SourceRaster
        Where from.
    part : Grid
        A tile.
    block : int
        Source cells per side that are averaged first.
    watch : callable, optional
        Is shown the source values that were read.

    Returns
    -------
    ndarray, shape of `part`
        NaN where the source cell or block that holds the centre has no value; weights of neighbours without one are
        shared out among the others.
    """
    u, v = (p / block for p in places(source, part))
    window = _window(source, u, v, block)
    if window is None:
        return np.full(part.shape, np.nan)
    row, col, rows, cols = window
    values = source.read(row, col, rows, cols, block)
    if watch is not None:
        watch(values)
    # one more ring of gaps, so that neighbours of any place inside the window exist
    ringed = np.pad(values, 1, constant_values=np.nan)
    x, y = np.nan_to_num(u, nan=-9.0) - col + 1.0, np.nan_to_num(v, nan=-9.0) - row + 1.0
    x, y = np.clip(x, 0.5, cols + 1.49), np.clip(y, 0.5, rows + 1.49)
    inside = ringed[np.floor(y).astype(np.intp), np.floor(x).astype(np.intp)]
    left, top = np.floor(x - 0.5), np.floor(y - 0.5)
    fx, fy = x - 0.5 - left, y - 0.5 - top
    c, r = left.astype(np.intp), top.astype(np.intp)
    total, weight = np.zeros(part.shape), np.zeros(part.shape)
    for dr, wy in ((0, 1.0 - fy), (1, fy)):
        for dc, wx in ((0, 1.0 - fx), (1, fx)):
            value = ringed[np.minimum(r + dr, rows + 1), np.minimum(c + dc, cols + 1)]
            have = np.isfinite(value)
            w = np.where(have, wx * wy, 0.0)
            total += np.where(have, value, 0.0) * w
            weight += w
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.isfinite(inside) & (weight > 0.0), total / weight, np.nan)


def nearest(source: SourceRaster, part: Grid) -> NDArray[np.float64]:
    """Value of the source cell that holds each cell's centre; NaN in gaps and beyond the source."""
    u, v = places(source, part)
    window = _window(source, u, v, 1)
    if window is None:
        return np.full(part.shape, np.nan)
    row, col, rows, cols = window
    values = np.pad(source.read(row, col, rows, cols), 1, constant_values=np.nan)
    c = np.clip(np.floor(np.nan_to_num(u, nan=-9.0)) - col + 1, 0, cols + 1).astype(np.intp)
    r = np.clip(np.floor(np.nan_to_num(v, nan=-9.0)) - row + 1, 0, rows + 1).astype(np.intp)
    picked: NDArray[np.float64] = values[r, c]
    return picked


def values_at(path: Path, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values of a raster in the cells that hold points, read tile by tile.

    Parameters
    ----------
    path : Path
        A raster of one band in the system of the points, rows from north to south.
    x, y : array, shape (n,)
        Easting and northing [m].

    Returns
    -------
    ndarray, shape (n,)
        NaN outside the raster and in gaps.
    """
    out = np.full(len(x), np.nan)
    with rasterio.open(path) as file:
        column, row = ~file.transform * (x, y)
        good = np.isfinite(column) & np.isfinite(row)
        good &= (column >= 0) & (column < file.width) & (row >= 0) & (row < file.height)
        at = np.flatnonzero(good)
        c, r = np.floor(column[at]).astype(np.int64), np.floor(row[at]).astype(np.int64)
        tiles = (r // _TILE) * (file.width // _TILE + 1) + c // _TILE
        for tile in np.unique(tiles):
            here = tiles == tile
            top, left = int(r[here][0] // _TILE * _TILE), int(c[here][0] // _TILE * _TILE)
            window = Window(left, top, min(_TILE, file.width - left), min(_TILE, file.height - top))
            values = file.read(1, window=window, masked=True).astype(np.float64).filled(np.nan)
            out[at[here]] = values[r[here] - top, c[here] - left]
    return out
