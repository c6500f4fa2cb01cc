"""Neighbourhoods cleared and laid anew, one small disc at a time, where that holds at least as many points.

A step takes the points of a disc away and sweeps the place again by exact contact, along one of two axes and from one of
two ends on either, with rows shifted by chance. What holds fewer is undone. A step looks at nothing beyond the disc and
its buckets, so its cost does not grow with the layout.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.buckets import add_point, bucket_of, clear_of_discs, drop_point

Floats = NDArray[np.float64]
Clear = tuple[NDArray[np.int64], NDArray[np.int64], Floats, float]

RADIUS = 1.6  # of the cleared disc, in separations (trials: below 1.4 nothing moves, above 2 most steps hold fewer)
ROWS = 16  # swept rows per lattice row inside the disc
_INSIDE = 5e-4  # m; as in `sweep`: a written point stays in its own cell
_STEP = 1e-9  # m; pushes a touching point past the rounding of its own square root
_MOST = 64  # points in a disc and its rim, more than fit: (1.6 + 0.5)² / 0.25 · 0.9069 = 16


@compiled
def renew(
    allowed: NDArray[np.bool_],
    cell: float,
    separation: float,
    keep_clear: Clear,
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    count: int,
    chances: Floats,
) -> tuple[int, int]:
    """Run one step per row of `chances`; return how many points stand then, and how many steps changed the layout.

    Parameters
    ----------
    allowed : ndarray of bool, shape (rows, columns)
        Row 0 in the south; coordinates count from its corner.
    cell : float
        Cell side [m].
    separation : float
        Least distance [m].
    keep_clear : tuple
        Of `disc_buckets`.
    buckets, x, y : arrays
        Points entered; x and y have room for those to come.
    count : int
        Points entered so far.
    chances : ndarray, shape (steps, 4)
        0–1: which point is the middle, which way is swept, shift of the rows, shift of the middle.
    """
    old = np.empty((_MOST, 2))
    changed = 0
    for k in range(chances.shape[0]):
        if count == 0:
            break
        at = min(int(chances[k, 0] * count), count - 1)
        turn = min(int(chances[k, 1] * 8.0), 7)
        way = 2.0 * math.pi * chances[k, 3]
        radius = RADIUS * separation
        cx = x[at] + 0.5 * separation * math.cos(way)
        cy = y[at] + 0.5 * separation * math.sin(way)
        before = count
        taken, count = _clear(buckets, x, y, count, cx, cy, radius, separation, old)
        count = _lay(allowed, cell, separation, keep_clear, buckets, x, y, count, cx, cy, radius, turn, chances[k, 2])
        if count < before:
            while count > before - taken:
                count -= 1
                drop_point(buckets, x, y, count, separation)
            for m in range(taken):
                x[count], y[count] = old[m, 0], old[m, 1]
                add_point(buckets, x, y, count, separation)
                count += 1
        elif count > before:
            changed += 1
    return count, changed


@compiled
def _clear(
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    count: int,
    cx: float,
    cy: float,
    radius: float,
    separation: float,
    old: Floats,
) -> tuple[int, int]:
    """Take the points of a disc out, the last ones moving into their numbers; return how many, and how many stand."""
    reach = int(math.ceil(radius * math.sqrt(2.0) / separation)) + 1
    i, j = bucket_of(cy, separation), bucket_of(cx, separation)
    taken = 0
    for a in range(max(i - reach, 0), min(i + reach + 1, buckets.shape[0])):
        for b in range(max(j - reach, 0), min(j + reach + 1, buckets.shape[1])):
            k = buckets[a, b]
            if k < 0 or taken >= old.shape[0]:
                continue
            dx, dy = x[k] - cx, y[k] - cy
            if dx * dx + dy * dy > radius * radius:
                continue
            old[taken, 0], old[taken, 1] = x[k], y[k]
            taken += 1
            buckets[a, b] = -1
            count -= 1
            if k != count:
                x[k], y[k] = x[count], y[count]
                buckets[bucket_of(y[k], separation), bucket_of(x[k], separation)] = k
    return taken, count


@compiled
def _lay(
    allowed: NDArray[np.bool_],
    cell: float,
    separation: float,
    keep_clear: Clear,
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    count: int,
    cx: float,
    cy: float,
    radius: float,
    turn: int,
    shift: float,
) -> int:
    """Sweep a disc by exact contact along one of eight ways; u runs along a row, v from row to row."""
    rows, cols = allowed.shape
    cells, starts, discs, side = keep_clear
    su = 1.0 if turn & 1 else -1.0
    sv = 1.0 if turn & 2 else -1.0
    flip = turn & 4 != 0
    least = separation * separation
    step = separation * math.sqrt(3.0) / 2.0 / ROWS
    v = -radius + shift * step
    while v <= radius:
        half = math.sqrt(max(radius * radius - v * v, 0.0))
        u = -half
        while u <= half:
            px = cx + sv * v if flip else cx + su * u
            py = cy + su * u if flip else cy + sv * v
            along = py if flip else px
            # into the cell, a hair away from the side it is entered by
            q = int(math.floor(along / cell))
            if su > 0:
                rest = along - q * cell
                if rest < _INSIDE:
                    u += _INSIDE - rest
                ahead = (q + 1) * cell - along
            else:
                rest = (q + 1) * cell - along
                if rest < _INSIDE:
                    u += _INSIDE - rest
                ahead = along - q * cell
            px = cx + sv * v if flip else cx + su * u
            py = cy + su * u if flip else cy + sv * v
            i, j = int(math.floor(py / cell)), int(math.floor(px / cell))
            if i < 0 or j < 0 or i >= rows or j >= cols or not allowed[i, j]:
                u += max(ahead, 0.0) + 1e-7
                continue
            across = px if flip else py
            rest = across - math.floor(across / cell) * cell
            if rest < _INSIDE or rest > cell - _INSIDE:
                u += max(ahead, 0.0) + 1e-7
                continue
            a0, b0 = bucket_of(py, separation), bucket_of(px, separation)
            best = u
            for a in range(a0 - 2, a0 + 3):
                for b in range(b0 - 2, b0 + 3):
                    k = buckets[a, b]
                    if k >= 0 and (abs(a - a0) < 2 or abs(b - b0) < 2):
                        du = su * (y[k] - cy) if flip else su * (x[k] - cx)
                        dv = sv * (x[k] - cx) if flip else sv * (y[k] - cy)
                        dv -= v
                        if (du - u) * (du - u) + dv * dv < least:
                            best = max(best, du + math.sqrt(max(least - dv * dv, 0.0)))
            if best > u:
                u = best + _STEP
                continue
            if discs.shape[0] > 0 and clear_of_discs(cells, starts, discs, side, px, py) > px:
                u += 0.05 * separation
                continue
            if count >= x.size:
                return count
            x[count], y[count] = px, py
            add_point(buckets, x, y, count, separation)
            count += 1
            u += separation
        v += step
    return count
