"""Points kept apart, found again by place: square buckets so small that each holds at most one point.

A bucket's side is d / √2, its diagonal d; two points a separation d apart never share one. A point within d of another
lies at most two buckets away. Kernels only; all arrays are made by the caller.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EMPTY = -1
SAFETY_M = 1e-6  # added to every planned separation: above rounding of coordinates, far below what a tape can hold


def new_buckets(width_m: float, height_m: float, separation_m: float) -> NDArray[np.int32]:
    """Return empty buckets for an area, with a margin of three buckets on each side."""
    side = separation_m / math.sqrt(2.0)
    return np.full((math.ceil(height_m / side) + 7, math.ceil(width_m / side) + 7), EMPTY, np.int32)


@compiled
def bucket_of(v: float, separation: float) -> int:
    """Return the bucket row or column of a coordinate counted from the area's corner [m]."""
    return int(math.floor(v * math.sqrt(2.0) / separation)) + 3


@compiled
def add_point(buckets: NDArray[np.int32], x: Floats, y: Floats, index: int, separation: float) -> None:
    """Enter a point."""
    buckets[bucket_of(y[index], separation), bucket_of(x[index], separation)] = index


@compiled
def drop_point(buckets: NDArray[np.int32], x: Floats, y: Floats, index: int, separation: float) -> None:
    """Take a point out."""
    buckets[bucket_of(y[index], separation), bucket_of(x[index], separation)] = EMPTY


@compiled
def is_free(buckets: NDArray[np.int32], x: Floats, y: Floats, px: float, py: float, separation: float) -> bool:
    """Whether a place is at least the separation away from every point entered."""
    i, j = bucket_of(py, separation), bucket_of(px, separation)
    least = separation * separation
    for a in range(i - 2, i + 3):
        for b in range(j - 2, j + 3):
            k = buckets[a, b]
            if k >= 0 and (abs(a - i) < 2 or abs(b - j) < 2):  # corners lie a separation away
                dx, dy = x[k] - px, y[k] - py
                if dx * dx + dy * dy < least:
                    return False
    return True


@compiled
def next_free(buckets: NDArray[np.int32], x: Floats, y: Floats, px: float, py: float, separation: float) -> float:
    """Return the smallest abscissa ≥ px on the row py that no point entered now reaches, looking at those near px.

    Equals px if px is free; a further call tells whether the new place is free of others.
    """
    i, j = bucket_of(py, separation), bucket_of(px, separation)
    least = separation * separation
    best = px
    for a in range(i - 2, i + 3):
        for b in range(j - 2, j + 3):
            k = buckets[a, b]
            if k >= 0 and (abs(a - i) < 2 or abs(b - j) < 2):  # corners lie a separation away
                dx, dy = x[k] - px, y[k] - py
                if dx * dx + dy * dy < least:
                    best = max(best, x[k] + math.sqrt(max(least - dy * dy, 0.0)))
    return best


@compiled
def clear_of_discs(cells: NDArray[np.int64], starts: Ints, discs: Floats, side: float, px: float, py: float) -> float:
    """Return the abscissa on the row py where the discs that cover px end, px if none covers it.

    Parameters
    ----------
    cells : ndarray, shape (rows, columns)
        Bucket number by place, −1 beyond.
    starts : ndarray
        First disc of each bucket; one more than buckets.
    discs : ndarray, shape (n, 3)
        Centre and radius, sorted by bucket; each disc stands in every bucket it touches.
    side : float
        Bucket side [m].
    """
    i, j = int(py / side), int(px / side)
    if i < 0 or j < 0 or i >= cells.shape[0] or j >= cells.shape[1]:
        return px
    bucket = cells[i, j]
    best = px
    for k in range(starts[bucket], starts[bucket + 1]):
        dx, dy = discs[k, 0] - px, discs[k, 1] - py
        r = discs[k, 2]
        if dx * dx + dy * dy < r * r:
            best = max(best, discs[k, 0] + math.sqrt(max(r * r - dy * dy, 0.0)))
    return best


def disc_buckets(
    width_m: float, height_m: float, centres: Floats, radii: Floats
) -> tuple[NDArray[np.int64], Ints, Floats, float]:
    """Return `cells`, `starts`, `discs`, `side` for `clear_of_discs`; coordinates count from the area's corner."""
    largest = float(radii.max()) if radii.size else 1.0
    side = max(2.0 * largest, 1.0, math.sqrt(width_m * height_m / 1e6))
    shape = (math.ceil(height_m / side) + 1, math.ceil(width_m / side) + 1)
    cells = np.arange(shape[0] * shape[1], dtype=np.int64).reshape(shape)
    bounds = np.concatenate([centres - radii[:, None], centres + radii[:, None]], axis=1) / side
    low, high = np.maximum(bounds[:, 1::-1], 0.0).astype(np.int64), bounds[:, :1:-1]
    last = np.array(shape) - 1
    top = np.minimum(np.where(high < 0, -1, high).astype(np.int64), last)  # a disc wholly beyond the area has no bucket
    top[(high < 0).any(axis=1)] = -1
    span = int((top - low).max(initial=0)) + 1
    of, who = [], []
    for di in range(span):
        for dj in range(span):
            i, j = low[:, 0] + di, low[:, 1] + dj
            k = np.flatnonzero((i <= top[:, 0]) & (j <= top[:, 1]))
            of.append(cells[i[k], j[k]])
            who.append(k)
    bucket, disc = np.concatenate(of), np.concatenate(who)
    order = np.lexsort((radii[disc], centres[disc, 1], centres[disc, 0], bucket))
    discs = np.column_stack([centres[disc], radii[disc]])[order]
    starts = np.concatenate([[0], np.cumsum(np.bincount(bucket, minlength=cells.size))]).astype(np.int64)
    return cells, starts, np.ascontiguousarray(discs, np.float64), side
