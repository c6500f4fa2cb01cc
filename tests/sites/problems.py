"""Small problems of choosing, and their answers by trying everything."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from sitekit.sites.problem import Limit, Problem


def problem(value: Any, capacity: Any, **more: Any) -> Problem:
    """A problem with everything open but what is given."""
    v = np.asarray(value, np.float64)
    c = np.asarray(capacity, np.int64)
    n, s = v.shape
    given: dict[str, Any] = {
        "value": v,
        "capacity": c,
        "room": np.ones(n),
        "stock": c.sum(axis=0),
        "least": np.ones(n, np.int64),
        "most": c.sum(axis=1),
        "pairs": np.zeros((0, 2), np.int64),
        "limits": (),
        "forced_in": np.zeros(n, bool),
        "forced_out": np.zeros(n, bool),
        "least_sites": 0,
        "most_sites": n,
        "genets": np.ones(s, np.int64),
        "genet_sites": 1,
        "slots": np.zeros(s, np.int64),
    }
    for key in ("stock", "least", "most", "genets", "slots"):
        if key in more:
            more[key] = np.asarray(more[key], np.int64)
    return Problem(**{**given, **more})


def limit(name: str, amount: float, per_site: Any, per_unit: Any) -> Limit:
    return Limit(name, amount, np.asarray(per_site, np.float64), np.asarray(per_unit, np.float64))


def keeps(p: Problem, taken: Any, units: Any, tolerance: float = 1e-6) -> bool:
    """Whether a choice keeps every rule of a problem, told in words of the problem and not of the solver."""
    x, y = np.asarray(units), np.asarray(taken, bool)
    total = x.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        single = np.where(x > 0, x / p.capacity, 0.0)
        plots = np.where(x > 0, np.ceil(x / p.slots) / np.ceil(p.capacity / p.slots), 0.0)
        share = np.where(p.slots > 0, plots, single).sum(axis=1)
    ok = (x >= 0).all() and (x <= p.capacity).all() and (share <= p.room + tolerance).all()
    ok &= (total[~y] == 0).all() and (total[y] >= p.least[y]).all() and (total[y] <= p.most[y]).all()
    ok &= (x.sum(axis=0) <= p.stock).all() and p.least_sites <= y.sum() <= p.most_sites
    ok &= y[p.forced_in].all() and not y[p.forced_out].any()
    ok &= not any(y[i] and y[j] for i, j in p.pairs)
    ok &= all(one.used(y, x) <= one.amount * (1 + tolerance) for one in p.limits)
    if p.genet_sites > 1:
        for k in range(p.stock.size):
            if p.genets[k] and p.stock[k]:
                ok &= (x[:, k] >= p.genets[k]).sum() >= p.genet_sites
    return bool(ok)


def by_brute_force(p: Problem) -> float | None:
    """The best value by trying every number of units everywhere; None where nothing keeps the rules."""
    n, s = p.value.shape
    ranges = [range(int(p.capacity[i, k]) + 1) for i in range(n) for k in range(s)]
    best: float | None = None
    for numbers in itertools.product(*ranges):
        x = np.array(numbers).reshape(n, s)
        y = x.sum(axis=1) > 0
        value = float((p.value * x).sum())
        if (best is None or value > best) and keeps(p, y, x):
            best = value
    return best
