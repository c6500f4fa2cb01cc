"""What no layout can beat: an upper bound on the number of points, and on their summed score.

Let points stand on a set S with every pair at least d apart. A corner of a point's Voronoi cell is at least d/√3 from the
point, so the Voronoi cell cut to the radius d/√3 holds at least the regular hexagon of inradius d/2, of area
A = (√3/2) d². These cut cells are disjoint and lie in S dilated by d/√3. Hence N · A ≤ area of the dilated set. The same
holds for any radius ρ from d/2 to d/√3 with the disc of radius ρ less six segments (`least_area`); a small ρ is better on
thin bottom. Cells less than 2ρ apart form a group; groups do not share dilated area, so their bounds, rounded down, add
up. A group whose diameter is below d holds one point. Groups whose convex hulls come near each other form a cluster; it
holds no more than its hull can (`hulls`). Along edges less than the dilated area need be counted (`rim`).
docs/methods-layout.md has the proofs in full.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.layout.hulls import clusters, most_in_convex
from sitekit.layout.rim import LARGEST, START, rim_areas

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SLABS = 32  # slabs per row of cells in the area of the dilated set
RADII = (0.5, 0.53, 1.0 / math.sqrt(3.0))  # of the cut Voronoi cells, in separations; between them little is gained
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
    along_edges: bool = True,
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
    along_edges : bool
        Whether the tighter, slower bound along edges is worked out too.

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
    d = separation_m / cell_m * (1.0 - 1e-9)  # in cells from here on; corners of a square exactly d apart still count
    count = _count(allowed, d, along_edges)
    if wanted is not None:
        count = min(count, wanted)
    return Bound(count, _value(allowed, score, d, math.sqrt(3.0) / 2.0 * d * d, count))


def least_area(separation: float, radius: float) -> float:
    """Return the least area of a Voronoi cell cut to a radius, for points a separation apart.

    Parameters
    ----------
    separation : float
        Least distance d, > 0, any unit.
    radius : float
        Radius ρ of the cut, d/2 ≤ ρ ≤ d/√3, in the same unit.

    Returns
    -------
    float
        π ρ² − 6 ρ² (φ − sin φ cos φ) with cos φ = d / 2ρ: the disc without six segments. At d/2 it is the disc, at d/√3
        the hexagon (√3/2) d².
    """
    cosine = min(separation / (2.0 * radius), 1.0)
    angle = math.acos(cosine)
    return radius * radius * (math.pi - 6.0 * (angle - math.sin(angle) * cosine))


def _count(allowed: Flags, d: float, along_edges: bool) -> int:
    """Sum over clusters the least of what dilated areas of several radii and the convex hull allow."""
    widest, groups = _groups(allowed, 2.0 * max(RADII) * d)
    runs = _runs(allowed, widest)
    cluster, hulls = clusters(*runs, groups, 2.0 * max(RADII) * d)
    most = most_in_convex(shapely.area(hulls), shapely.length(hulls), d)
    for share in RADII:
        own, number = (widest, groups) if share == max(RADII) else _groups(allowed, 2.0 * share * d)
        counts, somewhere = _by_area(allowed, own, number, d, share * d)
        of = cluster[widest[somewhere]]
        most = np.minimum(most, np.bincount(of, counts, minlength=most.size).astype(np.int64))
    return int((_by_rim(widest, groups, cluster, most, d) if along_edges else most).sum())


def _by_rim(group: Ints, groups: int, cluster: Ints, most: Ints, d: float) -> Ints:
    """Lower the bounds of clusters where less than the whole dilated area counts, if that can be less at all."""
    if d > LARGEST:
        return most
    hexagon = least_area(d, d / math.sqrt(3.0))
    radius = START * d
    least = _areas(*_runs(group >= 0, group), group.shape[0], radius, int(math.ceil(radius)) + 1, groups)
    open_ones = (np.bincount(cluster, least / hexagon - 1.0, minlength=most.size) < most)[cluster]
    if not open_ones.any():
        return most
    own = np.where((group >= 0) & np.append(open_ones, False)[group], group, -1)
    areas = np.where(open_ones, rim_areas(own, groups, d), np.inf)
    counts = np.where(open_ones, np.floor(areas / hexagon * (1.0 + _FLOOR) + _FLOOR), np.inf)
    return np.minimum(most, np.bincount(cluster, counts, minlength=most.size)).astype(np.int64)


def _by_area(
    allowed: Flags, group: Ints, groups: int, d: float, radius: float
) -> tuple[Floats, tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Bound each group by its dilated area, or by one point; return also a cell of each."""
    cells = np.nonzero(allowed)
    of = group[cells]
    low = np.full((2, groups), np.iinfo(np.int64).max)
    high = np.full((2, groups), -1, np.int64)
    for axis in (0, 1):
        np.minimum.at(low[axis], of, cells[axis])
        np.maximum.at(high[axis], of, cells[axis])
    sides = high - low + 1
    small = (sides**2).sum(axis=0) < d * d  # its diameter is below d
    areas = _areas(*_runs(allowed, group), allowed.shape[0], radius, int(math.ceil(radius)) + 1, groups)
    most = np.maximum(np.floor(areas / least_area(d, radius) * (1.0 + _FLOOR) + _FLOOR), 1.0)
    some = np.empty(groups, np.int64)
    some[of] = np.arange(of.size)
    return np.where(small, 1.0, most), (cells[0][some], cells[1][some])


def _groups(allowed: Flags, link: float) -> tuple[Ints, int]:
    """Number cells 0, 1, ... by group; cells whose gap is below `link` (in cells) are of one group."""
    label, patches = ndimage.label(allowed, structure=np.ones((3, 3)), output=np.int64)
    if patches > 1:
        reach = int(math.ceil(link)) + 1
        steps = [
            (i, j)
            for i in range(reach + 1)
            for j in range(-reach, reach + 1)
            if (i > 0 or j > 0) and max(i - 1, 0) ** 2 + max(abs(j) - 1, 0) ** 2 < link * link
        ]
        parent = np.arange(patches + 1)
        _join(label, np.array(steps, np.int64), parent)
        _, numbers = np.unique(parent[1:], return_inverse=True)
        label = np.concatenate([[0], numbers.ravel() + 1])[label]
        patches = int(numbers.max()) + 1
    return label - 1, patches


@compiled
def _join(label: Ints, steps: Ints, parent: Ints) -> None:
    rows, cols = label.shape
    for i in range(rows):
        for j in range(cols):
            one = label[i, j]
            if one == 0 or (
                0 < i < rows - 1
                and 0 < j < cols - 1
                and label[i - 1, j] > 0
                and label[i + 1, j] > 0
                and label[i, j - 1] > 0
                and label[i, j + 1] > 0
            ):
                continue  # the nearest cells of two patches lie on their edges
            for k in range(steps.shape[0]):
                a, b = i + steps[k, 0], j + steps[k, 1]
                if a >= rows or b < 0 or b >= cols:
                    continue
                two = label[a, b]
                if two in (0, one) or parent[two] == parent[one]:
                    continue
                p, q = one, two
                while parent[p] != p:
                    p = parent[p]
                while parent[q] != q:
                    q = parent[q]
                root = min(p, q)
                parent[p] = parent[q] = parent[one] = parent[two] = root
    for k in range(parent.size):
        parent[k] = parent[parent[k]]  # a parent is never above its child: ready before it is read


def _runs(allowed: Flags, group: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Return for the runs of cells along rows: first run of each row, first column, column after the last, group."""
    rows, cols = allowed.shape
    edge = np.diff(np.pad(allowed, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, begin = np.nonzero(edge == 1)
    _, end = np.nonzero(edge == -1)
    first = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=rows))]).astype(np.int64)
    return first, begin.astype(np.int64), end.astype(np.int64), group[row, begin]


@compiled
def _areas(
    first: Ints, begin: Ints, end: Ints, group: Ints, rows: int, radius: float, reach: int, groups: int
) -> Floats:
    """Return per group an area not smaller than that of its cells dilated by the radius [cells].

    Rows are cut into slabs; in a slab each run grows by its width where the slab comes nearest to it. Grown runs of one
    slab are united from west to east.
    """
    out = np.zeros(groups)
    width = np.empty(2 * reach + 1)
    at, stop = np.empty(2 * reach + 1, np.int64), np.empty(2 * reach + 1, np.int64)
    for i in range(-reach, rows + reach):
        for k in range(SLABS):
            south, north = k / SLABS, (k + 1) / SLABS
            near = 0
            for m in range(-reach, reach + 1):
                a = i + m
                if a < 0 or a >= rows or first[a] == first[a + 1]:
                    continue
                gap = max(float(m) - north, south - float(m + 1), 0.0)
                if gap >= radius:
                    continue
                width[near] = math.sqrt(radius * radius - gap * gap)
                at[near], stop[near] = first[a], first[a + 1]
                near += 1
            left, right, of = 0.0, -1e300, -1
            while True:
                best, who = 1e300, -1
                for n in range(near):
                    if at[n] < stop[n] and begin[at[n]] - width[n] < best:
                        best, who = begin[at[n]] - width[n], n
                if who < 0 or best > right or group[at[who]] != of:
                    if of >= 0:
                        out[of] += (right - left) / SLABS
                    if who < 0:
                        break
                    left, right, of = best, best, group[at[who]]
                right = max(right, end[at[who]] + width[who])
                at[who] += 1
    return out


def _value(allowed: Flags, score: NDArray[np.floating], d: float, hexagon: float, count: int) -> float:
    """Bound the summed score of `count` points: the highest count · A of area of the score dilated by d/√3."""
    values = np.where(allowed, np.nan_to_num(np.asarray(score, np.float64), nan=0.0), 0.0)
    worth = values[allowed]
    if worth.min() == worth.max():
        return count * float(worth[0])
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
