"""Room made by moving: one rectangle at a time is taken out and laid where it leaves most to others.

Each start of every bearing counts the rectangles of the set that stand in its way. A start in whose way only one stands
is free once that one is taken out. If two such starts stand clear of each other the set grows by one; else the rectangle
moves to one of them, and others find room there later.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.placing import Placer, apart
from sitekit.layout.shelves import Ground, under

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Starts = tuple[Ints, Ints, Floats, Floats]  # first of each bearing, rows and columns, middle and turn, steps [m]

_PIECES = 9  # of the right edge of the places in one's way: five arcs around corners, four sides between them
_CLOSED = np.int16(16_384)  # beside what is counted: starts that are not to be used
_TOUCH = 1e-9  # samples; rectangles exactly a gap apart are not in each other's way


def exchanged(placer: Placer, chosen: Floats, *, steps: int, shaken: int, draw: np.random.Generator) -> Floats:
    """Return a set of at least as many rectangles, after a number of them was laid anew.

    Parameters
    ----------
    placer : Placer
        With its bottom; starts found short of their share by fine samples are closed in it.
    chosen : ndarray, shape (n, 5)
        Rectangles a gap apart, from the fields of `placer`.
    steps : int
        Rectangles taken out, one after another, ≥ 0.
    shaken : int
        In so many first steps a rectangle moves as far as it can in a drawn direction; in the others to the highest
        quality.
    draw : Generator
        Draws rectangles and directions.

    Notes
    -----
    A step costs time proportional to the starts in one rectangle's way, whatever the size of the set.
    """
    fields = placer.fields
    if len(chosen) == 0 or steps == 0:
        return chosen
    quality = np.concatenate([f.quality.ravel() for f in fields])
    shape = np.array([f.quality.shape for f in fields], np.int64)
    first = np.concatenate([[0], np.cumsum(shape[:, 0] * shape[:, 1])])
    at = np.empty(len(chosen), np.int64)
    for k in range(len(fields)):
        mine = chosen[:, 2] == k
        rows, columns = placer.samples(k, chosen[mine])
        at[mine] = first[k] + rows * shape[k, 1] + columns
    corner = np.zeros(1, np.int64)
    middles = np.array([f.centres(corner, corner) for f in fields])[:, :, 0]
    steps_m = np.array([fields[0].step_along_m, fields[0].step_across_m])
    starts = (first, shape, np.column_stack([middles, placer.turns]), steps_m)
    ways = _ways(tuple(map(tuple, placer.turns.tolist())), tuple(placer.size.tolist()))
    high, wide = (int(2.0 * ways[1].max() / step) + 3 for step in steps_m[::-1])
    room = (len(fields) * high, len(fields) * high * wide)  # stretches and starts in one rectangle's way, at most
    standing = np.where(quality < 0, _CLOSED, np.int16(0))
    found = _exchange(
        at, quality, standing, room, starts, ways, placer.size, draw.random((steps, 2)), shaken, placer.ground
    )
    for k, field in enumerate(fields):
        field.quality[:] = quality[first[k] : first[k + 1]].reshape(field.quality.shape)
    of = np.searchsorted(first, found, side="right") - 1
    return np.concatenate(
        [placer.row(k, *np.divmod(found[of == k] - first[k], shape[k, 1])) for k in range(len(fields))]
    )


@lru_cache(maxsize=16)
def _ways(turns: tuple[tuple[float, float], ...], size: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Return the right edge of the places of centres in one's way, in the other's directions, and their greatest height.

    Two rectangles come closer than the gap exactly if the difference of their centres lies in the sum of both, widened by
    the gap: an octagon of four pairs of sides with rounded corners, the same turned about. Its right edge is given from
    below, in pieces: height at which the piece ends, then a, b, y, r² of abscissa a + b (h − y) + √(r² − (h − y)²).
    """
    half_length, half_width, gap = size
    number = len(turns)
    edges, tops = np.zeros((number, number, _PIECES, 5)), np.zeros((number, number))
    for mine in range(number):
        for other in range(number):
            s, c = turns[other]
            sides = [np.array([2 * half_length, 0.0]), np.array([0.0, 2 * half_width])]
            for u, v in ((2 * half_length, 0.0), (0.0, 2 * half_width)):
                x, y = u * turns[mine][0] + v * turns[mine][1], u * turns[mine][1] - v * turns[mine][0]
                side = np.array([x * s + y * c, x * c - y * s])
                side[np.abs(side) < 1e-12 * half_length] = 0.0
                sides.append(-side if side[1] < 0 or (side[1] == 0 and side[0] < 0) else side)
            sides.sort(key=lambda side: math.atan2(side[1], side[0]))
            corner = -0.5 * np.sum(sides, axis=0)
            tops[mine, other] = gap - corner[1]
            for n, side in enumerate(sides):
                turn = math.atan2(side[1], side[0])
                start = corner + gap * np.array([math.sin(turn), -math.cos(turn)])
                slope = 0.0 if math.sin(turn) < 1e-12 else math.cos(turn) / math.sin(turn)
                edges[mine, other, 2 * n] = start[1], corner[0], 0.0, corner[1], gap * gap
                edges[mine, other, 2 * n + 1] = start[1] + side[1], start[0], slope, start[1], 0.0
                corner = corner + side
            edges[mine, other, 8] = math.inf, corner[0], 0.0, corner[1], gap * gap
    return edges, tops


@compiled
def _exchange(
    at: Ints,
    quality: NDArray[np.float32],
    standing: NDArray[np.int16],
    room: tuple[int, int],
    starts: Starts,
    ways: tuple[Floats, Floats],
    size: Floats,
    drawn: Floats,
    shaken: int,
    ground: Ground,
) -> Ints:
    """Starts of the set after all steps; marks in `quality` starts that fall short.

    Plain loops where numpy has a word for it: its words take seconds to compile.
    """
    turns = starts[2][:, 2:]
    mine, new = np.empty((room[0], 2), np.int64), np.empty((room[0], 2), np.int64)
    free = np.empty(room[1], np.int64)
    x, y, of = np.empty(free.size), np.empty(free.size), np.empty(free.size, np.int64)
    worth = np.empty(free.size)
    chosen, number = np.empty(2 * at.size + 64, np.int64), at.size
    for q in range(number):
        chosen[q] = at[q]
        _add(standing, new, _in_the_way(at[q], starts, ways, size, new), np.int16(1))
    for step in range(drawn.shape[0]):
        q = int(drawn[step, 0] * number)
        old = chosen[q]
        stretches = _in_the_way(old, starts, ways, size, mine)
        found = _free_but_for_one(standing, mine, stretches, free)
        if found < 2:
            continue
        for f in range(found):
            of[f], x[f], y[f] = _middle(free[f], starts)
            worth[f] = quality[free[f]]
        if step < shaken:
            _turn_to_a_pair(x[:found], y[:found], of, worth, turns, size, drawn[step, 1])
        laid = 0
        while found > 0:
            best = 0
            for f in range(1, found):
                if worth[f] > worth[best]:
                    best = f
            start, k, east, north = free[best], of[best], x[best], y[best]
            fits = start == old or under(ground, east, north, turns[k, 0], turns[k, 1])[0] >= ground[2][5]
            left = 0
            for f in range(found):
                if f != best and (not fits or apart(east, north, turns[k], x[f], y[f], turns[of[f]], size)):
                    free[left], of[left], x[left], y[left], worth[left] = free[f], of[f], x[f], y[f], worth[f]
                    left += 1
            found = left
            if not fits:
                quality[start], standing[start] = -1.0, standing[start] + _CLOSED
                continue
            if laid == 0 and start != old:
                _add(standing, mine, stretches, np.int16(-1))
                chosen[q] = start
            elif laid > 0:
                if number == chosen.size:
                    more = np.empty(2 * number, np.int64)
                    for f in range(number):
                        more[f] = chosen[f]
                    chosen = more
                chosen[number] = start
                number += 1
            laid += 1
            if start != old:
                _add(standing, new, _in_the_way(start, starts, ways, size, new), np.int16(1))
    return chosen[:number]


@compiled
def _turn_to_a_pair(x: Floats, y: Floats, of: Ints, worth: Floats, turns: Floats, size: Floats, drawn: float) -> None:
    """Write to `worth` how far places lie in a drawn direction; quarter turns are tried until two fit side by side."""
    for quarter in range(4):
        angle = 2.0 * math.pi * (drawn + 0.25 * quarter)
        east, north = math.sin(angle), math.cos(angle)
        best = 0
        for f in range(x.size):
            worth[f] = x[f] * east + y[f] * north
            if worth[f] > worth[best]:
                best = f
        for f in range(x.size):
            if apart(x[best], y[best], turns[of[best]], x[f], y[f], turns[of[f]], size):
                return


@compiled
def _free_but_for_one(standing: NDArray[np.int16], mine: Ints, stretches: int, free: Ints) -> int:
    """Number of usable starts in whose way one rectangle alone stands, written to `free`."""
    found = 0
    for r in range(stretches):
        stretch = standing[mine[r, 0] : mine[r, 1]]
        any_here = False
        for a in range(stretch.size):
            any_here |= stretch[a] == 1
        if any_here:
            for a in range(stretch.size):
                if stretch[a] == 1:
                    free[found] = mine[r, 0] + a
                    found += 1
    return found


@compiled
def _add(standing: NDArray[np.int16], stretches: Ints, number: int, by: np.int16) -> None:
    for r in range(number):
        stretch = standing[stretches[r, 0] : stretches[r, 1]]
        for a in range(stretch.size):
            stretch[a] += by


@compiled
def _middle(start: int, starts: Starts) -> tuple[int, float, float]:
    """Bearing and centre of the rectangle at a start."""
    first, shape, frames, steps_m = starts
    k = 0
    while start >= first[k + 1]:
        k += 1
    row, column = divmod(start - first[k], shape[k, 1])
    u, v = column * steps_m[0], row * steps_m[1]
    return k, frames[k, 0] + u * frames[k, 2] + v * frames[k, 3], frames[k, 1] + u * frames[k, 3] - v * frames[k, 2]


@compiled
def _in_the_way(start: int, starts: Starts, ways: tuple[Floats, Floats], size: Floats, out: Ints) -> int:
    """Number of stretches of starts that come closer than the gap to the one at `start`; first and end to `out`."""
    first, shape, frames, steps_m = starts
    mine, x, y = _middle(start, starts)
    number = 0
    for k in range(shape.shape[0]):
        edge, top = ways[0][mine, k], ways[1][mine, k]
        dx, dy = x - frames[k, 0], y - frames[k, 1]
        s, c = frames[k, 2], frames[k, 3]
        u, v = dx * s + dy * c, dx * c - dy * s
        up, down = 0, _PIECES - 1
        for row in range(max(0, math.ceil((v - top) / steps_m[1])), min(shape[k, 0], int((v + top) / steps_m[1]) + 1)):
            height = row * steps_m[1] - v
            while height > edge[up, 0]:
                up += 1
            while down > 0 and -height <= edge[down - 1, 0]:
                down -= 1
            right = (u + _abscissa(edge[up], height)) / steps_m[0]
            left = (u - _abscissa(edge[down], -height)) / steps_m[0]
            begin, end = max(0, math.floor(left + _TOUCH) + 1), min(shape[k, 1], math.ceil(right - _TOUCH))
            if begin < end and abs(height) < top - _TOUCH:
                base = first[k] + row * shape[k, 1]
                out[number, 0], out[number, 1] = base + begin, base + end
                number += 1
    return number


@compiled
def _abscissa(piece: Floats, height: float) -> float:
    rise = height - piece[3]
    return float(piece[1] + piece[2] * rise + math.sqrt(max(0.0, piece[4] - rise * rise)))
