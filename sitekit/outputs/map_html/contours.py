"""Depth contours for the map: for looking only; nothing is measured on them."""

from __future__ import annotations

import numpy as np
from contourpy import contour_generator
from numpy.typing import NDArray
from shapely import simplify
from shapely.geometry import LineString

from sitekit.layers.grid import Grid

MAX_CELLS = 1_000_000  # contours are drawn from every k-th cell of larger grids


def contour_lines(depth: NDArray[np.float32], grid: Grid, interval_m: float) -> list[tuple[float, LineString]]:
    """Return (depth [m], line in the grid's CRS) for each contour, shallow first.

    Parameters
    ----------
    depth : ndarray
        Depth at cell centres [m], positive down, NaN missing.
    interval_m : float
        Between contours [m]; 0 or less gives none.

    Notes
    -----
    Lines are thinned to a quarter of a cell. Grids above a million cells are sampled first.
    """
    if interval_m <= 0 or min(depth.shape) < 2 or not np.isfinite(depth).any():
        return []
    step = max(1, int(np.ceil(np.sqrt(depth.size / MAX_CELLS))))
    east, north = grid.centres()
    sampled = np.ma.masked_invalid(np.asarray(depth[::step, ::step], dtype=np.float64))
    if min(sampled.shape) < 2:
        return []
    maker = contour_generator(x=east[::step], y=north[::step], z=sampled)
    first = int(np.ceil(float(sampled.min()) / interval_m))
    last = int(np.floor(float(sampled.max()) / interval_m))
    found: list[tuple[float, LineString]] = []
    for level in range(first, last + 1):
        for line in maker.lines(level * interval_m):
            thin = LineString(simplify(LineString(np.asarray(line)), grid.cell * step * 0.25).coords)
            if len(thin.coords) >= 2 and thin.length > 4 * grid.cell * step:
                found.append((level * interval_m, thin))
    return found
