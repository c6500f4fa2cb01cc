"""Hexagonal lattices laid over one patch: many turns and shifts, the best is kept."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.buckets import clear_of_discs

Floats = NDArray[np.float64]


@compiled
def lattice_points(
    label: NDArray[np.int32],
    number: int,
    cell: float,
    frame: tuple[float, float, float, float],
    pose: tuple[float, float, float],
    separation: float,
    keep_clear: tuple[NDArray[np.int64], NDArray[np.int64], Floats, float],
    x: Floats,
    y: Floats,
) -> int:
    """Write the lattice points that fall on a patch; return how many (counting on beyond the room in x and y).

    Parameters
    ----------
    label : ndarray of int32, shape (rows, columns)
        Patch of each cell, row 0 in the south.
    number : int
        The patch.
    cell : float
        Cell side [m].
    frame : tuple of float
        West, south, east, north of the patch [m].
    pose : tuple of float
        Turn [rad] and shift along and across as fractions of a lattice step.
    separation : float
        Step of the lattice [m].
    keep_clear : tuple
        Of `disc_buckets`.
    x, y : ndarray
        Filled with coordinates [m].
    """
    rows, cols = label.shape
    west, south, east, north = frame
    turn, along, across = pose
    c, s = math.cos(turn), math.sin(turn)
    height = separation * math.sqrt(3.0) / 2.0
    cells, starts, discs, side = keep_clear
    mx, my = 0.5 * (west + east), 0.5 * (south + north)
    half_x, half_y = 0.5 * (east - west), 0.5 * (north - south)
    reach_v = abs(s) * half_x + abs(c) * half_y
    count = 0
    first_row = int(math.floor(-reach_v / height - across)) - 1
    last_row = int(math.ceil(reach_v / height - across)) + 1
    for j in range(first_row, last_row + 1):
        v = (j + across) * height
        shift = 0.5 * (j % 2) + along
        # u range in which the row crosses the frame: x = mx + u c − v s, y = my + u s + v c
        low, high = -1e30, 1e30
        if abs(c) > 1e-12:
            a, b = (-half_x + v * s) / c, (half_x + v * s) / c
            low, high = max(low, min(a, b)), min(high, max(a, b))
        elif abs(v * s) > half_x:
            continue
        if abs(s) > 1e-12:
            a, b = (-half_y - v * c) / s, (half_y - v * c) / s
            low, high = max(low, min(a, b)), min(high, max(a, b))
        elif abs(v * c) > half_y:
            continue
        if low > high:
            continue
        i0 = int(math.ceil(low / separation - shift))
        i1 = int(math.floor(high / separation - shift))
        for i in range(i0, i1 + 1):
            u = (i + shift) * separation
            px, py = mx + u * c - v * s, my + u * s + v * c
            q, p = int(math.floor(px / cell)), int(math.floor(py / cell))
            if p < 0 or q < 0 or p >= rows or q >= cols or label[p, q] != number:
                continue
            if discs.shape[0] > 0 and clear_of_discs(cells, starts, discs, side, px, py) > px:
                continue
            if count < x.size:
                x[count], y[count] = px, py
            count += 1
    return count
