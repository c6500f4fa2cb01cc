import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import CLASSES, Curve, bell, classes, rise, trapezoid
from sitekit.suitability.exclusions import FORBIDDEN, LABELS, TOO_DEEP, UNKNOWN
from sitekit.suitability.explain import curve_words, explain_cell
from sitekit.suitability.score import METHODS, score_cells

CODES = {"rock": 1, "sand": 2}
CRITERIA = [
    Criterion("depth", "depth_m", trapezoid(1, 3, 8, 12), 3.0, "nmfs-ser-brochure"),
    Criterion("bottom", "substrate", classes({"rock": 1.0, "sand": 0.2}, CODES), 2.0, "the team"),
    Criterion("near", "distance_m", rise(0, 20), 1.0, "the team", verified=True),
]


def fields(depth=5.0, bottom=1, near=5.0):
    """One cell."""
    return {
        "depth_m": np.full((1, 1), depth, np.float32),
        "substrate": np.full((1, 1), bottom, np.uint8),
        "distance_m": np.full((1, 1), near, np.float32),
    }


def explained(values, tests=None, **more):
    return explain_cell(
        CRITERIA,
        values,
        tests or {},
        units={"depth_m": "m", "distance_m": "m"},
        class_names={v: k for k, v in CODES.items()},
        **more,
    )


@settings(max_examples=60)
@given(st.floats(0, 14, width=32), st.sampled_from([1, 2]), st.floats(0, 25, width=32), st.sampled_from(METHODS))
def test_a_rise_of_the_limiting_criterion_gives_the_best_possible_score(depth, bottom, near, method):
    """A gain that no change of the place could bring."""
    values = fields(depth, bottom, near)
    out = explained(values, method=method)
    exclusion = np.zeros((1, 1), np.uint8)
    assert out.score == float(score_cells(CRITERIA, values, exclusion, method=method).score[0, 0])
    if out.limiting is None:
        return
    at_one = {"depth": {"depth_m": 5.0}, "bottom": {"substrate": 1}, "near": {"distance_m": 20.0}}[out.limiting]
    raised = {n: np.full_like(v, at_one[n]) if n in at_one else v for n, v in values.items()}
    best = float(score_cells(CRITERIA, raised, exclusion, method=method).score[0, 0])
    assert out.best_possible == pytest.approx(best, abs=1e-6)


def test_values_are_shown_with_unit_class_and_cap():
    """A number without a unit, a class by its code, a capped distance as if it were measured."""
    out = explained(fields(bottom=2, near=21.0), caps={"distance_m": 21.0})
    assert [a.shown for a in out.answers] == ["5 m", "sand", "≥ 21 m"]
    assert [a.response for a in out.answers] == [1.0, pytest.approx(0.2), 1.0]
    assert [a.weight for a in out.answers] == pytest.approx([0.5, 1 / 3, 1 / 6])
    assert out.limiting == "bottom"


def test_unknown_values_are_named_and_their_weight_is_counted():
    """A gap that looks like a value."""
    out = explained(fields(near=np.nan))
    assert out.answers[2].shown == "unknown"
    assert out.answers[2].value is None
    assert out.answers[2].response is None
    assert out.unknown_share == pytest.approx(1 / 6)
    assert out.score == pytest.approx(1.0)
    blind = explained(fields(depth=np.nan))
    assert blind.score is None
    assert blind.reasons == (LABELS[UNKNOWN],)
    other = explained(fields(bottom=7))
    assert other.answers[1].shown == "class 7 (not judged)"


def test_every_exclusion_is_listed_and_the_criteria_still_speak():
    """A planner who clears one obstacle to find the next."""
    tests = {TOO_DEEP: np.full((1, 1), True), FORBIDDEN: np.full((1, 1), True), 7: np.full((1, 1), False)}
    out = explained(fields(), tests)
    assert out.score is None
    assert out.reasons == (LABELS[FORBIDDEN], LABELS[TOO_DEEP])
    assert out.without_exclusions == pytest.approx(0.25 ** (1 / 6))


def test_curves_are_told_in_words():
    """A curve that only its numbers explain."""
    assert curve_words(bell(5, 2), "m") == "bell around 5, standard deviation 2 m"
    assert curve_words(CRITERIA[1].curve, "") == "by class: 1, 0.2"
    names = {1: "Geologic Substrate", 2: "Rock Substrate", 3: "Bedrock"}
    rock = Curve(CLASSES, (), tuple([math.nan, 0.0, 1.0, 1.0] + [math.nan] * 252))
    # bedrock is a kind of rock and has its response: it is not named again
    assert curve_words(rock, "", names) == "1 for Rock Substrate; 0 for Geologic Substrate"
    assert curve_words(CRITERIA[0].curve, "m") == "0 at 1, 1 at 3, 1 at 8, 0 at 12 m"


def test_more_than_one_cell_is_refused():
    """An explanation of a mixture."""
    values = {n: np.repeat(v, 2, axis=1) for n, v in fields().items()}
    with pytest.raises(InputFault, match="2 cells; due: one cell"):
        explained(values)
