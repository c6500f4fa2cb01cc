"""The choice is the best one that keeps every limit, whatever the order of the candidates."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.sites.choose import choose
from sitekit.sites.problem import Problem
from sitekit.sites.program import ALL_WHOLE
from sitekit.sites.spread import near_pairs
from tests.sites.problems import by_brute_force, keeps, limit, problem

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/optimisation.json").read_text("utf-8"))}


@st.composite
def small(draw: Any, species: int = 2) -> Problem:
    """Three or four sites of a few units, with limits, neighbours and forced sites."""
    n = draw(st.integers(2, 3))
    whole = st.integers(0, 3)
    value = [[draw(st.integers(0, 100)) / 100 for _ in range(species)] for _ in range(n)]
    capacity = [[draw(whole) for _ in range(species)] for _ in range(n)]
    pairs = [(i, j) for i in range(n) for j in range(i + 1, n) if draw(st.integers(0, 3)) == 0]
    money = limit(
        "money",
        draw(st.integers(0, 40)),
        [draw(st.integers(0, 10)) for _ in range(n)],
        [[draw(st.integers(0, 5)) for _ in range(species)] for _ in range(n)],
    )
    forced = [draw(st.sampled_from(["", "", "", "in", "out"])) for _ in range(n)]
    least = [draw(st.integers(1, 2)) for _ in range(n)]
    return problem(
        value,
        capacity,
        room=np.full(n, draw(st.sampled_from([1.0, 0.85]))),
        stock=[draw(st.integers(0, 6)) for _ in range(species)],
        least=least,
        most=[m + draw(st.integers(0, 4)) for m in least],
        pairs=np.array(pairs, np.int64).reshape(-1, 2),
        limits=(money,),
        forced_in=np.array([f == "in" for f in forced]),
        forced_out=np.array([f == "out" for f in forced]),
        most_sites=draw(st.integers(1, n)),
        genets=[draw(st.integers(1, 2)) for _ in range(species)],
        genet_sites=draw(st.sampled_from([1, 1, 2])),
        slots=[draw(st.sampled_from([0, 1, 2]))] * species,
    )


@settings(max_examples=60)
@given(small())
def test_the_choice_equals_the_best_of_all(p: Problem) -> None:
    """A solver fed with wrong rows answers fast and wrong; trying everything cannot."""
    best = by_brute_force(p)
    found = choose(p)
    if best is None:
        assert not found.feasible
        return
    assert found.feasible
    assert keeps(p, found.taken, found.units)
    assert found.value == pytest.approx(best, abs=1e-6)


@settings(max_examples=40)
@given(small(), st.randoms(use_true_random=False))
def test_row_order_changes_nothing(p: Problem, random: Any) -> None:
    """The same candidates in another order must be the same plan."""
    n = len(p.most)
    turn = list(range(n))
    random.shuffle(turn)
    place = np.argsort(turn)
    other = replace(
        p,
        value=p.value[turn],
        capacity=p.capacity[turn],
        room=p.room[turn],
        least=p.least[turn],
        most=p.most[turn],
        pairs=np.sort(place[p.pairs], axis=1) if len(p.pairs) else p.pairs,
        limits=tuple(replace(one, per_site=one.per_site[turn], per_unit=one.per_unit[turn]) for one in p.limits),
        forced_in=p.forced_in[turn],
        forced_out=p.forced_out[turn],
    )
    one, two = choose(p), choose(other)
    assert one.feasible == two.feasible
    assert one.value == pytest.approx(two.value, abs=1e-6)


@settings(max_examples=40)
@given(small(), st.sampled_from([0.5, 4.0, 1024.0]))
def test_scaling_every_value_changes_nothing(p: Problem, factor: float) -> None:
    """Suitability in per cent or as a share must choose the same sites."""
    one, two = choose(p), choose(replace(p, value=p.value * factor))
    assert (one.taken == two.taken).all()
    assert (one.units == two.units).all()


@settings(max_examples=40)
@given(small(), st.floats(1.0, 5.0))
def test_more_budget_never_gives_less(p: Problem, factor: float) -> None:
    """A larger purse holds every smaller plan."""
    more = replace(p, limits=tuple(replace(one, amount=one.amount * factor) for one in p.limits))
    one, two = choose(p), choose(more)
    assert two.value >= one.value - 1e-6
    assert two.feasible or not one.feasible


@pytest.mark.parametrize("row", ["opt-knapsack-p01", "opt-knapsack-p02", "opt-knapsack-p06"])
def test_published_knapsacks_are_solved(row: str) -> None:
    """One purse, one unit per site: the best by value per cost is not the best of all."""
    case = ROWS[row]
    profits, weights = case["inputs"]["profits"], case["inputs"]["weights"]
    n = len(profits)
    purse = limit("purse", case["inputs"]["capacity"], np.zeros(n), np.array(weights)[:, None])
    found = choose(problem(np.array(profits)[:, None], np.ones((n, 1)), limits=(purse,)))
    assert found.value == pytest.approx(case["expected"]["optimum"], abs=1e-9)


@pytest.mark.parametrize("row", ["opt-spacing-12", "opt-spacing-greedy-trap"])
def test_published_spacings_are_solved(row: str) -> None:
    """Sites exactly as far apart as asked for may both be taken; the best by score one by one is not the best."""
    case = ROWS[row]
    score = np.array(case["inputs"]["score"], np.float64)
    pairs = near_pairs(case["inputs"]["points"], case["inputs"]["min_distance"])
    found = choose(problem(score[:, None], np.ones((score.size, 1)), pairs=pairs))
    assert found.value == pytest.approx(case["expected"]["optimum"], abs=1e-9)
    assert np.flatnonzero(found.taken).tolist() in case["expected"]["optimal_sets"]


def test_published_budget_with_one_per_group_is_solved() -> None:
    """One of each group under one purse, and the same without groups."""
    case = ROWS["opt-budget-zones"]
    value, cost, zone = (np.array(case["inputs"][k], np.float64) for k in ("value", "cost", "zone"))
    n = value.size
    purse = limit("purse", case["inputs"]["budget"], cost, np.zeros((n, 1)))
    together = [(i, j) for i in range(n) for j in range(i + 1, n) if zone[i] == zone[j]]
    grouped = choose(problem(value[:, None], np.ones((n, 1)), limits=(purse,), pairs=np.array(together)))
    free = choose(problem(value[:, None], np.ones((n, 1)), limits=(purse,)))
    for found, key in ((grouped, "best_one_per_zone"), (free, "best_free")):
        assert found.value == pytest.approx(case["expected"][key]["value"], abs=1e-9)
        assert np.flatnonzero(found.taken).tolist() == case["expected"][key]["items"]


def test_many_candidates_keep_every_rule_within_the_gap() -> None:
    """The two-step way for many candidates must keep whole units, every limit and its own gap."""
    n = ALL_WHOLE + 100
    draw = np.random.default_rng(3)
    points = draw.uniform(0, 2000, (n, 2))
    p = problem(
        np.round(draw.uniform(0.4, 1.0, (n, 2)), 3),
        draw.integers(0, 120, (n, 2)),
        room=np.full(n, 0.85),
        stock=[2500, 2000],
        least=np.full(n, 15),
        most=np.full(n, 100),
        pairs=near_pairs(points, 90.0),
        limits=(limit("money", 20_000, draw.uniform(100, 400, n), np.full((n, 2), 3.0)),),
    )
    found = choose(p, gap_pct=1.0)
    assert keeps(p, found.taken, found.units)
    assert 0.0 <= found.gap_pct <= 1.0
    again = choose(p, gap_pct=1.0)
    assert (again.units == found.units).all()


def test_wrong_shapes_and_negative_rates_are_refused() -> None:
    """A rate below zero would pay the team for planting."""
    with pytest.raises(InputFault, match="negative amount or rate"):
        problem([[1.0]], [[1]], limits=(limit("money", 5, [-1.0], [[0.0]]),))
    with pytest.raises(InputFault, match="stock"):
        problem([[1.0]], [[1]], stock=[1, 2])
