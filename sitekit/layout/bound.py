"""What no layout can beat: an upper bound on the number of points, and on their summed score.

Let points stand on a set S with every pair at least d apart. A corner of a point's Voronoi cell is at least d/√3 from the
point, so the Voronoi cell cut to the radius d/√3 holds at least the regular hexagon of inradius d/2, of area
A = (√3/2) d². These cut cells are disjoint and lie in S dilated by d/√3. Hence N · A ≤ area of the dilated set. Discs of
radius d/2 are disjoint too and lie in S dilated by d/2: N · π d²/4 ≤ that area; this one is smaller on thin bottom. A patch
whose diameter is below d holds one point. The bound of patches adds up. docs/methods-layout.md has the proof in full.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.base.compiled import compiled
from sitekit.errors import Faults

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

DEPTH = 5  # halvings of a cell along the edge of the dilated set: 1/32 of a cell
_FLOOR = 1e-6  # relative: rounding of the area sum never lowers the bound


@dataclass(frozen=True)
class Bound:
    """Upper bounds.

    Parameters
    ----------
    count : int
        No more points can stand there.
    value : float
        No `wanted` points (or `count` points) have a larger summed score.
    """

    count: int
    value: float


def bound(
    allowed: Flags,
    score: NDArray[np.floating],
    *,
    cell_m: float,
    separation_m: float,
    wanted: int | None = None,
) -> Bound:
    """Return what no layout of points at a separation can exceed.

    Parameters
    ----------
    allowed : ndarray of bool, shape (rows, columns)
        Where points may stand (clearances around living colonies may be left out: the bound only grows).
    score : ndarray, shape (rows, columns)
        0–1; NaN counts as 0.
    cell_m : float
        Cell side [m].
    separation_m : float
        Least distance [m], > 0.
    wanted : int, optional
        Points asked for; the value bound is for at most so many.

    Returns
    -------
    Bound
        Conservative: areas are rounded up, distances down.

    Raises
    ------
    InputFault
        If a size is not positive or shapes differ.
    """
    with Faults() as faults:
        if not (math.isfinite(separation_m) and separation_m > 0):
            faults.add("separation_m", f"{separation_m} m", "a number above 0 m", "Set spacing.separation_m.")
        if not (math.isfinite(cell_m) and cell_m > 0):
            faults.add("cell_m", f"{cell_m} m", "a number above 0 m", "Set plan.cell_m.")
        if allowed.shape != score.shape:
            faults.add("bottom", f"shapes {allowed.shape} and {score.shape}", "two rasters of one shape", "Align them.")
    if not allowed.any():
        return Bound(0, 0.0)
    d = separation_m / cell_m * (1.0 - _FLOOR * 1e-3)  # in cells from here on; √2 of a unit square must still touch
    hexagon, disc = math.sqrt(3.0) / 2.0 * d * d, math.pi / 4.0 * d * d
    whole = min(_dilated_area(allowed, d / math.sqrt(3.0)) / hexagon, _dilated_area(allowed, 0.5 * d) / disc)
    count = min(_floor(whole), _by_patches(allowed, d, hexagon, disc))
    if wanted is not None:
        count = min(count, wanted)
    return Bound(count, _value(allowed, score, d, hexagon, count))


def _floor(value: float) -> int:
    return int(math.floor(value * (1.0 + _FLOOR) + _FLOOR))


def _by_patches(allowed: Flags, d: float, hexagon: float, disc: float) -> int:
    """Sum the bounds of patches; cells that touch at a corner are one patch."""
    label, patches = ndimage.label(allowed, structure=np.ones((3, 3)), output=np.int32)
    total = 0
    for number, window in enumerate(ndimage.find_objects(label), start=1):
        rows = window[0].stop - window[0].start
        cols = window[1].stop - window[1].start
        if rows * rows + cols * cols < d * d * (1.0 - _FLOOR):  # two just fit at a diameter of d
            total += 1
            continue
        own = label[window] == number
        total += max(
            _floor(min(_dilated_area(own, d / math.sqrt(3.0)) / hexagon, _dilated_area(own, 0.5 * d) / disc)),
            1,
        )
    return total


def _dilated_area(allowed: Flags, radius: float) -> float:
    """Return an area not smaller than that of the cells dilated by a radius, all in cells."""
    margin = int(math.ceil(radius)) + 1
    padded = np.pad(allowed, margin)
    return float(_area(padded, radius, int(math.ceil(radius)) + 1))


@compiled
def _area(allowed: Flags, radius: float, reach: int) -> float:
    rows, cols = allowed.shape
    total = 0.0
    stack = np.empty((4 * 16, 3))
    for i in range(rows):
        for j in range(cols):
            if allowed[i, j]:
                total += 1.0
                continue
            near = False
            for a in range(max(i - reach, 0), min(i + reach + 1, rows)):
                for b in range(max(j - reach, 0), min(j + reach + 1, cols)):
                    if allowed[a, b]:
                        near = True
                        break
                if near:
                    break
            if not near:
                continue
            stack[0, 0], stack[0, 1], stack[0, 2] = i + 0.5, j + 0.5, 1.0
            top = 1
            while top > 0:
                top -= 1
                y, x, side = stack[top, 0], stack[top, 1], stack[top, 2]
                # distance from the middle of the sub-cell to the nearest allowed cell, a square
                best = 1e300
                for a in range(max(i - reach, 0), min(i + reach + 1, rows)):
                    dy = max(abs(y - (a + 0.5)) - 0.5, 0.0)
                    if dy * dy >= best:
                        continue
                    for b in range(max(j - reach, 0), min(j + reach + 1, cols)):
                        if allowed[a, b]:
                            dx = max(abs(x - (b + 0.5)) - 0.5, 0.0)
                            best = min(best, dy * dy + dx * dx)
                away = math.sqrt(best)
                half = side * 0.7071067811865476
                if away > radius + half:
                    continue
                if away + half <= radius or side <= 1.0 / (1 << DEPTH):
                    total += side * side
                    continue
                quarter = 0.25 * side
                for p in (-quarter, quarter):
                    for q in (-quarter, quarter):
                        stack[top, 0], stack[top, 1], stack[top, 2] = y + p, x + q, 0.5 * side
                        top += 1
    return total


def _value(allowed: Flags, score: NDArray[np.floating], d: float, hexagon: float, count: int) -> float:
    """Bound the summed score of `count` points: the highest count · A of area of the score dilated by d/√3."""
    values = np.where(allowed, np.nan_to_num(np.asarray(score, np.float64), nan=0.0), 0.0)
    radius = d / math.sqrt(3.0)
    parts = int(np.clip(math.ceil(4.0 / max(radius, 0.25)), 2, 8))
    padded = np.pad(np.where(allowed, values, -1.0), int(math.ceil(radius)) + 1, constant_values=-1.0)
    highest = _highest_near(padded, radius, parts)
    each = 1.0 / parts**2
    order = np.sort(highest[highest >= 0])[::-1]
    need = count * hexagon / each
    full = min(int(need), order.size)
    total = float(order[:full].sum())
    if full < order.size:
        total += float(order[full]) * (need - full)
    by_area = total * each / hexagon
    return min(by_area, count * float(values.max()))


@compiled
def _highest_near(values: Floats, radius: float, parts: int) -> Floats:
    """Return per sub-cell the highest value of a cell that comes within the radius of any of its points."""
    rows, cols = values.shape
    out = np.full(rows * cols * parts * parts, -1.0)
    reach = int(math.ceil(radius)) + 1
    half = 0.7071067811865476 / parts
    n = 0
    for i in range(rows):
        for j in range(cols):
            for p in range(parts):
                for q in range(parts):
                    y, x = i + (p + 0.5) / parts, j + (q + 0.5) / parts
                    best = -1.0
                    for a in range(max(i - reach, 0), min(i + reach + 1, rows)):
                        dy = max(abs(y - (a + 0.5)) - 0.5, 0.0)
                        for b in range(max(j - reach, 0), min(j + reach + 1, cols)):
                            if values[a, b] > best:
                                dx = max(abs(x - (b + 0.5)) - 0.5, 0.0)
                                if dx * dx + dy * dy <= (radius + half) * (radius + half):
                                    best = values[a, b]
                    out[n] = best
                    n += 1
    return out
