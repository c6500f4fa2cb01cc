"""Slope to the east and to the south from the eight neighbours of a cell, and the angles they make.

Differences of float32 depths are taken in float64, where sums of a few of them are exact: mirrored or turned bottoms
give exactly mirrored or turned slopes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.base.elementary import arctan_positive, bearing

Depths = NDArray[np.float32]


@compiled
def gradient(depth: Depths, row: int, first: int, east: NDArray[np.float64], south: NDArray[np.float64]) -> None:
    """Eight times the cell size times the slope to the east and to the south; NaN if any of the nine is unknown."""
    count = east.size
    up, mid, low = depth[row - 1], depth[row], depth[row + 1]
    up0, up1, up2 = up[first - 1 : first - 1 + count], up[first : first + count], up[first + 1 : first + 1 + count]
    mid0, mid1, mid2 = (
        mid[first - 1 : first - 1 + count],
        mid[first : first + count],
        mid[first + 1 : first + 1 + count],
    )
    low0, low1, low2 = (
        low[first - 1 : first - 1 + count],
        low[first : first + count],
        low[first + 1 : first + 1 + count],
    )
    for j in range(count):
        nw, ne, sw, se = np.float64(up0[j]), np.float64(up2[j]), np.float64(low0[j]), np.float64(low2[j])
        n, w, c = np.float64(up1[j]), np.float64(mid0[j]), np.float64(mid1[j])
        e, s = np.float64(mid2[j]), np.float64(low1[j])
        known = 0.0 * c  # 0, or NaN in a gap
        east[j] = ((ne + se) + 2.0 * e) - ((nw + sw) + 2.0 * w) + known
        south[j] = ((sw + se) + 2.0 * s) - ((nw + ne) + 2.0 * n) + known


@compiled
def slope_aspect(depth: Depths, cell: float, edge: int, slope: Depths, aspect: Depths) -> None:
    """Fill slope and compass direction of descent [degrees] for the cells inside `edge`; empty arrays are left out.

    Both are NaN where one of the nine cells is unknown; aspect also where the bottom is level.
    """
    rows, cols = depth.shape[0] - 2 * edge, depth.shape[1] - 2 * edge
    per_cell = 1.0 / (8.0 * cell)
    east = np.empty(cols)
    south = np.empty(cols)
    for i in range(rows):
        gradient(depth, i + edge, edge, east, south)
        if slope.size:
            for j in range(cols):
                steep = np.sqrt(east[j] * east[j] + south[j] * south[j]) * per_cell
                slope[i, j] = arctan_positive(steep) * 57.29577951308232
        if aspect.size:
            for j in range(cols):
                e, s = east[j], south[j]
                level = (e == 0.0) & (s == 0.0) | np.isnan(e + s)
                a = np.float32(bearing(e, -s))
                aspect[i, j] = np.nan if level else (np.float32(0.0) if a >= np.float32(360.0) else a)
