"""Rows of the bench of deciding: sites chosen by the whole-number program, against seconds and a gap.

A made-up coast: candidates spread so that each has about seven within the least distance, capacities, suitabilities, a
cost per site that grows with the way, a purse for about one site in twelve, and dives. Every answer is checked by rules
told here again, in words of the problem.
"""

import time

import numpy as np

from sitekit.sites.choose import choose
from sitekit.sites.problem import Limit, Problem
from sitekit.sites.spread import groups_of, near_pairs

REACH_S = {1_000: 2.0, 10_000: 30.0}  # design section 6 of the project's targets
GAP_PCT = 0.5


def coast(n, seed=1):
    """n candidates with two species."""
    draw = np.random.default_rng(seed)
    points = draw.uniform(0, 100 * np.sqrt(n), (n, 2))
    way = np.hypot(*(points - points.mean(axis=0)).T)
    fixed = 200 + 0.5 * way
    per_unit = np.tile(draw.uniform(2, 6, n)[:, None], (1, 2))
    return Problem(
        value=np.clip(draw.normal(0.75, 0.1, (n, 2)), 0, 1),
        capacity=draw.integers(0, 200, (n, 2)),
        room=np.full(n, 0.85),
        stock=np.array([n * 8, n * 8]),
        least=np.full(n, 20),
        most=np.full(n, 150),
        pairs=near_pairs(points, 150.0),
        limits=(
            Limit("money", fixed.mean() * n * 0.08 + 4 * n * 6, fixed, per_unit),
            Limit("dives", n * 2.0, np.full(n, 2.0), np.full((n, 2), 1 / 8)),
        ),
        forced_in=np.zeros(n, bool),
        forced_out=np.zeros(n, bool),
        least_sites=0,
        most_sites=n,
        genets=np.array([8, 10]),
        genet_sites=1,
        slots=np.zeros(2, np.int64),
    )


def best_first(p):
    """The plan a person makes by hand: best value per money first, while everything lasts; the witness of the gain."""
    n = len(p.most)
    near = [set() for _ in range(n)]
    for i, j in p.pairs.tolist():
        near[i].add(j)
        near[j].add(i)
    kind = (p.value * (p.capacity > 0)).argmax(axis=1)
    units = np.minimum((p.capacity[np.arange(n), kind] * p.room).astype(int), p.most)
    worth = p.value[np.arange(n), kind] * units / (p.limits[0].per_site + units * p.limits[0].per_unit[:, 0])
    left = [limit.amount for limit in p.limits]
    stock, taken, total = p.stock.copy(), set(), 0.0
    for i in np.argsort(-worth):
        u = min(units[i], stock[kind[i]])
        use = [limit.per_site[i] + u * limit.per_unit[i, 0] for limit in p.limits]
        if u < p.least[i] or near[i] & taken or any(a > b for a, b in zip(use, left, strict=True)):
            continue
        left = [b - a for a, b in zip(use, left, strict=True)]
        stock[kind[i]] -= u
        taken.add(i)
        total += p.value[i, kind[i]] * u
    return total


def kept(p, c):
    """Whether an answer keeps every rule."""
    share = np.where(c.units > 0, c.units / np.maximum(p.capacity, 1), 0).sum(axis=1)
    total = c.units.sum(axis=1)
    return bool(
        (c.units >= 0).all()
        and (c.units <= p.capacity).all()
        and (share <= p.room + 1e-6).all()
        and (total[~c.taken] == 0).all()
        and (total[c.taken] >= p.least[c.taken]).all()
        and (total <= p.most).all()
        and (c.units.sum(axis=0) <= p.stock).all()
        and not any(c.taken[i] and c.taken[j] for i, j in p.pairs)
        and all(limit.used(c.taken, c.units) <= limit.amount * (1 + 1e-6) for limit in p.limits)
    )


def choose_rows(short=False):
    """Figures per number of candidates."""
    rows = {}
    for n in (1_000,) if short else (1_000, 10_000):
        p = coast(n)
        start = time.perf_counter()
        found = choose(p, gap_pct=GAP_PCT)
        seconds = time.perf_counter() - start
        rows[f"{n} candidates"] = {
            "pairs too near": len(p.pairs),
            "told in rows": len(groups_of(p.pairs, n)),
            "seconds": round(seconds, 2),
            "gap_pct": round(found.gap_pct, 3),
            "sites": int(found.taken.sum()),
            "more than best first [%]": round(100 * (found.value / best_first(p) - 1), 1),
            "rules kept": kept(p, found),
            "reached": bool(seconds < REACH_S[n] and found.gap_pct <= GAP_PCT and kept(p, found)),
        }
    return rows


def main(short=False):
    """Measure, print and return."""
    rows = choose_rows(short)
    for name, figures in rows.items():
        print(f"choose {name}: " + ", ".join(f"{k} {v}" for k, v in figures.items()))
    return {"reached": all(r["reached"] for r in rows.values()), **rows}
