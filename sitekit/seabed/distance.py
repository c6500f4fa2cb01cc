"""Distance to the nearest marked cell: exact, in whole numbers, the same whatever the blocks.

Two passes over squared cell distances (down and up the columns, then the lower envelope of parabolas along each row).
With a greatest distance D, cells farther than D get D; so a block that sees D beyond its border equals the whole.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.layers.blocks import in_order

_FAR = 1 << 20  # rows; its square still fits in 64 bits beside a square of columns
_FAR_SMALL = 32_767  # the same for rasters with shorter sides, in 16 bits
_NEAR = 24  # cells; rows with no greater distance are done step by step over neighbours, eight cells at a time
_NEAR_NONE = 1 << 28


def distance(
    marked: NDArray[np.bool_],
    cell_m: float,
    *,
    greatest_m: float = math.inf,
    surveyed: NDArray[np.bool_] | None = None,
    halo: int = 0,
    threads: int = 1,
) -> NDArray[np.float32]:
    """Distance from each cell's centre to the centre of the nearest marked cell.

    Parameters
    ----------
    marked : array of bool or uint8, shape (rows, columns)
        Cells that hold a feature.
    cell_m : float
        Side of a cell [m], > 0.
    greatest_m : float
        D: farther cells get this value [m]; infinite = no cap (cells are then infinitely far from nothing).
    surveyed : array of bool, shape (rows, columns), optional
        Where somebody looked; elsewhere the distance is unknown (NaN), because unsurveyed is not absent.
    halo : int
        Rows and columns on each side that serve as neighbours only; for blocks use `distance_halo`.
    threads : int
        Strips worked on at once; blocks that run in threads already leave it at 1.

    Returns
    -------
    array of float32, shape (rows − 2 halo, columns − 2 halo)
        Distance [m], 0 on marked cells.

    Raises
    ------
    InputFault
        If a size is not positive or shapes differ.

    Notes
    -----
    Exact Euclidean distance between cell centres (two-pass scheme after Meijster, Roerdink & Hesselink 2000, with
    integer squares). A feature inside a cell may lie half a cell diagonal nearer or farther; spacing works with true
    positions instead.

    Examples
    --------
    >>> import numpy as np
    >>> marks = np.zeros((1, 5), bool)
    >>> marks[0, 1] = True
    >>> distance(marks, 2.0, greatest_m=5.0).tolist()
    [[2.0, 0.0, 2.0, 4.0, 5.0]]
    """
    with Faults() as faults:
        if marked.ndim != 2:
            faults.add("marked", f"{marked.ndim} axes", "two axes", "Give one raster.")
        if not (math.isfinite(cell_m) and cell_m > 0):
            faults.add("cell_m", f"{cell_m}", "a number above 0 [m]", "Set plan.cell_m.")
        if not greatest_m > 0:
            faults.add("greatest_m", f"{greatest_m}", "a number above 0 [m]", "Correct the greatest distance.")
        if surveyed is not None and surveyed.shape != marked.shape:
            faults.add("surveyed", f"shape {surveyed.shape}", f"{marked.shape}", "Use one grid.")
        if marked.ndim == 2 and (halo < 0 or 2 * halo >= min(marked.shape)):
            faults.add("halo", f"{halo} cells on an array of {marked.shape}", "0 ≤ 2 halo < side", "Correct the halo.")
        if marked.ndim == 2 and max(marked.shape) > _FAR:
            faults.add("marked", f"shape {marked.shape}", f"sides up to {_FAR} cells", "Use blocks.")
    reach = distance_halo(cell_m, greatest_m) if math.isfinite(greatest_m) else _FAR
    reach = min(reach, _FAR)
    rows, cols = marked.shape[0] - 2 * halo, marked.shape[1] - 2 * halo
    out = np.empty((rows, cols), np.float32)
    small = max(marked.shape) < _FAR_SMALL  # half the memory to go through
    far = _FAR_SMALL if small else _FAR
    kind: Any = np.int16 if small else np.int32
    columns = np.empty((rows, marked.shape[1]), kind)
    marks = np.ascontiguousarray(marked).view(np.uint8)

    def down_and_up(strip: tuple[int, int]) -> None:
        _along_columns(marks, (halo, reach, far), strip, columns)

    def across(strip: tuple[int, int]) -> None:
        part = slice(*strip)
        _along_rows(columns[part], (halo, reach, far), (float(cell_m), float(greatest_m)), out[part])

    for _ in in_order(down_and_up, _strips(marks.shape[1], threads), threads):
        pass
    for _ in in_order(across, _strips(rows, threads), threads):
        pass
    if surveyed is not None:
        out[~surveyed[halo : halo + rows, halo : halo + cols].astype(bool)] = np.nan
    return out


def _strips(count: int, threads: int) -> Iterator[tuple[int, int]]:
    """First and last + 1 of four strips per thread, a single one for one thread."""
    number = min(count, 4 * threads if threads > 1 else 1)
    edges = [count * k // max(number, 1) for k in range(number + 1)]
    yield from pairwise(edges)


def distance_halo(cell_m: float, greatest_m: float) -> int:
    """Cells a block must see beyond its border so that distances up to `greatest_m` [m] are exact."""
    return math.floor(greatest_m / cell_m * (1.0 + 1e-12))


@compiled
def _along_columns(
    marked: NDArray[np.uint8], frame: tuple[int, int, int], strip: tuple[int, int], out: NDArray[np.int32]
) -> None:
    """Cells to the nearest mark in the same column; `far` where it is farther than `reach`."""
    halo, reach, far = frame
    rows = out.shape[0]
    first, last = strip
    width = last - first
    run = np.full(width, far, out.dtype)
    for i in range(halo + rows):
        marks = marked[i, first:last]
        _step(marks, far, run)
        if i >= halo:
            out[i - halo, first:last] = run
    run[:] = far
    for i in range(marked.shape[0] - 1, halo - 1, -1):
        _step(marked[i, first:last], far, run)
        if i < halo + rows:
            above = out[i - halo, first:last]
            for j in range(width):
                near = run[j] if run[j] < above[j] else above[j]
                above[j] = near if near <= reach else far


@compiled
def _step(marks: NDArray[np.uint8], far: int, run: NDArray[np.int32]) -> None:
    """One row on: comparisons and a sum that fit the word of `run`, so that many cells go at once."""
    for j in range(run.size):
        on = run[j] + 1 if run[j] < far else far
        run[j] = 0 if marks[j] != 0 else on


@compiled
def _along_rows(
    columns: NDArray[np.int32], frame: tuple[int, int, int], size: tuple[float, float], out: NDArray[np.float32]
) -> None:
    halo, reach, far = frame
    cell, greatest = size
    rows, cols = out.shape
    wide = columns.shape[1]
    at = np.empty(wide)  # columns whose parabola is part of the lower envelope
    height = np.empty(wide)  # their squared distance along the column
    start = np.empty(wide + 1)  # first column where each is lowest
    padded = np.full(wide + 2 * _NEAR, _NEAR_NONE, np.int32)
    near = np.empty(cols, np.int32)
    for i in range(rows):
        row = columns[i]
        worst = np.int32(0)
        top = np.int32(min(reach, far))
        for k in range(wide):
            worst = max(worst, min(np.int32(row[k]), top))
        if worst <= _NEAR:
            _near_row(row, halo, reach, padded, near)
            for j in range(cols):
                d = np.sqrt(np.float64(near[j])) * cell
                out[i, j] = greatest if near[j] >= _NEAR_NONE else min(d, greatest)
        else:
            _envelope_row(row, (halo, far, cell, greatest), (at, height, start), out[i])


@compiled
def _near_row(row: NDArray[np.int32], halo: int, reach: int, padded: NDArray[np.int32], out: NDArray[np.int32]) -> None:
    """Squared distances where none along a column exceeds `_NEAR` (or where farther ones do not count)."""
    wide, cols = row.size, out.size
    for k in range(wide):
        padded[k + _NEAR] = np.int32(row[k]) * np.int32(row[k]) if row[k] <= _NEAR else _NEAR_NONE
    first = halo + _NEAR
    centre = padded[first : first + cols]
    for j in range(cols):
        out[j] = centre[j]
    for step in range(1, _NEAR + 1):
        left, right = padded[first - step : first - step + cols], padded[first + step : first + step + cols]
        square = np.int32(step * step)
        most = np.int32(0)
        for j in range(cols):
            out[j] = min(out[j], min(left[j], right[j]) + square)
            most = max(most, out[j])
        if most <= (step + 1) * (step + 1) or step >= reach:
            break


@compiled
def _envelope_row(
    row: NDArray[np.int32],
    frame: tuple[int, int, float, float],
    work: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    out: NDArray[np.float32],
) -> None:
    """Distances from the lower envelope of one parabola per column.

    All numbers but the last square root are whole and below 2⁵³, so float64 holds them exactly.
    """
    halo, far, cell, greatest = frame
    at, height, start = work
    wide, cols = row.size, out.size
    top = -1
    for column in range(wide):
        if row[column] >= far:
            continue
        k = np.float64(column)
        g2 = np.float64(row[column]) * np.float64(row[column])
        while top >= 0:
            x, u = start[top], at[top]
            if (x - u) * (x - u) + height[top] <= (x - k) * (x - k) + g2:
                break
            top -= 1
        first = 0.0
        if top >= 0:
            # first column at which k is nearer; exact below 2²⁰ (divisor below 2²¹), and farther ones are not used
            u = at[top]
            first = np.floor(((k - u) * (k + u) + (g2 - height[top])) / (2.0 * (k - u))) + 1.0
        if first < wide:
            top += 1
            at[top] = k
            height[top] = g2
            start[top] = first
    if top < 0:
        out[:] = greatest
        return
    start[top + 1] = wide
    for t in range(top + 1):
        u, h = at[t], height[t]
        begin, end = max(int(start[t]), halo) - halo, min(int(start[t + 1]), halo + cols) - halo
        away = halo - u
        for j in range(begin, end):
            along = np.float64(j) + away
            out[j] = min(np.sqrt(along * along + h) * cell, greatest)
