"""Sums of integers over discs and rings of cells, the same whatever the blocks.

Integers add up to the same total in any order, and modulo 2³² or 2⁶⁴ they may even overflow on the way, as long as the
sum over one window fits.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled

_STRIP = 512  # columns summed together: long enough to hide the cost of a call, short enough for the cache

Integers = NDArray[np.int32] | NDArray[np.int64]


def disc_half_widths(radius_cells: float, *, open_disc: bool = False) -> NDArray[np.int64]:
    """Half widths of the rows of a disc of cells.

    Parameters
    ----------
    radius_cells : float
        Radius [cells], ≥ 0.
    open_disc : bool
        Leave out cells at exactly the radius.

    Returns
    -------
    array of int64, shape (rows above the centre + 1,)
        Element k: largest column offset on the row k above or below the centre; empty if no cell is inside.

    Notes
    -----
    Radii within 1e-9 (relative) of a cell's distance count as equal to it, so that 0.6 m / 0.2 m is three cells.
    """
    limit = radius_cells * radius_cells * ((1.0 - 1e-9) if open_disc else (1.0 + 1e-9))
    widths = []
    row = 0
    while row * row < limit or (row * row <= limit and not open_disc):
        width = math.isqrt(math.floor(limit - row * row))
        if open_disc and width > 0 and width * width + row * row >= limit:
            width -= 1
        widths.append(width)
        row += 1
    return np.array(widths, dtype=np.int64)


def disc_size(half_widths: NDArray[np.int64]) -> int:
    """Return the number of cells of a disc given by its half widths (0 if it is empty)."""
    rows = 2 * half_widths + 1
    return int(2 * rows.sum() - rows[0]) if len(rows) else 0


@compiled
def ring_sums(prefix: Integers, outer: NDArray[np.int64], inner: NDArray[np.int64], out: Integers) -> None:
    """Sum over the cells of the outer disc that are not in the inner one, around each cell.

    Parameters
    ----------
    prefix : array of int32 or int64, shape (rows + 2 reach, columns + 2 reach + 1)
        Element [i, k] is the sum of the first k cells of row i, modulo the word size; `reach` = len(outer) − 1.
    outer, inner : array of int64
        From `disc_half_widths`; an empty inner disc gives a full disc.
    out : array of the same type, shape (rows, columns)
        Receives the sums.

    Notes
    -----
    Each row of a disc costs two look-ups, so a radius of r cells costs about 4 r additions per cell; these run over
    neighbouring cells, eight at a time in 32 bits.
    """
    rows, cols = out.shape
    reach = len(outer) - 1
    for start in range(0, cols, _STRIP):
        count = min(_STRIP, cols - start)
        for i in range(rows):
            total = out[i, start : start + count]
            middle = i + reach
            first = start + reach
            _row_set(total, prefix[middle], first, outer[0])
            for k in range(1, len(outer)):
                _rows_add(total, prefix[middle - k], prefix[middle + k], first, outer[k])
            if len(inner):
                _row_take(total, prefix[middle], first, inner[0])
                for k in range(1, len(inner)):
                    _rows_take(total, prefix[middle - k], prefix[middle + k], first, inner[k])


@compiled
def _row_set(total: Integers, row: Integers, first: int, width: int) -> None:
    count = total.size
    right, left = row[first + width + 1 : first + width + 1 + count], row[first - width : first - width + count]
    for j in range(count):
        total[j] = right[j] - left[j]


@compiled
def _row_take(total: Integers, row: Integers, first: int, width: int) -> None:
    count = total.size
    right, left = row[first + width + 1 : first + width + 1 + count], row[first - width : first - width + count]
    for j in range(count):
        total[j] -= right[j] - left[j]


@compiled
def _rows_add(total: Integers, above: Integers, below: Integers, first: int, width: int) -> None:
    count = total.size
    a, b = above[first + width + 1 : first + width + 1 + count], above[first - width : first - width + count]
    c, d = below[first + width + 1 : first + width + 1 + count], below[first - width : first - width + count]
    for j in range(count):
        total[j] += (a[j] - b[j]) + (c[j] - d[j])


@compiled
def _rows_take(total: Integers, above: Integers, below: Integers, first: int, width: int) -> None:
    count = total.size
    a, b = above[first + width + 1 : first + width + 1 + count], above[first - width : first - width + count]
    c, d = below[first + width + 1 : first + width + 1 + count], below[first - width : first - width + count]
    for j in range(count):
        total[j] -= (a[j] - b[j]) + (c[j] - d[j])
