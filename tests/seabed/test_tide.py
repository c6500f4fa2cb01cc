"""Depth at a time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.seabed.tide import depth_at, least_depth, workable


def test_trade_value_138():
    """6.2 m charted and 0.8 m of tide are 7.0 m of water."""
    assert depth_at(6.2, 0.8) == pytest.approx(7.0)


@given(st.floats(-5, 100), st.floats(-3, 10))
def test_the_least_depth_is_the_depth_or_dry(charted, tide):
    """A negative depth would pass for water."""
    assert least_depth(charted, tide) == max(depth_at(charted, tide), 0.0)


@given(st.floats(0, 50), st.floats(-2, 2), st.floats(0, 5))
def test_a_place_is_workable_exactly_from_the_least_depth_on(charted, tide, least):
    """Divers would be sent into the surf."""
    assert bool(workable(charted, tide, least)) == bool(least_depth(charted, tide) >= least)


def test_unknown_depths_are_never_workable():
    """A gap would pass."""
    assert not workable([np.nan], 0.0, 0.0).any()
    assert np.isnan(least_depth([np.nan], 0.0)).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: depth_at(5.0, 80.0), "80.0; due: finite heights between -20 and 20 m"),
        (lambda: workable(5.0, 0.0, -1.0), "-1.0 m; due: a depth of 0 m or more"),
    ],
)
def test_slips_of_unit_are_refused(call, message):
    """Centimetres or feet would pass."""
    with pytest.raises(InputFault, match=message):
        call()
