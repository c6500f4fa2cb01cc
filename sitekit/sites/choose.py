"""Which sites to take and how many units each gets: the largest summed suitability that all limits allow.

A mixed whole-number program, solved by HiGHS through `scipy.optimize.milp`. Its gap (how far the answer may be from the
best possible) comes with the answer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sitekit.sites.problem import Choice, Flags, Ints, Problem
from sitekit.sites.program import Program

# More nodes than any plan of a season needed in trials; a count, not a clock, so that every machine stops alike.
NODES = 100_000


def choose(problem: Problem, *, gap_pct: float = 0.0, cuts: tuple[Flags, ...] = (), nodes: int = NODES) -> Choice:
    """Return the sites and units with the largest Σ value × units that keep every limit.

    Parameters
    ----------
    problem : Problem
        Its rows may come in any order: they are put into an order of their own before solving.
    gap_pct : float
        Stop when the answer is proven to be within this of the best possible [%], ≥ 0.
    cuts : tuple of ndarray of bool, shape (n,)
        Sets of sites that must not be the answer again (for next-best answers).
    nodes : int
        Most nodes of the search tree.

    Returns
    -------
    Choice
        With `feasible` false and nothing taken where the limits allow nothing.

    Notes
    -----
    max Σ v·x  subject to  x ≤ capacity·y, Σ x/capacity ≤ room·y (whole plots in place of x where plots are laid),
    least·y ≤ Σ x ≤ most·y, Σ x ≤ stock, every limit, at
    most one y per group of near candidates, and per species at least `genet_sites` sites with one unit of each genet.
    y is 0 or 1, x whole.

    References
    ----------
    Huangfu & Hall 2018, Math. Prog. Comp. 10 (HiGHS; recalled); scipy.optimize.milp.
    """
    n, s = problem.value.shape
    order = _own_order(problem)
    inverse = np.empty(n, np.int64)
    inverse[order] = np.arange(n)
    own = _reordered(problem, order, inverse)
    usable = ~own.forced_out & ((own.capacity * (own.stock > 0)) > 0).any(axis=1) & (own.most >= own.least)
    if (own.forced_in & ~usable).any() or not usable.any():
        taken_none = own.forced_in.any() or own.least_sites > 0
        return Choice(np.zeros(n, bool), np.zeros((n, s), np.int64), 0.0, 0.0, not taken_none)
    rows = Program(own, usable)
    for cut in cuts:
        rows.forbid(cut[order])
    taken, units, gap, feasible = rows.solve(gap_pct / 100.0, nodes)
    taken, units = taken[inverse], units[inverse]
    return Choice(taken, units, float((problem.value * units).sum()), gap, feasible)


def _own_order(p: Problem) -> Ints:
    """Return the order of rows by what they hold, so that the answer does not depend on how they came."""
    keys = [p.forced_in, p.forced_out, p.most, p.least, p.room]
    keys += [limit.per_site for limit in p.limits] + [c for limit in p.limits for c in limit.per_unit.T]
    keys += [*p.capacity.T, *(-p.value.T), -(p.value * p.capacity).sum(axis=1)]
    return np.asarray(np.lexsort([np.asarray(k, np.float64) for k in keys]), np.int64)


def _reordered(p: Problem, order: Ints, inverse: Ints) -> Problem:
    pairs = np.sort(inverse[p.pairs], axis=1) if len(p.pairs) else p.pairs.reshape(0, 2)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))] if len(pairs) else pairs
    limits = tuple(replace(x, per_site=x.per_site[order], per_unit=x.per_unit[order]) for x in p.limits)
    largest = float(p.value.max()) or 1.0
    return replace(
        p,
        value=p.value[order] / largest,
        capacity=p.capacity[order],
        room=p.room[order],
        least=p.least[order],
        most=p.most[order],
        forced_in=p.forced_in[order],
        forced_out=p.forced_out[order],
        pairs=pairs,
        limits=limits,
    )
