"""Which genet stands where: exact counts, each plot its own mix, unlike genets side by side.

It knows kinds (whole numbers) and positions, not names. What it reached is measured by `neighbours`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from sitekit.base.compiled import compiled
from sitekit.errors import Fault, InputFault
from sitekit.layout.neighbours import NEIGHBOUR_FACTOR, like_pairs, unavoidable_like_pairs
from sitekit.stock.diversity import counts_per_group

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH_FACTOR = 3.2  # units farther apart than 3.2 separations do not push each other away (trials, algorithms)
CREDIT = (
    0.3  # weight of a genet that lags behind its expected remainder, beside a like neighbour's (d/r)^4 of 1 at r = d
)
SWEEPS = 3
_FEW = 2_000  # units
TRIES = 48  # partners looked at per unit in a swap sweep


@dataclass(frozen=True)
class GenetPlan:
    """Genets given to positions.

    Parameters
    ----------
    kind : ndarray of int64, shape (n,)
        Index of the genet at each position.
    counts : ndarray of int64, shape (groups, genets)
        Units of each genet in each group; columns add up to what was asked.
    like_neighbours, neighbours : int
        Pairs of one genet, and all pairs, within 1.3 separations.
    unavoidable : int
        Like pairs that no assignment of the counts could avoid (a lower bound).
    """

    kind: Ints
    counts: Ints
    like_neighbours: int
    neighbours: int
    unavoidable: int


def assign_genets(
    x_m: ArrayLike,
    y_m: ArrayLike,
    counts: ArrayLike,
    *,
    separation_m: float,
    group: ArrayLike | None = None,
) -> GenetPlan:
    """Give each position a genet so that like ones stand apart, with exact counts.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Positions [m].
    counts : array_like of int, shape (genets,)
        Units of each genet, ≥ 0; their sum is n.
    separation_m : float
        Planned separation [m], > 0.
    group : array_like of int, shape (n,), optional
        Plot of each position, from 0; every plot gets its own even mix. One group by default.

    Returns
    -------
    GenetPlan
        In the order given; the same for the same input.

    Raises
    ------
    InputFault
        If the counts do not add up to the positions or the separation is not positive.

    Notes
    -----
    Row by row, each position takes the genet with the least Σ (d/r)⁴ over placed like ones within 3.2 d, minus a small
    credit for genets that lag behind; then sweeps of swaps inside a plot lower the sum over all. No genet is ever over
    or under its count, because the choice is among those left.
    """
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    units = np.asarray(counts, np.int64)
    member = np.zeros(x.size, np.int64) if group is None else np.asarray(group, np.int64)
    if units.ndim != 1 or (units < 0).any() or int(units.sum()) != x.size:
        came = f"{int(units.sum())} units of {units.size} genets for {x.size} positions"
        raise InputFault(Fault("genet counts", came, "equal numbers", "Cut the stock or the positions first."))
    if not separation_m > 0:
        raise InputFault(Fault("separation_m", f"{separation_m} m", "above 0 m", "Set the separation."))
    groups = int(member.max()) + 1 if x.size else 0
    quota = counts_per_group(np.bincount(member, minlength=groups), units)
    if x.size == 0:
        return GenetPlan(np.zeros(0, np.int64), quota, 0, 0, 0)
    # Rows half a lattice row high, read west to east; the whole of a plot before the next.
    row = np.floor((y.max() - y) / (separation_m * 0.866) + 0.5).astype(np.int64)
    order = np.lexsort((x, row, member))
    start, other, force = _forces(x, y, separation_m)
    # few units: plain Python is done before the kernel (the same function) is compiled
    first_pass = _row_order.py_func if x.size <= _FEW else _row_order  # type: ignore[attr-defined]
    kind = first_pass(order, member, quota, start, other, force)
    partners, bounds = _partners(order, member, groups)
    _swap_sweeps(order, member, kind, units.size, start, other, force, partners, bounds)
    same, pairs = like_pairs(x, y, kind, within_m=NEIGHBOUR_FACTOR * separation_m)
    least = 0 if same == 0 else unavoidable_like_pairs(x, y, units, within_m=NEIGHBOUR_FACTOR * separation_m)
    return GenetPlan(kind, quota, same, pairs, least)


def _forces(x: Floats, y: Floats, separation: float) -> tuple[Ints, Ints, Floats]:
    """Neighbour lists within reach with (d/r)⁴ of each; touching points count as a tenth of a separation apart."""
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(REACH_FACTOR * separation, output_type="ndarray")
    first = np.concatenate([pairs[:, 0], pairs[:, 1]]).astype(np.int64)
    second = np.concatenate([pairs[:, 1], pairs[:, 0]]).astype(np.int64)
    order = np.lexsort((second, first))
    first, second = first[order], second[order]
    start = np.zeros(x.size + 1, np.int64)
    np.cumsum(np.bincount(first, minlength=x.size), out=start[1:])
    r = np.maximum(np.hypot(x[first] - x[second], y[first] - y[second]), 0.1 * separation)
    return start, second, (separation / r) ** 4


def _partners(order: Ints, member: Ints, groups: int) -> tuple[Ints, Ints]:
    """Positions of each group in row order, and where each group begins."""
    by_group = order[np.argsort(member[order], kind="stable")]
    bounds = np.zeros(groups + 1, np.int64)
    np.cumsum(np.bincount(member, minlength=groups), out=bounds[1:])
    return by_group, bounds


@compiled
def _row_order(order: Ints, member: Ints, quota: Ints, start: Ints, other: Ints, force: Floats) -> Ints:
    """First pass: each position in turn takes the genet with the least penalty among those its group has left."""
    n, genets = order.size, quota.shape[1]
    kind = np.full(n, -1, np.int64)
    left = quota.copy()
    held = np.zeros(quota.shape[0], np.int64)
    for a in range(quota.shape[0]):
        for b in range(genets):
            held[a] += quota[a, b]
    placed = np.zeros(quota.shape[0], np.int64)
    penalty = np.zeros(genets)
    for k in order:
        g = member[k]
        penalty[:] = 0.0
        for m in range(start[k], start[k + 1]):
            q = kind[other[m]]
            if q >= 0:
                penalty[q] += force[m]
        best, lowest = -1, np.inf
        for t in range(genets):
            if left[g, t] == 0:
                continue
            # Expected remainder of this genet at this moment, against what it really has left.
            expected = quota[g, t] * (held[g] - placed[g]) / held[g]
            value = penalty[t] - CREDIT * (left[g, t] - expected)
            if value < lowest:
                best, lowest = t, value
        kind[k] = best
        left[g, best] -= 1
        placed[g] += 1
    return kind


@compiled
def _swap_sweeps(
    order: Ints,
    member: Ints,
    kind: Ints,
    genets: int,
    start: Ints,
    other: Ints,
    force: Floats,
    partners: Ints,
    bounds: Ints,
) -> None:
    """Swap units of one group whenever that lowers the sum of penalties (changes `kind`)."""
    near = np.zeros(genets)
    far = np.zeros(genets)
    for _ in range(SWEEPS):
        changed = False
        for place in range(order.size):
            k = order[place]
            near[:] = 0.0
            for m in range(start[k], start[k + 1]):
                near[kind[other[m]]] += force[m]
            if near[kind[k]] < 0.35:  # (1/1.3)^4: no like neighbour
                continue
            lo, hi = bounds[member[k]], bounds[member[k] + 1]
            size = hi - lo
            step = max(1, size // TRIES)
            best, gain = -1, 1e-9
            for t in range(min(size, TRIES)):
                q = partners[lo + (place - lo + 1 + t * step) % size] if size > 0 else k
                if kind[q] == kind[k]:
                    continue
                far[:] = 0.0
                between = 0.0
                for m in range(start[q], start[q + 1]):
                    if other[m] == k:
                        between = force[m]
                    else:
                        far[kind[other[m]]] += force[m]
                won = near[kind[k]] + far[kind[q]] - far[kind[k]] - (near[kind[q]] - between)
                if won > gain:
                    best, gain = q, won
            if best >= 0:
                kind[k], kind[best] = kind[best], kind[k]
                changed = True
        if not changed:
            break
