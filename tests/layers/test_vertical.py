"""Signs, units and datums of depths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.layers.vertical import Vertical, check_sign, depth_m


@pytest.mark.parametrize(
    ("sign", "units", "value", "due"),
    [
        ("depth", "m", 5.0, 5.0),
        ("elevation", "m", -5.0, 5.0),
        ("elevation", "ft", -10.0, 3.048),
        ("depth", "fathom", 3.0, 5.4864),
    ],
)
def test_depth_is_positive_down_in_metres(sign, units, value, due):
    """A reef above the water, or one 3.3 times too deep."""
    assert depth_m(value, Vertical(sign, units, "MLLW")) == pytest.approx(due)


@given(st.floats(-100, 100), st.sampled_from(["m", "ft", "fathom"]))
def test_the_two_signs_are_each_other_upside_down(value, units):
    """A sign that changes more than the sign."""
    assert depth_m(value, Vertical("depth", units, "x")) == -depth_m(value, Vertical("elevation", units, "x"))


def test_gaps_stay_gaps():
    """A hole in the survey turned into water of depth 0."""
    assert np.isnan(depth_m([np.nan, 1.0], Vertical("elevation", "m", "x"))).tolist() == [True, False]


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        (("up", "m", "MLLW"), r"sign: 'up'; due: 'depth' \(positive down\) or 'elevation'"),
        (("depth", "m", "  "), "datum: empty; due: the name of the vertical datum"),
        (("depth", "yards", "MLLW"), "unit of length: 'yards'"),
    ],
)
def test_an_undeclared_count_is_refused(parts, said):
    """A guessed sign, unit or datum."""
    with pytest.raises(InputFault, match=said):
        Vertical(*parts)


def test_a_sign_that_the_values_contradict_is_refused():
    """A reef planned on land: elevations declared as depths."""
    with pytest.raises(InputFault, match=r"declared as 'depth', which puts 99\.0% .*set sign = 'elevation'"):
        check_sign("layers.depth", Vertical("depth", "m", "MLLW"), 0.01, -30.0, 0.5)


@pytest.mark.parametrize(("share", "said"), [(0.4, "60% of the cells lie above the datum"), (0.5, ""), (1.0, "")])
def test_much_land_leaves_a_remark(share, said):
    """A doubt that nobody hears of, or one raised for nothing."""
    got = check_sign("layers.depth", Vertical("elevation", "m", "MLLW"), share, -5.0, 30.0)
    assert got.startswith(said)
    assert bool(got) == bool(said)
