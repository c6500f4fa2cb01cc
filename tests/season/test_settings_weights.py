"""The tables [weights] and [sensitivity] of plan.toml are read, or refused in words that help."""

from __future__ import annotations

from typing import Any

import pytest

from sitekit.season.settings import settings_from
from tests.season.test_settings import faults_of, least


def test_what_is_left_out_is_filled_in() -> None:
    """A plan without the tables that fails, or draws that depend on their absence."""
    settings = settings_from(least())
    assert settings.weights == {}
    assert (settings.sensitivity.draws, settings.sensitivity.misread_share) == (256, 0.16)


def test_judgements_are_read_in_order() -> None:
    """A pair read the wrong way round."""
    data = least()
    judged = [{"criterion": "depth", "over": "bottom", "times": 3}, {"criterion": "a", "over": "b", "times": 0.5}]
    data["weights"] = {"APAL": {"method": "pairwise", "judgements": judged, "who": "the team"}}
    read = settings_from(data).weights["APAL"].judgements
    assert [(j.criterion, j.over, j.times) for j in read] == [("depth", "bottom", 3.0), ("a", "b", 0.5)]


@pytest.mark.parametrize(
    ("weights", "said"),
    [
        ({"APAL": {"method": "ranked", "numbers": {"depth": 1.0}}}, "method 'ranked' needs `ranks` and nothing else"),
        ({"APAL": {"method": "direct"}}, "method 'direct' needs `numbers` and nothing else, got none"),
        ({"APAL": {"method": "best"}}, "'best'"),
        ({"APAL": {"method": "ranked", "ranks": {"depth": 1.5}}}, "weights.APAL.ranks.depth"),
        ({"APAL": {"method": "direct", "numbrs": {"depth": 1.0}}}, "Did you mean 'numbers'?"),
        ({"ACER": {"method": "direct", "numbers": {"depth": 1.0}}}, "weights names species 'ACER'; known: APAL"),
        (
            {"APAL": {"method": "pairwise", "judgements": [{"criterion": "a", "over": "b", "time": 2.0}]}},
            "Did you mean 'times'?",
        ),
    ],
)
def test_weights_that_do_not_fit_their_method_are_refused(weights: dict[str, Any], said: str) -> None:
    """A table of judgements that is not read."""
    assert any(said in fault for fault in faults_of(weights=weights))


@pytest.mark.parametrize(
    ("sensitivity", "said"),
    [
        ({"draws": 100}, "a power of two"),
        ({"concentration": 0.0}, "sensitivity.concentration"),
        ({"best_pct": 100.0}, "sensitivity.best_pct"),
        ({"steady_share": 80}, "sensitivity.steady_share"),
        ({"drws": 64}, "Did you mean 'draws'?"),
    ],
)
def test_draws_that_cannot_be_are_refused(sensitivity: dict[str, Any], said: str) -> None:
    """A share given as per cent, or draws that are uneven."""
    assert any(said in fault for fault in faults_of(sensitivity=sensitivity))
