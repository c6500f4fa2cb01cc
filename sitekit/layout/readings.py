"""What a diver reads off the tape: along and offset in steps of 0.1 m, with the separation kept.

No tape in surge holds more than 0.1 m. Map and sheet tell the same: positions follow the rounded readings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from sitekit.base.compiled import compiled
from sitekit.layout.tape import TapeLine, direction

Floats = NDArray[np.float64]
Stands = Callable[[Floats, Floats], NDArray[np.bool_]]

READING_M = 0.1  # smallest step that a tape read under water can hold (design, section 5)
# Two points move by at most half a step in each direction: points planned this much wider than the separation keep it
# after rounding whatever their bearing.
ROUNDING_MARGIN_M = READING_M * math.sqrt(2.0)
_REACH = 3  # steps a reading may be shifted to keep the separation
_ROUNDS = 12


@dataclass(frozen=True)
class Readings:
    """Rounded readings and the map positions that belong to them.

    Parameters
    ----------
    along_m, offset_m : ndarray
        Multiples of 0.1 m along the bottom.
    x_m, y_m : ndarray
        Map positions of exactly these readings [m]: sheet and map tell the same.
    kept : ndarray of bool
        False where no reading within reach keeps the separation (and the bottom): such a point is not to be planted.
    """

    along_m: Floats
    offset_m: Floats
    x_m: Floats
    y_m: Floats
    kept: NDArray[np.bool_]


def rounded_readings(
    lines: Sequence[TapeLine],
    line_of: ArrayLike,
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    separation_m: float,
    stands: Stands | None = None,
) -> Readings:
    """Round points to readings of 0.1 m with every pair, across all lines, at least `separation_m` apart on the map.

    Parameters
    ----------
    lines : sequence of TapeLine
        All tape lines.
    line_of : array_like of int, shape (n,)
        The line each point is read from.
    x_m, y_m : array_like, shape (n,)
        Planned map positions [m].
    separation_m : float
        Least map distance between any two [m]; 0 for none.
    stands : callable, optional
        `stands(x, y)` -> bool array: whether a map position is allowed bottom.

    Returns
    -------
    Readings
        In the order given.

    Notes
    -----
    Each point takes the nearest reading; points in conflict are shifted by up to 0.3 m to the nearest reading free of
    conflicts; what still conflicts is given up, worst first. Points planned `ROUNDING_MARGIN_M` wider apart need
    neither.
    """
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    owner = np.asarray(line_of, np.int64)
    n = x.size
    if n == 0:
        empty = np.zeros(0)
        return Readings(empty, empty.copy(), empty.copy(), empty.copy(), np.zeros(0, np.bool_))
    frame = np.array([_frame(line) for line in lines])[owner]
    base = np.empty((n, 2), np.int64)
    for k, line in enumerate(lines):
        mine = owner == k
        along, offset = line.to_readings(x[mine], y[mine])
        base[mine, 0], base[mine, 1] = np.round(along / READING_M), np.round(offset / READING_M)
    reach = np.arange(-_REACH, _REACH + 1)
    shifts = np.array([(i, j) for i in reach for j in reach], np.int64)
    shifts = shifts[np.lexsort((shifts[:, 1], shifts[:, 0], (shifts**2).sum(axis=1)))]
    good = np.ones((n, len(shifts)), np.bool_)
    if stands is not None:
        for k, shift in enumerate(shifts):
            good[:, k] = stands(*_positions(frame, base + shift))
    last = np.array([round(line.tape_m / READING_M) for line in lines], np.int64)[owner]
    moved = (
        base[:, :1] + shifts[None, :, 0]
    )  # no reading before the first pin or beyond the second for the sake of a shift
    good &= ((moved >= 0) & (moved <= last[:, None])) | (shifts[:, 0] == 0)[None]
    choice = np.where(good.any(axis=1), good.argmax(axis=1), -1).astype(np.int64)
    kept = choice >= 0
    if separation_m > 0:
        near = cKDTree(np.column_stack([x, y])).query_pairs(
            separation_m + 2 * (_REACH + 1) * READING_M * math.sqrt(2.0), output_type="ndarray"
        )
        start, other = _rows_of_pairs(near, n)
        kept = _repair(frame, base, shifts, good, choice, start, other, separation_m)
    steps = base + shifts[np.maximum(choice, 0)]
    px, py = _positions(frame, steps)
    return Readings(np.round(steps[:, 0] * READING_M, 1), np.round(steps[:, 1] * READING_M, 1), px, py, kept)


def _frame(line: TapeLine) -> tuple[float, ...]:
    s, c = direction(line.bearing_grid_deg)
    a, b = READING_M / line.along_ratio, READING_M / line.offset_ratio
    return line.pin_x_m, line.pin_y_m, s * a, c * a, c * b, -s * b


def _positions(frame: Floats, steps: NDArray[np.int64]) -> tuple[Floats, Floats]:
    i, j = steps[:, 0], steps[:, 1]
    return frame[:, 0] + i * frame[:, 2] + j * frame[:, 4], frame[:, 1] + i * frame[:, 3] + j * frame[:, 5]


def _rows_of_pairs(pairs: NDArray[np.int64], n: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Turn pairs into neighbour lists: the others of point k are other[start[k]:start[k + 1]], in rising order."""
    first = np.concatenate([pairs[:, 0], pairs[:, 1]]).astype(np.int64)
    second = np.concatenate([pairs[:, 1], pairs[:, 0]]).astype(np.int64)
    order = np.lexsort((second, first))
    start = np.zeros(n + 1, np.int64)
    np.cumsum(np.bincount(first, minlength=n), out=start[1:])
    return start, second[order]


@compiled
def _repair(
    frame: Floats,
    base: NDArray[np.int64],
    shifts: NDArray[np.int64],
    good: NDArray[np.bool_],
    choice: NDArray[np.int64],
    start: NDArray[np.int64],
    other: NDArray[np.int64],
    separation: float,
) -> NDArray[np.bool_]:
    """Shift points in conflict (changes `choice`), then give up the worst; returns which are kept."""
    n = base.shape[0]
    least = separation * separation * (1.0 - 1e-12)
    px, py = np.empty(n), np.empty(n)
    kept = choice >= 0
    for k in range(n):
        i = base[k, 0] + shifts[max(choice[k], 0), 0]
        j = base[k, 1] + shifts[max(choice[k], 0), 1]
        px[k] = frame[k, 0] + i * frame[k, 2] + j * frame[k, 4]
        py[k] = frame[k, 1] + i * frame[k, 3] + j * frame[k, 5]
    for _ in range(_ROUNDS):
        moved = False
        for k in range(n):
            if not kept[k]:
                continue
            clash = 0
            for m in range(start[k], start[k + 1]):
                q = other[m]
                if kept[q] and (px[q] - px[k]) ** 2 + (py[q] - py[k]) ** 2 < least:
                    clash += 1
            if clash == 0:
                continue
            best, fewest = -1, clash
            for t in range(shifts.shape[0]):
                if not good[k, t] or t == choice[k]:
                    continue
                i, j = base[k, 0] + shifts[t, 0], base[k, 1] + shifts[t, 1]
                tx = frame[k, 0] + i * frame[k, 2] + j * frame[k, 4]
                ty = frame[k, 1] + i * frame[k, 3] + j * frame[k, 5]
                count = 0
                for m in range(start[k], start[k + 1]):
                    q = other[m]
                    if kept[q] and (px[q] - tx) ** 2 + (py[q] - ty) ** 2 < least:
                        count += 1
                        if count >= fewest:
                            break
                if count < fewest:
                    best, fewest = t, count
                    if count == 0:
                        break
            if best >= 0:
                choice[k] = best
                i, j = base[k, 0] + shifts[best, 0], base[k, 1] + shifts[best, 1]
                px[k] = frame[k, 0] + i * frame[k, 2] + j * frame[k, 4]
                py[k] = frame[k, 1] + i * frame[k, 3] + j * frame[k, 5]
                moved = True
        if not moved:
            break
    clashes = np.zeros(n, np.int64)
    worst = 0
    for k in range(n):
        if kept[k]:
            for m in range(start[k], start[k + 1]):
                q = other[m]
                if kept[q] and (px[q] - px[k]) ** 2 + (py[q] - py[k]) ** 2 < least:
                    clashes[k] += 1
            worst = max(worst, clashes[k])
    for level in range(worst, 0, -1):
        for k in range(n - 1, -1, -1):
            if kept[k] and clashes[k] >= level:
                kept[k] = False
                for m in range(start[k], start[k + 1]):
                    q = other[m]
                    if kept[q] and (px[q] - px[k]) ** 2 + (py[q] - py[k]) ** 2 < least:
                        clashes[q] -= 1
    return kept
