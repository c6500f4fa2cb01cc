import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.elementary import LOWEST_LOG2, arctan_positive, arctan_unit, bearing, exp2, log2


@given(st.floats(0, 1))
def test_arctan_of_shares_is_the_mathematical_one(t):
    """A coefficient that is wrong in the ninth digit."""
    assert arctan_unit(t) == pytest.approx(math.atan(t), abs=1.3e-11)


@given(st.floats(0, 1e12))
def test_arctan_of_steep_slopes_is_the_mathematical_one(t):
    """A slope above 45° taken from the wrong side."""
    assert arctan_positive(t) == pytest.approx(math.atan(t), abs=1.3e-11)


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_bearing_is_the_compass_direction(east, north):
    """Quadrants mixed up, or 360 instead of 0."""
    out = bearing(east, north)
    assert 0.0 <= out < 360.0
    if east * east + north * north > 1e-290:
        gap = (out - math.degrees(math.atan2(east, north)) + 180.0) % 360.0 - 180.0
        assert abs(gap) < 1e-8


@pytest.mark.parametrize(
    ("east", "north", "due"), [(0, 1, 0), (1, 0, 90), (0, -1, 180), (-1, 0, 270), (1, 1, 45), (0, 0, 0)]
)
def test_bearings_of_the_compass_points_are_exact(east, north, due):
    """89.99999999 for due east."""
    assert bearing(float(east), float(north)) == pytest.approx(due, abs=1e-9)


@given(st.floats(1e-300, 1e300))
def test_log2_is_the_mathematical_one(x):
    """An exponent off by one at the border of its range."""
    assert log2(x) == pytest.approx(math.log2(x), rel=1e-15, abs=1e-15)


def test_log2_of_powers_is_exact_and_of_zero_finite():
    """−inf, which times a weight of 0 is NaN."""
    assert [log2(2.0**k) for k in range(-20, 21)] == list(range(-20, 21))
    assert log2(0.0) == LOWEST_LOG2
    assert 0.0 * log2(0.0) == 0.0


@given(st.floats(-999, 0))
def test_exp2_is_the_mathematical_one(x):
    """A lost digit near whole numbers."""
    assert exp2(x) == pytest.approx(2.0**x, rel=3e-15)


def test_exp2_ends_at_zero_and_one():
    """A score above 1, or a zero that is not quite zero."""
    assert exp2(0.0) == 1.0
    assert exp2(-1001.0) == 0.0
    assert exp2(LOWEST_LOG2) == 0.0
    assert np.all(np.diff([exp2(x) for x in np.linspace(-3, 0, 2001)]) > 0)
