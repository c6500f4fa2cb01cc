"""What else could be chosen, at what loss, and what stands in the way."""

from __future__ import annotations

import numpy as np
import pytest

from sitekit.sites.alternatives import binding, changed, clashes, gain_against_budget, held_back, if_decided, next_best
from sitekit.sites.choose import choose
from tests.sites.problems import limit, problem

# three sites of one unit, two may be taken: 0.9 + 0.8, then 0.9 + 0.7, then 0.8 + 0.7, then one alone
THREE = problem([[0.9], [0.8], [0.7]], [[1], [1], [1]], most_sites=2)


def test_next_best_come_in_order_and_differ() -> None:
    """An alternative that repeats the choice, or skips a better one, misleads the meeting."""
    best = choose(THREE)
    found = next_best(THREE, best, 3)
    assert [np.flatnonzero(c.taken).tolist() for c in (best, *found)] == [[0, 1], [0, 2], [1, 2], [0]]
    assert [c.value for c in found] == pytest.approx([1.6, 1.5, 0.9])


def test_there_may_be_fewer_alternatives_than_asked() -> None:
    """One site that must be taken leaves no other plan."""
    p = problem([[1.0]], [[1]], forced_in=np.array([True]))
    assert next_best(p, choose(p), 5) == []


def test_leaving_a_site_out_or_taking_it_costs_what_it_costs() -> None:
    """Without the best site 1.5 of 1.7 is left; with the third instead of the second 1.6."""
    assert if_decided(THREE, 0, taken=False).value == pytest.approx(1.5)
    assert if_decided(THREE, 2, taken=True).value == pytest.approx(1.6)


def test_gain_rises_with_budget_and_meets_the_choice() -> None:
    """Sites of 1 coin each: half a coin buys none, one buys the best, two the best two."""
    p = problem([[0.9], [0.8], [0.7]], [[1], [1], [1]], limits=(limit("coins", 1.0, np.ones(3), np.zeros((3, 1))),))
    steps = gain_against_budget(p, choose(p), (0.5, 1.0, 2.0, 5.0))
    assert [s.choice.value for s in steps] == pytest.approx([0.0, 0.9, 1.7, 2.4])


def test_the_limit_that_binds_is_named() -> None:
    """One diver's dive for a site that takes two: the purse is not to blame."""
    dives = limit("dives", 1.0, [2.0], [[0.1]])
    money = limit("money", 100.0, [1.0], [[1.0]])
    p = problem([[0.9]], [[5]], limits=(dives, money))
    assert not choose(p).taken.any()
    assert binding(p) == ["dives"]


def test_a_least_number_that_no_site_holds_binds() -> None:
    """Sites of at most five units, least ten."""
    p = problem([[0.9], [0.8]], [[5], [5]], least=[10, 10], most=[20, 20], least_sites=1)
    assert not choose(p).feasible
    assert binding(p) == ["least_per_site"]


def test_two_limits_that_bind_together_are_named_together() -> None:
    """Neither the dives nor the money alone opens it; a single name would send the team the wrong way."""
    dives = limit("dives", 1.0, [2.0], [[0.1]])
    money = limit("money", 1.0, [5.0], [[1.0]])
    p = problem([[0.9]], [[5]], limits=(dives, money))
    assert binding(p) == ["dives and money together"]


def test_the_stock_that_holds_a_plan_back_is_named() -> None:
    """One unit for two sites: with more of it the second site would be planted too."""
    p = problem([[0.9], [0.6]], [[1], [1]], stock=[1])
    assert held_back(p, choose(p)) == [("stock", pytest.approx(100 * 0.6 / 0.9))]


def test_forced_sites_too_near_are_named() -> None:
    """Two forced sites 10 m apart where 50 m are asked for."""
    p = problem([[1.0], [1.0]], [[1], [1]], forced_in=np.array([True, True]), pairs=np.array([[0, 1]]))
    assert clashes(p) == [(0, 1)]
    assert not choose(p).feasible
    assert binding(p) == ["least_distance_m", "force_in"]


def test_changes_are_told_apart() -> None:
    """What an alternative adds and what it drops."""
    assert changed(np.array([True, True, False]), np.array([False, True, True])) == ([2], [0])


def test_what_holds_a_plan_back_is_named_with_its_gain() -> None:
    """Two coins for three sites of one coin each: the third site would add 0.7 to 1.7; a free rule is not named."""
    p = problem([[0.9], [0.8], [0.7]], [[1], [1], [1]], limits=(limit("coins", 2.0, np.ones(3), np.zeros((3, 1))),))
    found = held_back(p, choose(p))
    assert [name for name, _ in found] == ["coins"]
    assert found[0][1] == pytest.approx(100 * 0.7 / 1.7)
