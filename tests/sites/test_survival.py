"""A share alive is read off the user's own line, and a choice by it is the best there is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.sites.choose import choose
from sitekit.sites.survival import beyond, share_alive
from tests.sites.problems import by_brute_force, limit, problem


def test_a_share_lies_on_the_line_and_is_level_beyond() -> None:
    """0.3 at 0.7 and 0.7 at 0.9: half way between is 0.5; a guess beyond the points must not run on to 1.1."""
    points = [(0.7, 0.3), (0.9, 0.7)]
    assert share_alive(points, [0.7, 0.75, 0.8, 0.9, 1.0, 0.0]) == pytest.approx([0.3, 0.4, 0.5, 0.7, 0.7, 0.3])
    assert np.isnan(share_alive(points, np.nan))
    assert beyond(points, [0.69, 0.7, 0.9, 0.91, np.nan]).tolist() == [True, False, False, True, True]


def test_a_curve_that_is_none_is_refused() -> None:
    """Survival above 1, or two answers to one value, would decide sites all the same; both faults are told at once."""
    with pytest.raises(InputFault, match=r"(?s)values that rise.*numbers from 0 to 1"):
        share_alive([(0.9, 0.3), (0.9, 1.2)], 0.9)
    with pytest.raises(InputFault, match="1 points"):
        share_alive([(0.9, 0.3)], 0.9)


@st.composite
def reefs(draw: Any) -> Any:
    """Three sites of two species: scores, room, and a rising or falling line of survival."""
    score = [[draw(st.integers(50, 100)) / 100 for _ in range(2)] for _ in range(3)]
    room = [[draw(st.integers(0, 3)) for _ in range(2)] for _ in range(3)]
    ends = sorted(draw(st.integers(0, 20)) / 20 for _ in range(2))
    points = [(0.5, ends[draw(st.integers(0, 1))]), (1.0, draw(st.integers(0, 20)) / 20)]
    return score, room, points, draw(st.integers(1, 12))


@settings(max_examples=40)
@given(reefs())
def test_a_choice_by_survival_is_the_best_of_all(reef: Any) -> None:
    """Most units alive for the money, found by trying every number of units everywhere."""
    score, room, points, coins = reef
    money = limit("money", float(coins), np.ones(3), np.ones((3, 2)))
    p = problem(share_alive(points, score), room, limits=(money,))
    best = by_brute_force(p)
    found = choose(p)
    assert best is not None
    assert found.value == pytest.approx(best, abs=1e-9)
    assert found.value == pytest.approx(float((share_alive(points, score) * found.units).sum()))


def test_survival_may_choose_another_site_than_suitability() -> None:
    """Where the better score lives worse, the curve decides: one coin, one unit, the second site."""
    score = np.array([[0.9], [0.8]])
    money = limit("money", 1.0, np.zeros(2), np.ones((2, 1)))
    by_score = choose(problem(score, [[5], [5]], limits=(money,)))
    by_alive = choose(problem(share_alive([(0.8, 0.7), (0.9, 0.4)], score), [[5], [5]], limits=(money,)))
    assert by_score.units.tolist() == [[1], [0]]
    assert by_alive.units.tolist() == [[0], [1]]
