import json

import numpy as np
import pytest

from sitekit.base.sources import shared_file, sources
from sitekit.errors import InputFault
from sitekit.suitability.criteria import Criterion, criteria_set, make_curve, merged, set_classes, set_names
from sitekit.suitability.curves import response, rise

STANDARD = json.loads(shared_file("cmecs_substrate.json").read_text("utf-8"))["classes"]
CODES = {row["name"]: row["code"] for row in STANDARD}
FOOT = 0.3048  # m, exact


def depth_of(name):
    return next(c for c in criteria_set(name, CODES) if c.field == "depth_m")


@pytest.mark.parametrize(("name", "row"), [("elkhorn", "TV-001"), ("staghorn", "TV-002")])
def test_depth_bands_hold_the_published_ones(name, row):
    """A band in feet taken for metres."""
    low, high = (float(v) * FOOT for v in TRADE[row]["value"].split("-"))
    curve = depth_of(name).curve
    assert (response(curve, [low + 0.005, high - 0.005]) == 1).all()
    assert (response(curve, [low - 0.1, high + 0.1]) < 1).all()


TRADE = {r["id"]: r for r in json.loads(shared_file("reference/trade_suitability.json").read_text("utf-8"))}


def test_six_metres_is_full_for_staghorn_and_not_for_elkhorn():
    """Two species with one band (check stated in TV-002)."""
    assert response(depth_of("staghorn").curve, 6.0) == 1.0
    assert response(depth_of("elkhorn").curve, 6.0) < 1.0


def test_habitat_limit_of_98_feet_bounds_both_bands():
    """A score below the depth that the rule names (TV-003)."""
    limit = float(TRADE["TV-003"]["value"]) * FOOT
    for name in set_names():
        assert response(depth_of(name).curve, limit + 0.01) == 0.0
    assert response(depth_of("staghorn").curve, 29.0) > 0.0


def test_rubble_scores_low_but_is_not_a_veto_and_hard_bottom_is_full():
    """Rubble taken for hard bottom, or refused outright (TV-011, TV-012)."""
    for name in set_names():
        bottom = next(c for c in criteria_set(name, CODES) if c.field == "substrate")
        assert response(bottom.curve, CODES["Coral Reef Substrate"]) == 1.0
        assert 0.0 < response(bottom.curve, CODES["Coral Rubble"]) < 0.3


def test_finer_classes_take_the_response_of_the_class_above():
    """Bedrock unjudged because only rock is listed, or man-made bottom judged like natural bottom."""
    bottom = next(c for c in criteria_set("elkhorn", CODES) if c.field == "substrate").curve
    for name, due in [("Bedrock", 1.0), ("Fine Sand", 0.0), ("Boulder", 0.3), ("Cobble", 0.0)]:
        assert response(bottom, CODES[name]) == due, name
    for name in ("Metal Rubble", "Anthropogenic Rock Reef Substrate", "Geologic Substrate"):
        assert np.isnan(response(bottom, CODES[name])), name
    assert np.isnan(response(bottom, 0))


def test_classes_of_the_sets_are_names_of_the_standard():
    """A misspelt class that is never met."""
    for name in set_names():
        assert set(set_classes(name)) <= set(CODES)


@pytest.mark.parametrize("name", ["elkhorn", "staghorn"])
def test_each_shipped_criterion_cites_a_known_source_and_owns_up(name):
    """A number without a birth certificate."""
    for one in criteria_set(name, CODES):
        assert one.source in sources(), one.name
        assert one.weight > 0
        if not one.verified:
            assert one.note, one.name


def test_replacing_keeps_the_place_and_adding_appends():
    """A replaced criterion that still counts."""
    base = criteria_set("elkhorn", CODES)
    own = Criterion("our depth", "depth_m", rise(1, 2), 0.0, "own words")
    more = Criterion("current", "current_m_s", rise(0, 1), 0.2, "own words")
    out = merged(base, [(own, "depth"), (more, None)])
    assert [c.name for c in out] == ["our depth", *[c.name for c in base[1:]], "current"]


def test_wrong_names_are_refused_together():
    """A replacement that silently becomes an addition."""
    base = criteria_set("elkhorn", CODES)
    odd = Criterion("x", "depth_m", rise(1, 2), 1.0, "own")
    with pytest.raises(InputFault, match=r"replaces 'dept'(.|\n)*stands twice"):
        merged(base, [(odd, "dept"), (base[1], None)])
    with pytest.raises(InputFault, match="elkhorn, staghorn"):
        criteria_set("brain", CODES)


def test_curve_words_make_the_curve_they_name():
    """A settings word bound to another shape."""
    assert response(make_curve("fall", at=[2, 4]), 3.0) == 0.5
    assert response(make_curve("table", points=[(0, 0.2), (1, 0.4)]), 0.5) == pytest.approx(0.3)
    assert response(make_curve("classes", class_responses={"a": 0.3}, codes={"a": 7}), 7) == 0.3
    with pytest.raises(InputFault, match="3 numbers; due: 4"):
        make_curve("trapezoid", at=[1, 2, 3])
    with pytest.raises(InputFault, match="'spline'"):
        make_curve("spline")
