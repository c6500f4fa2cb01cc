"""Areas to compare with match in score and depth, keep off what is taken, and refuse to be found where nothing matches."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.sites.controls import matched_area


def scene() -> tuple[Any, Any]:
    """Score falls from west to east, depth grows from north to south."""
    score = np.tile(np.linspace(1.0, 0.0, 41), (41, 1))
    depth = np.tile(np.linspace(0.0, 20.0, 41)[:, None], (1, 41))
    return score, depth


LIKE: dict[str, Any] = {"score_tolerance": 0.1, "depth_tolerance_m": 2.0, "side_cells": 5, "least_share": 1.0}


def test_the_nearest_match_on_a_plane_is_where_it_must_be() -> None:
    """Score 0.5 stands in column 20, depth 8 m in row 16: the window of 5 × 5 is centred there."""
    score, depth = scene()
    found = matched_area(score, depth, np.ones((41, 41), bool), score_wanted=0.5, depth_wanted_m=8.0, **LIKE)
    assert found is not None
    assert (found.row, found.col) == (14, 18)
    assert found.score == pytest.approx(0.5)
    assert found.depth_m == pytest.approx(8.0)


@given(st.floats(0.2, 0.8), st.floats(4.0, 16.0), st.integers(0, 30), st.integers(0, 30))
def test_what_is_taken_stays_out_and_tolerances_hold(score: float, depth: float, row: int, col: int) -> None:
    """A control beside the planted plot is no control."""
    scores, depths = scene()
    free = np.ones((41, 41), bool)
    free[row : row + 11, col : col + 11] = False
    found = matched_area(scores, depths, free, score_wanted=score, depth_wanted_m=depth, **LIKE)
    if found is None:
        return
    part = (slice(found.row, found.row + 5), slice(found.col, found.col + 5))
    assert free[part][found.cells].all()
    assert (np.abs(scores[part][found.cells] - score) <= 0.1).all()
    assert (np.abs(depths[part][found.cells] - depth) <= 2.0).all()


def test_a_reference_goes_where_most_living_colonies_stand() -> None:
    """Of two windows that match, the one with colonies in it is the reference."""
    score, depth = np.full((20, 40), 0.8), np.full((20, 40), 5.0)
    living = np.zeros((20, 40), int)
    living[10, 30:33] = 1
    found = matched_area(
        score, depth, np.ones((20, 40), bool), score_wanted=0.8, depth_wanted_m=5.0, colonies=living, **LIKE
    )
    assert found is not None
    assert found.count == 3
    assert found.col <= 30
    assert found.col + 5 >= 33


def test_nothing_matching_is_none() -> None:
    """Better no control than one at another depth; no reference without living colonies."""
    score, depth = scene()
    free = np.ones((41, 41), bool)
    assert matched_area(score, depth, free, score_wanted=0.5, depth_wanted_m=40.0, **LIKE) is None
    none = np.zeros((41, 41), int)
    assert matched_area(score, depth, free, score_wanted=0.5, depth_wanted_m=8.0, colonies=none, **LIKE) is None


def test_a_window_without_size_is_refused() -> None:
    """A window of no cells has no mean."""
    score, depth = scene()
    with pytest.raises(InputFault, match="side_cells"):
        matched_area(
            score, depth, score > 0, score_wanted=0.5, depth_wanted_m=8.0, score_tolerance=0.1, depth_tolerance_m=1.0,
            side_cells=0, least_share=0.5,
        )  # fmt: skip
