"""Short ways: from plot to plot by boat, from unit to unit along a tape.

Orders only; numbers are given by `numbering`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEPS = 2_000_000_000  # pairs looked at before the search for a shorter way stops
_FEW = 40  # places


def visiting_order(
    x_m: ArrayLike, y_m: ArrayLike, *, start: tuple[float, float] | None = None, closed: bool = False
) -> Ints:
    """Return a short order in which to visit places.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Map positions [m].
    start : tuple of float, optional
        Where the way begins [m], itself not a place; by default the way begins at the most north-western place.
    closed : bool
        Whether the way returns to where it began.

    Returns
    -------
    ndarray of int64, shape (n,)
        The places in order, each once; the same for the same input.

    Notes
    -----
    Nearest neighbour from the start, then parts of the way are turned round (2-opt) or moved (or-opt) while that
    shortens it. Not proven shortest.
    """
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    if x.size <= 1:
        return np.arange(x.size, dtype=np.int64)
    if start is None:
        first = int(np.lexsort((x, -y, np.round(x - y, 6)))[0])
        px, py = np.concatenate([x[first : first + 1], x]), np.concatenate([y[first : first + 1], y])
    else:
        px, py = np.concatenate([[start[0]], x]), np.concatenate([[start[1]], y])
    passes = max(1, min(1000, _STEPS // (4 * px.size**2)))
    # few places: plain Python is done before the kernel (the same function) is compiled
    way = _short_way.py_func if px.size <= _FEW else _short_way  # type: ignore[attr-defined]
    return np.asarray(way(px, py, closed, passes)[1:] - 1, np.int64)


def way_length(x_m: ArrayLike, y_m: ArrayLike, order: ArrayLike, *, closed: bool = False) -> float:
    """Return the length [m] of the way through places in `order`, back to the first one if `closed`."""
    at = np.asarray(order, np.int64)
    if closed and at.size:
        at = np.append(at, at[0])
    x, y = np.asarray(x_m, np.float64)[at], np.asarray(y_m, np.float64)[at]
    return float(np.hypot(np.diff(x), np.diff(y)).sum())


def swim_order(along_m: ArrayLike, offset_m: ArrayLike, *, spacing_m: float) -> Ints:
    """Return the order in which a diver swims the units of one plot: lane after lane, turning at each end.

    Parameters
    ----------
    along_m, offset_m : array_like, shape (n,)
        Readings [m].
    spacing_m : float
        Units whose lane readings differ by less than half of this share a lane [m], > 0.

    Returns
    -------
    ndarray of int64, shape (n,)
        Lanes across the tape from its first pin on, or lanes along it from left to right: the shorter swim; across the
        tape if equal.
    """
    along, offset = np.asarray(along_m, np.float64), np.asarray(offset_m, np.float64)
    trials = (_serpentine(along, offset, spacing_m), _serpentine(offset, along, spacing_m))
    lengths = [round(way_length(along, offset, t), 6) for t in trials]
    return trials[0] if lengths[0] <= lengths[1] else trials[1]


def ring_order(radius_m: ArrayLike, angle_deg: ArrayLike) -> Ints:
    """Return the order in which a diver swims a circular plot: ring after ring outward, every second one backwards."""
    radius, angle = np.asarray(radius_m, np.float64), np.asarray(angle_deg, np.float64)
    if radius.size == 0:
        return np.zeros(0, np.int64)
    ring = np.unique(np.round(radius, 6), return_inverse=True)[1]
    return np.lexsort((np.where(ring % 2 == 0, angle, -angle), ring)).astype(np.int64)


def _serpentine(lane_at: Floats, run_at: Floats, spacing: float) -> Ints:
    """Order by lanes of like `lane_at`, running up and down `run_at` in turn."""
    if lane_at.size == 0:
        return np.zeros(0, np.int64)
    order = np.argsort(lane_at, kind="stable")
    lane = np.zeros(lane_at.size, np.int64)
    number, begun = 0, lane_at[order[0]]
    for k in order:
        if lane_at[k] - begun >= 0.5 * spacing - 1e-9:
            number, begun = number + 1, lane_at[k]
        lane[k] = number
    return np.lexsort((np.where(lane % 2 == 0, run_at, -run_at), lane)).astype(np.int64)


@compiled
def _short_way(x: Floats, y: Floats, closed: bool, passes: int) -> Ints:
    """Order of all points beginning with point 0."""
    n = x.size
    way = np.empty(n, np.int64)
    seen = np.zeros(n, np.bool_)
    way[0] = 0
    seen[0] = True
    for i in range(1, n):
        best, least = -1, math.inf
        for k in range(n):
            if not seen[k]:
                r = (x[k] - x[way[i - 1]]) ** 2 + (y[k] - y[way[i - 1]]) ** 2
                if r < least - 1e-9:
                    best, least = k, r
        way[i] = best
        seen[best] = True
    for _ in range(passes):
        shorter = False
        # Turn the part i..j round: the legs into i and out of j are exchanged.
        for i in range(1, n - 1):
            for j in range(i + 1, n):
                a, b, c = way[i - 1], way[i], way[j]
                old = math.hypot(x[a] - x[b], y[a] - y[b])
                new = math.hypot(x[a] - x[c], y[a] - y[c])
                if j + 1 < n or closed:
                    d = way[j + 1] if j + 1 < n else way[0]
                    old += math.hypot(x[c] - x[d], y[c] - y[d])
                    new += math.hypot(x[b] - x[d], y[b] - y[d])
                if new < old - 1e-9:
                    lo, hi = i, j
                    while lo < hi:
                        way[lo], way[hi] = way[hi], way[lo]
                        lo, hi = lo + 1, hi - 1
                    shorter = True
        # Move a part of up to three places to another leg, either way round.
        for size in range(1, 4):
            for i in range(1, n - size + 1):
                a, b, c = way[i - 1], way[i], way[i + size - 1]
                out = math.hypot(x[a] - x[b], y[a] - y[b])
                if i + size < n or closed:
                    d = way[i + size] if i + size < n else way[0]
                    out += math.hypot(x[c] - x[d], y[c] - y[d]) - math.hypot(x[a] - x[d], y[a] - y[d])
                best, gain, turned = -1, 1e-9, False
                for p in range(n):
                    if i - 1 <= p <= i + size - 1:
                        continue
                    e = way[p]
                    for turn in range(2):
                        f, g = (b, c) if turn == 0 else (c, b)
                        add = math.hypot(x[e] - x[f], y[e] - y[f])
                        if p + 1 < n or closed:
                            h = way[p + 1] if p + 1 < n else way[0]
                            add += math.hypot(x[g] - x[h], y[g] - y[h]) - math.hypot(x[e] - x[h], y[e] - y[h])
                        if out - add > gain:
                            best, gain, turned = p, out - add, turn == 1
                if best >= 0:
                    part = way[i : i + size].copy()
                    if turned:
                        part = part[::-1].copy()
                    if best < i:
                        for q in range(i - 1, best, -1):
                            way[q + size] = way[q]
                        way[best + 1 : best + 1 + size] = part
                    else:
                        for q in range(i + size, best + 1):
                            way[q - size] = way[q]
                        way[best + 1 - size : best + 1] = part
                    shorter = True
        if not shorter:
            break
    return way
