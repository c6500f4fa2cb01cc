"""The choice as a mixed whole-number program: its columns, its rows, and its solution by HiGHS."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from sitekit.sites.problem import Flags, Floats, Ints, Problem
from sitekit.sites.spread import groups_of

# Above this number of usable candidates sites are found with units as fractions, then units are made whole at the sites
# found; the gap is against the bound with fractions, so it stays true. In trials the two steps took half the time.
ALL_WHOLE = 300


class Program:
    """The columns (y of each site; x of each site and species that fits; z for genets) and rows."""

    def __init__(self, p: Problem, usable: Flags) -> None:
        self.p = p
        n, s = p.value.shape
        self.sites = np.flatnonzero(usable)
        self.at = np.full(n, -1)
        self.at[self.sites] = np.arange(self.sites.size)
        site, kind = np.nonzero((p.capacity > 0) & (p.stock > 0) & usable[:, None])
        self.site, self.kind = site, kind
        self.columns = self.sites.size + site.size
        self.x = np.arange(self.sites.size, self.columns)
        top = np.minimum(np.minimum(p.capacity[site, kind], p.most[site]), p.stock[kind])
        self.upper = [np.ones(self.sites.size), top.astype(float)]
        self.lower = [p.forced_in[self.sites].astype(float), np.zeros(site.size)]
        self.r: list[NDArray[np.int64]] = []
        self.c: list[NDArray[np.int64]] = []
        self.v: list[Floats] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self._within_sites(top)
        self._whole_plan()
        for group in groups_of(p.pairs, n):
            members = self.at[[g for g in group if usable[g]]]
            if members.size > 1:
                self._row(members, np.ones(members.size), -np.inf, 1.0)
        if p.genet_sites > 1:
            self._genets()

    def _row(self, columns: NDArray[np.int64], values: Floats, low: float, high: float) -> None:
        self.r.append(np.full(len(columns), len(self.low)))
        self.c.append(np.asarray(columns))
        self.v.append(np.asarray(values, np.float64))
        self.low.append(low)
        self.high.append(high)

    def _many(self, parts: list[tuple[NDArray[np.int64], NDArray[np.int64], Floats]], count: int, high: Floats) -> None:
        """Add `count` rows of form Σ values ≤ high at once; parts hold (row from 0, column, value)."""
        base = len(self.low)
        for row, column, values in parts:
            self.r.append(base + row)
            self.c.append(column)
            self.v.append(values)
        self.low += [-np.inf] * count
        self.high += high.tolist()

    def _within_sites(self, top: Ints) -> None:
        p, site, kind = self.p, self.site, self.kind
        y = self.at[site]
        one = np.ones(site.size)
        m = self.sites.size
        each = np.arange(m)
        # a row that the site's room says already would only cost time
        tight = np.flatnonzero((top < p.capacity[site, kind] * p.room[site] - 1e-9) | (p.slots[kind] > 0))
        new = np.arange(tight.size)
        parts = [(new, self.x[tight], one[tight]), (new, y[tight], -top[tight].astype(float))]
        self._many(parts, tight.size, np.zeros(tight.size))
        share, column = one / p.capacity[site, kind], self.x.copy()
        plotted = np.flatnonzero(p.slots[kind] > 0)
        if plotted.size:
            # whole plots: x ≤ slots · plots, and plots instead of units take the room
            slots = p.slots[kind[plotted]]
            fit = np.ceil(p.capacity[site[plotted], kind[plotted]] / slots - 1e-9)
            plots = self.columns + np.arange(plotted.size)
            self.columns += plotted.size
            self.lower.append(np.zeros(plotted.size))
            self.upper.append(fit)
            new = np.arange(plotted.size)
            parts = [(new, self.x[plotted], one[plotted]), (new, plots, -slots.astype(float))]
            self._many(parts, plotted.size, np.zeros(plotted.size))
            share[plotted], column[plotted] = 1.0 / fit, plots
        self._many([(y, column, share), (each, each, -p.room[self.sites])], m, np.zeros(m))
        self._many([(y, self.x, one), (each, each, -p.most[self.sites].astype(float))], m, np.zeros(m))
        self._many([(y, self.x, -one), (each, each, p.least[self.sites].astype(float))], m, np.zeros(m))

    def _whole_plan(self) -> None:
        p = self.p
        for kind in range(p.stock.size):
            own = self.x[self.kind == kind]
            if own.size:
                self._row(own, np.ones(own.size), -np.inf, float(p.stock[kind]))
        for limit in p.limits:
            columns = np.concatenate([np.arange(self.sites.size), self.x])
            values = np.concatenate([limit.per_site[self.sites], limit.per_unit[self.site, self.kind]])
            # rows scaled to 1, so that the solver's tolerance means the same for coins and for boat days
            scale = limit.amount or 1.0
            self._row(columns, values / scale, -np.inf, limit.amount / scale)
        every = np.arange(self.sites.size)
        self._row(every, np.ones(every.size), float(p.least_sites), float(p.most_sites))

    def _genets(self) -> None:
        """Add z per site and species: 1 only where there is a unit for each genet; enough of them per species."""
        p = self.p
        for kind in range(p.stock.size):
            fits = np.flatnonzero((self.kind == kind) & (p.capacity[self.site, self.kind] >= p.genets[kind]))
            if p.genets[kind] == 0 or p.stock[kind] == 0:
                continue
            z = self.columns + np.arange(fits.size)
            self.columns += fits.size
            self.lower.append(np.zeros(fits.size))
            self.upper.append(np.ones(fits.size))
            for column, k in zip(z, fits, strict=True):
                self._row(np.array([column, self.x[k]]), np.array([float(p.genets[kind]), -1.0]), -np.inf, 0.0)
            if fits.size:
                self._row(z, np.ones(fits.size), float(p.genet_sites), np.inf)
            else:
                self._row(np.array([0]), np.array([0.0]), 1.0, np.inf)

    def forbid(self, taken: Flags) -> None:
        """Rule a set of sites out as an answer."""
        inside = taken[self.sites]
        self._row(np.arange(self.sites.size), np.where(inside, -1.0, 1.0), 1.0 - float(inside.sum()), np.inf)

    def solve(self, gap: float, nodes: int) -> tuple[Flags, Ints, float, bool]:
        """Return sites, units, the gap [%] and whether anything keeps all rows."""
        p = self.p
        n, s = p.value.shape
        cost = np.zeros(self.columns)
        cost[self.x] = -p.value[self.site, self.kind]
        matrix = coo_array(
            (np.concatenate(self.v), (np.concatenate(self.r), np.concatenate(self.c))),
            shape=(len(self.low), self.columns),
        ).tocsr()
        rows = LinearConstraint(matrix, np.array(self.low), np.array(self.high))
        first = Bounds(np.concatenate(self.lower), np.concatenate(self.upper))
        every = np.ones(self.columns)
        bound = np.inf
        answer: Floats | None = None
        if self.sites.size > ALL_WHOLE:
            some = every.copy()
            some[self.x] = 0.0
            options = {"mip_rel_gap": gap / 2, "node_limit": nodes, "disp": False}
            found = milp(cost, integrality=some, bounds=first, constraints=rows, options=options)
            if found.x is None:
                return np.zeros(n, bool), np.zeros((n, s), np.int64), np.inf, False
            bound = -float(found.mip_dual_bound)
            stand = np.round(found.x[: self.sites.size])
            fixed = Bounds(first.lb.copy(), first.ub.copy())
            fixed.lb[: self.sites.size] = fixed.ub[: self.sites.size] = stand
            answer = milp(cost, integrality=every, bounds=fixed, constraints=rows, options=options).x
        if answer is None or _gap(bound, -float(cost @ answer)) > gap:  # all in whole numbers from the start
            options = {"mip_rel_gap": gap, "node_limit": nodes, "disp": False}
            found = milp(cost, integrality=every, bounds=first, constraints=rows, options=options)
            if found.x is None and answer is None:
                return np.zeros(n, bool), np.zeros((n, s), np.int64), np.inf, False
            if found.x is not None:
                bound = min(bound, -float(found.mip_dual_bound))
                answer = found.x if answer is None or cost @ found.x < cost @ answer else answer
        assert answer is not None
        taken, units = np.zeros(n, bool), np.zeros((n, s), np.int64)
        taken[self.sites] = answer[: self.sites.size] > 0.5
        units[self.site, self.kind] = np.round(answer[self.x]).astype(np.int64)
        return taken, units, 100.0 * _gap(bound, float((p.value * units).sum())), True


def _gap(bound: float, value: float) -> float:
    """Return how far a value may be from the best possible, as a share of the best possible."""
    best = max(bound, value)
    gap = (best - value) / best if best > 0 else 0.0
    return gap if gap > 1e-9 else 0.0  # rounding
