"""Rows swept by exact contact: on each row jump to where the next point just touches one that stands already.

Rows lie a fraction of a lattice row apart, so a row that fits the bottom is always near. With points entered before, the
same sweep fills what is left. Sweeps run along either axis and from either end (`turned`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.buckets import add_point, clear_of_discs, next_free

Floats = NDArray[np.float64]
_INSIDE = 5e-4  # m; five times the rounding of 9 decimals of a degree: a written point stays in its own cell
_STEP = 1e-9  # m; pushes a touching point past the rounding of its own square root


@compiled
def sweep(
    allowed: NDArray[np.bool_],
    cell: float,
    frame: tuple[float, float, float, float],
    row_step: float,
    separation: float,
    keep_clear: tuple[NDArray[np.int64], NDArray[np.int64], Floats, float],
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    count: int,
) -> int:
    """Place points on rows from south to north, west to east; return how many stand now.

    Parameters
    ----------
    allowed : ndarray of bool, shape (rows, columns)
        Row 0 in the south here; coordinates count from its corner.
    cell : float
        Cell side [m].
    frame : tuple of float
        West, south, east, north of the part that is swept [m].
    row_step : float
        Distance of swept rows [m].
    separation : float
        Least distance [m].
    keep_clear : tuple
        Of `disc_buckets`.
    buckets, x, y : arrays
        Points entered; x and y have room for those to come.
    count : int
        Points entered so far.
    """
    rows, cols = allowed.shape
    west, south, east, north = frame
    cells, starts, discs, side = keep_clear
    any_disc = discs.shape[0] > 0
    n_rows = int((north - south) / row_step) + 1
    # the first row hugs the southern edge of the frame; a hair inside, so that it belongs to the first cells
    for k in range(n_rows):
        py = south + _INSIDE + k * row_step
        if py >= north:
            break
        i = int(py / cell)
        if i < 0 or i >= rows:
            continue
        j = max(int((west + 1e-9) / cell), 0)
        last = min(int(math.ceil((east - 1e-9) / cell)), cols)
        px = west
        while j < last:
            if not allowed[i, j]:
                j += 1
                px = j * cell
                continue
            px = max(px, j * cell + _INSIDE)
            if px >= east:
                break
            moved = next_free(buckets, x, y, px, py, separation)
            if any_disc:
                moved = max(moved, clear_of_discs(cells, starts, discs, side, px, py))
            if moved > px:
                px = moved + _STEP
                j = int(px / cell)
                continue
            if count >= x.size:
                return count
            x[count], y[count] = px, py
            add_point(buckets, x, y, count, separation)
            count += 1
            px += separation
            j = int(px / cell)
    return count
