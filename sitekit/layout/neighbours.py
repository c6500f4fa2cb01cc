"""Who stands next to whom: like neighbours, the nearest like and unlike unit, and like pairs that no order can avoid.

Measures only; `genets` decides. A *kind* is a whole number per unit (one per species and genet).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from sitekit.base.compiled import compiled
from sitekit.errors import Fault, InputFault
from sitekit.stock.diversity import Diversity, allele_share_at_least_pct, diversity

Floats = NDArray[np.float64]

NEIGHBOUR_FACTOR = (
    1.3  # units closer than 1.3 separations are neighbours (design, section 6); next ring of a lattice: 1.73
)
# Ladd M.C. et al. 2016, Front. Mar. Sci. 3:261 (abstract): habitat production of staghorn best near 3 colonies per m²,
# survival falls as density rises [source key: ladd-2016].
DENSITY_CAUTION_PER_M2 = 3.0
# Mumby P.J. et al. 2024, PNAS 121(52):e2418314121 (abstract): below 10 % of eggs fertilised with the nearest different
# colony 10 m away, about none at 15-20 m; Acropora hyacinthus [source key: mumby-2024].
UNLIKE_CAUTION_M = 10.0


def like_pairs(x_m: ArrayLike, y_m: ArrayLike, kind: ArrayLike, *, within_m: float) -> tuple[int, int]:
    """Return (pairs of one kind, all pairs) that stand within `within_m` [m] of each other."""
    pairs = _pairs(x_m, y_m, within_m)
    kinds = np.asarray(kind)
    return int((kinds[pairs[:, 0]] == kinds[pairs[:, 1]]).sum()), len(pairs)


def nearest_distances(x_m: ArrayLike, y_m: ArrayLike, kind: ArrayLike) -> tuple[Floats, Floats]:
    """Return each unit's distance [m] to the nearest other unit of its own kind and to the nearest of another kind.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Positions [m].
    kind : array_like of int, shape (n,)
        Kind of each unit.

    Returns
    -------
    tuple of ndarray
        (like, unlike) [m]; infinite where there is none.
    """
    points = np.column_stack([np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)])
    kinds = np.asarray(kind)
    like, unlike = np.full(len(points), np.inf), np.full(len(points), np.inf)
    for one in np.unique(kinds):
        mine = np.flatnonzero(kinds == one)
        if mine.size > 1:
            like[mine] = cKDTree(points[mine]).query(points[mine], k=2)[0][:, 1]
    # The few nearest of all kinds mostly hold an unlike one; only the rest needs a search of its own.
    if len(points) > 1:
        k = min(8, len(points))
        distance, which = cKDTree(points).query(points, k=k)
        other = kinds[which] != kinds[:, None]
        has = other.any(axis=1)
        unlike[has] = distance[has, other[has].argmax(axis=1)]
        for one in np.unique(kinds[~has]):
            mine = np.flatnonzero((kinds == one) & ~has)
            rest = points[kinds != one]
            if len(rest):
                unlike[mine] = cKDTree(rest).query(points[mine])[0]
    return like, unlike


def unavoidable_like_pairs(x_m: ArrayLike, y_m: ArrayLike, counts: ArrayLike, *, within_m: float) -> int:
    """Return a number of like neighbours that no assignment of the counts to these positions can go below.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Positions [m].
    counts : array_like of int
        Units per kind; their sum is n.
    within_m : float
        Neighbours stand within this distance [m].

    Returns
    -------
    int
        Pairs, ≥ 0. A lower bound: the true least may be higher.

    Raises
    ------
    InputFault
        If the counts do not add up to the positions.

    Notes
    -----
    The positions are cut into disjoint groups in which all are neighbours of all (triangles on a lattice). A kind with
    more units than there are groups must double up in some: the cheapest way is one unit per group first, then a second
    in each group of two or more (1 pair each), then a third (2 pairs more), and so on. The kinds' costs add up, because
    a pair is of one kind only.
    """
    n = int(np.asarray(x_m).size)
    units = np.asarray(counts, np.int64)
    if int(units.sum()) != n:
        raise InputFault(
            Fault("counts", f"{int(units.sum())} units", f"{n} as positions", "Give every position a unit.")
        )
    if n == 0:
        return 0
    start, other = _neighbour_lists(x_m, y_m, within_m)
    sizes = np.bincount(_clique_cover(start, other))
    total = 0
    for number in units[units > 0]:
        left, extra = int(number), 0
        while left > 0:
            room = int((sizes > extra).sum())
            taken = min(left, room)
            total += taken * extra
            left -= taken
            extra += 1
    return total


@dataclass(frozen=True)
class Mixture:
    """How one plot or site is mixed.

    Parameters
    ----------
    diversity : Diversity
        Genets, evenness and other indices of its units.
    allele_share_at_least_pct : float or None
        Published share of alleles that so many genets exceed [%] (Shearer 2009); None below 10 genets.
    nearest_like_m, nearest_unlike_m : float
        Median over units [m]; infinite where there is none.
    unlike_max_m : float
        Greatest distance from a unit to its nearest different genet [m].
    like_neighbours : int
        Pairs of one genet within 1.3 separations.
    neighbours : int
        All pairs within 1.3 separations.
    density_per_m2 : float
        Units per area; NaN without an area.
    cautions : tuple of str
        What a reader must know.
    """

    diversity: Diversity
    allele_share_at_least_pct: float | None
    nearest_like_m: float
    nearest_unlike_m: float
    unlike_max_m: float
    like_neighbours: int
    neighbours: int
    density_per_m2: float
    cautions: tuple[str, ...]


def mixture(
    x_m: ArrayLike, y_m: ArrayLike, kind: ArrayLike, *, separation_m: float, area_m2: float = math.nan
) -> Mixture:
    """Return the report of one plot or site (units of one species).

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,), n ≥ 1
        Positions [m].
    kind : array_like of int, shape (n,)
        Genet of each unit.
    separation_m : float
        Planned separation [m].
    area_m2 : float, optional
        Area for the density [m²].

    Returns
    -------
    Mixture
        Distances are medians over units; cautions name the figure and its source.
    """
    kinds = np.unique(np.asarray(kind), return_inverse=True)[1]
    found = diversity(np.bincount(kinds))
    like, unlike = nearest_distances(x_m, y_m, kinds)
    same, pairs = like_pairs(x_m, y_m, kinds, within_m=NEIGHBOUR_FACTOR * separation_m)
    density = found.units / area_m2 if area_m2 > 0 else math.nan
    cautions = []
    if density > DENSITY_CAUTION_PER_M2:
        cautions.append(f"{density:.1f} units per m² is above {DENSITY_CAUTION_PER_M2:g} (Ladd 2016)")
    far = float(unlike.max())
    if far > UNLIKE_CAUTION_M:
        text = "no other genet" if math.isinf(far) else f"a unit stands {far:.1f} m from the nearest other genet"
        cautions.append(f"{text}: few eggs are fertilised beyond {UNLIKE_CAUTION_M:g} m (Mumby 2024)")
    return Mixture(
        diversity=found,
        allele_share_at_least_pct=allele_share_at_least_pct(found.genets),
        nearest_like_m=float(np.median(like)),
        nearest_unlike_m=float(np.median(unlike)),
        unlike_max_m=far,
        like_neighbours=same,
        neighbours=pairs,
        density_per_m2=density,
        cautions=tuple(cautions),
    )


def _pairs(x_m: ArrayLike, y_m: ArrayLike, within_m: float) -> NDArray[np.int64]:
    points = np.column_stack([np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)])
    if len(points) < 2:
        return np.zeros((0, 2), np.int64)
    return np.asarray(cKDTree(points).query_pairs(within_m, output_type="ndarray"), np.int64)


def _neighbour_lists(x_m: ArrayLike, y_m: ArrayLike, within_m: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Neighbours of unit k are other[start[k]:start[k + 1]], in rising order."""
    n = int(np.asarray(x_m).size)
    pairs = _pairs(x_m, y_m, within_m)
    first, second = np.concatenate([pairs, pairs[:, ::-1]]).T
    order = np.lexsort((second, first))
    start = np.zeros(n + 1, np.int64)
    np.cumsum(np.bincount(first, minlength=n), out=start[1:])
    return start, second[order]


@compiled
def _clique_cover(start: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    """Cut the neighbour graph into disjoint groups in which all are neighbours of all; returns each unit's group."""
    n = start.size - 1
    group = np.full(n, -1, np.int64)
    members = np.empty(64, np.int64)
    made = 0
    for k in range(n):
        if group[k] >= 0:
            continue
        members[0] = k
        size = 1
        group[k] = made
        for m in range(start[k], start[k + 1]):
            q = other[m]
            if group[q] >= 0 or size == 64:
                continue
            fits = True
            for t in range(1, size):
                found = False
                for w in range(start[q], start[q + 1]):
                    if other[w] == members[t]:
                        found = True
                        break
                if not found:
                    fits = False
                    break
            if fits:
                group[q] = made
                members[size] = q
                size += 1
        made += 1
    return group
