"""Neighbourhoods cleared and laid anew, one small disc at a time, where that is worth at least as much.

A step takes the points of a disc away and sweeps the place again by exact contact, along one of two axes and from one of
two ends on either, with rows shifted by chance. What holds fewer points is undone, and so is what holds as many of a
lower summed score. A step looks at nothing beyond the disc and its buckets, so its cost does not grow with the layout.
Points may be of several kinds (species), each pair of kinds with a least distance of its own.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.buckets import bucket_of, clear_of_discs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Clear = tuple[NDArray[np.int64], NDArray[np.int64], Floats, float]

RADIUS = 1.6  # of the cleared disc, in separations (trials: below 1.4 nothing moves, above 2 most steps hold fewer)
ROWS = 16  # swept rows per lattice row inside the disc
NO_LIMIT = 2**62
_INSIDE = 5e-4  # m; as in `sweep`: a written point stays in its own cell
_STEP = 1e-9  # m; pushes a touching point past the rounding of its own square root


def most_in_disc(distances: Floats) -> int:
    """Return more than the number of points that a cleared disc can hold: discs of half the least distance in it."""
    radius = RADIUS * float(distances.max())
    half = 0.5 * float(distances.min())
    return int(((radius + half) / half) ** 2) + 8


@compiled
def renew(
    allowed: NDArray[np.bool_],
    value: NDArray[np.float32],
    cell: float,
    distances: Floats,
    keep_clear: Clear,
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    kind: Ints,
    count: int,
    most: Ints,
    room: int,
    chances: Floats,
) -> tuple[int, int]:
    """Run one step per row of `chances`; return how many points stand then, and how many steps gained.

    Parameters
    ----------
    allowed : ndarray of bool, shape (kinds, rows, columns)
        Row 0 in the south; coordinates count from its corner.
    value : ndarray of float32, shape (kinds, rows, columns) or (0, 0, 0)
        Score of each cell; empty: all are worth the same.
    cell : float
        Cell side [m].
    distances : ndarray, shape (kinds, kinds)
        Least distance of each pair of kinds [m]; the least of all is what the buckets were made for.
    keep_clear : tuple
        Of `disc_buckets`.
    buckets, x, y, kind : arrays
        Points entered; x, y and kind have room for those to come.
    count : int
        Points entered so far.
    most : ndarray, shape (kinds,)
        No more points of each kind.
    room : int
        Of `most_in_disc`.
    chances : ndarray, shape (steps, 5)
        0–1: which point is the middle, which way is swept, shift of the rows, shift of the middle, order of the kinds.
    """
    kinds = distances.shape[0]
    grain = distances.min()
    valued = value.size > 0
    old, old_kind = np.empty((room, 2)), np.empty(room, np.int64)
    held = np.zeros(kinds, np.int64)
    for m in range(count):
        held[kind[m]] += 1
    gained = 0
    for step in range(chances.shape[0]):
        if count == 0:
            break
        at = min(int(chances[step, 0] * count), count - 1)
        turn = min(int(chances[step, 1] * 8.0), 7)
        way = 2.0 * math.pi * chances[step, 3]
        own = distances[kind[at], kind[at]]
        radius = RADIUS * own
        cx, cy = x[at] + 0.5 * own * math.cos(way), y[at] + 0.5 * own * math.sin(way)
        before = count
        taken, count = _clear(buckets, x, y, kind, count, cx, cy, radius, grain, old, old_kind)
        was = 0.0
        for m in range(taken):
            held[old_kind[m]] -= 1
            if valued:
                was += value[old_kind[m], int(old[m, 1] / cell), int(old[m, 0] / cell)]
        first = int(chances[step, 4] * 2 * kinds)
        for n in range(kinds):
            s = (first // 2 + (n if first % 2 == 0 else kinds - n)) % kinds
            stood = count
            count = lay(
                allowed,
                cell,
                distances,
                keep_clear,
                buckets,
                x,
                y,
                kind,
                count,
                s,
                most[s] - held[s],
                (cx, cy, radius, radius),
                True,
                turn,
                chances[step, 2],
            )
            held[s] += count - stood
        now = 0.0
        if valued:
            for m in range(before - taken, count):
                now += value[kind[m], int(y[m] / cell), int(x[m] / cell)]
        if count < before or (count == before and now < was):
            while count > before - taken:
                count -= 1
                held[kind[count]] -= 1
                buckets[bucket_of(y[count], grain), bucket_of(x[count], grain)] = -1
            for m in range(taken):
                _enter_at(buckets, x, y, kind, count, old[m, 0], old[m, 1], old_kind[m], grain)
                held[old_kind[m]] += 1
                count += 1
        elif count > before or now > was:
            gained += 1
    return count, gained


@compiled
def lay(
    allowed: NDArray[np.bool_],
    cell: float,
    distances: Floats,
    keep_clear: Clear,
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    kind: Ints,
    count: int,
    s: int,
    most: int,
    window: tuple[float, float, float, float],
    disc: bool,
    turn: int,
    shift: float,
) -> int:
    """Sweep a window with points of one kind; return how many points of all kinds stand now.

    Parameters
    ----------
    allowed, cell, distances, keep_clear, buckets, x, y, kind, count
        As in `renew`.
    s, most : int
        Kind laid, and no more of it than this.
    window : tuple of float
        Middle, half width and half height [m].
    disc : bool
        Whether only the disc of the half width in the window is swept.
    turn : int
        0–7: which way rows run, and which way they follow each other; u runs along a row, v from row to row.
    shift : float
        0–1: first row, in distances of rows.
    """
    rows, cols = allowed.shape[1:]
    cells, starts, discs, side = keep_clear
    cx, cy, half_x, half_y = window
    su = 1.0 if turn & 1 else -1.0
    sv = 1.0 if turn & 2 else -1.0
    flip = turn & 4 != 0
    half_u, half_v = (half_y, half_x) if flip else (half_x, half_y)
    grain = distances.min()
    own = distances[s, s]
    reach = int(math.ceil(distances[s].max() * math.sqrt(2.0) / grain - 1e-9))
    step = min(own * math.sqrt(3.0) / 2.0 / ROWS, 0.999 * cell)
    laid = 0
    v = -half_v + shift * step
    while v <= half_v:
        half = math.sqrt(max(half_u * half_u - v * v, 0.0)) if disc else half_u
        u = -half
        while u <= half and laid < most:
            along = cy + su * u if flip else cx + su * u
            # a point stands a hair inside its cell; `ahead` leads to the next one
            q = math.floor(along / cell)
            behind = along - q * cell if su > 0 else (q + 1) * cell - along
            ahead = cell - behind
            if behind < _INSIDE:
                u += _INSIDE - behind
                ahead -= _INSIDE - behind
            px = cx + sv * v if flip else cx + su * u
            py = cy + su * u if flip else cy + sv * v
            i, j = int(math.floor(py / cell)), int(math.floor(px / cell))
            across = (px - j * cell) if flip else (py - i * cell)
            inside = 0 <= i < rows and 0 <= j < cols and _INSIDE <= across <= cell - _INSIDE
            if not inside or not allowed[s, i, j] or ahead < _INSIDE:
                u += max(ahead, 0.0) + 1e-7
                continue
            a0, b0 = bucket_of(py, grain), bucket_of(px, grain)
            best = u
            for a in range(max(a0 - reach, 0), min(a0 + reach + 1, buckets.shape[0])):
                for b in range(max(b0 - reach, 0), min(b0 + reach + 1, buckets.shape[1])):
                    k = buckets[a, b]
                    if k >= 0:
                        d = distances[s, kind[k]]
                        du = (su * (y[k] - cy) if flip else su * (x[k] - cx)) - u
                        dv = (sv * (x[k] - cx) if flip else sv * (y[k] - cy)) - v
                        if du * du + dv * dv < d * d:
                            best = max(best, u + du + math.sqrt(max(d * d - dv * dv, 0.0)))
            if best > u:
                u = best + _STEP
                continue
            if discs.shape[0] > 0 and clear_of_discs(cells, starts, discs, side, px, py) > px:
                u += 0.05 * own
                continue
            if count >= x.size:
                return count
            _enter_at(buckets, x, y, kind, count, px, py, s, grain)
            count += 1
            laid += 1
            u += own
        v += step
    return count


@compiled
def enter_all(buckets: NDArray[np.int32], x: Floats, y: Floats, count: int, grain: float) -> None:
    """Enter the first points into buckets made for the distance `grain` [m]."""
    for k in range(count):
        buckets[bucket_of(y[k], grain), bucket_of(x[k], grain)] = k


@compiled
def _enter_at(
    buckets: NDArray[np.int32], x: Floats, y: Floats, kind: Ints, k: int, px: float, py: float, s: int, grain: float
) -> None:
    x[k], y[k], kind[k] = px, py, s
    buckets[bucket_of(py, grain), bucket_of(px, grain)] = k


@compiled
def _clear(
    buckets: NDArray[np.int32],
    x: Floats,
    y: Floats,
    kind: Ints,
    count: int,
    cx: float,
    cy: float,
    radius: float,
    grain: float,
    old: Floats,
    old_kind: Ints,
) -> tuple[int, int]:
    """Take the points of a disc out, the last ones moving into their numbers; return how many, and how many stand."""
    reach = int(math.ceil(radius * math.sqrt(2.0) / grain)) + 1
    i, j = bucket_of(cy, grain), bucket_of(cx, grain)
    taken = 0
    for a in range(max(i - reach, 0), min(i + reach + 1, buckets.shape[0])):
        for b in range(max(j - reach, 0), min(j + reach + 1, buckets.shape[1])):
            k = buckets[a, b]
            if k < 0 or taken >= old.shape[0]:
                continue
            dx, dy = x[k] - cx, y[k] - cy
            if dx * dx + dy * dy > radius * radius:
                continue
            old[taken, 0], old[taken, 1], old_kind[taken] = x[k], y[k], kind[k]
            taken += 1
            buckets[a, b] = -1
            count -= 1
            if k != count:
                _enter_at(buckets, x, y, kind, k, x[count], y[count], kind[count], grain)
    return taken, count
