import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.suitability.curves import bell, classes, fall, response, rise, table, trapezoid

FUZZY = json.loads(shared_file("reference/fuzzy.json").read_text("utf-8"))[0]
VALUES = st.floats(-50, 50, allow_nan=False)


@pytest.mark.parametrize(
    ("key", "curve"),
    [
        ("trapezoid", trapezoid(*FUZZY["inputs"]["trapezoid"])),
        ("triangle", table(list(zip(FUZZY["inputs"]["triangle"], (0.0, 1.0, 0.0), strict=True)))),
        ("gauss", bell(*FUZZY["inputs"]["gauss_mean_sd"])),
    ],
)
def test_curves_equal_those_of_an_independent_library(key, curve):
    """A shoulder or a width that is read another way."""
    out = response(curve, FUZZY["inputs"]["x"])
    np.testing.assert_allclose(out, FUZZY["expected"][key], rtol=0, atol=FUZZY["tolerance"]["abs"])


def test_knots_are_met_exactly():
    """0 or 1 missed by rounding: a zero that is not quite zero gets bought back."""
    curve = table([(0.1, 0.0), (0.3, 0.7), (0.7, 0.3), (1.1, 0.0), (1.3, 1.0)])
    np.testing.assert_array_equal(response(curve, [0.1, 0.3, 0.7, 1.1, 1.3, 9.0]), [0.0, 0.7, 0.3, 0.0, 1.0, 1.0])


@pytest.mark.parametrize(
    ("curve", "due"),
    [
        (trapezoid(3, 3, 8, 8), [0.0, 1.0, 1.0, 1.0, 0.0]),
        (rise(3, 3), [0.0, 1.0, 1.0, 1.0, 1.0]),
        (fall(8, 8), [1.0, 1.0, 1.0, 1.0, 0.0]),
    ],
)
def test_a_jump_has_the_higher_response_at_its_own_value(curve, due):
    """A limit that excludes the value it names, or 0/0 at a vertical shoulder."""
    below, above = np.nextafter(3, 0), np.nextafter(8, 9)
    np.testing.assert_array_equal(response(curve, [below, 3.0, 5.0, 8.0, above]), due)


def test_classes_have_their_response_and_others_none():
    """An unknown class that scores 0 (or 1) instead of being unknown."""
    curve = classes({"pavement": 1.0, "rubble": 0.1, "sand": 0.0}, {"pavement": 1, "rubble": 2, "sand": 3, "mud": 4})
    out = response(curve, np.array([0, 1, 2, 3, 4], np.uint8))
    np.testing.assert_array_equal(out, [np.nan, 1.0, 0.1, 0.0, np.nan])


@given(st.lists(VALUES, min_size=4, max_size=4).map(sorted), VALUES)
def test_responses_stay_between_0_and_1_and_follow_the_value(corners, value):
    """A response outside its range, or one that falls on the rising side."""
    out = response(trapezoid(*corners), [value, value + 0.5])
    assert ((out >= 0) & (out <= 1)).all()
    if value + 0.5 <= corners[2]:
        assert out[1] >= out[0]


@given(st.lists(VALUES, min_size=4, max_size=4, unique=True).map(sorted), VALUES)
def test_mirrored_curve_of_mirrored_value_is_the_same(corners, value):
    """Left and right shoulders that are not alike."""
    a, b, c, d = corners
    assert response(trapezoid(a, b, c, d), value) == pytest.approx(
        response(trapezoid(-d, -c, -b, -a), -value), abs=1e-9
    )


@pytest.mark.parametrize("curve", [trapezoid(1, 2, 3, 4), bell(1, 2), rise(0, 1), classes({"a": 1.0}, {"a": 1})])
def test_unknown_stays_unknown(curve):
    """NaN or infinity that gets a response."""
    assert np.isnan(response(curve, [np.nan, np.inf, -np.inf])).all()


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: trapezoid(3, 2, 5, 6), "do not fall"),
        (lambda: table([(0.0, 0.0)]), "two pairs"),
        (lambda: table([(0.0, 0.0), (1.0, 1.5)]), "0 to 1"),
        (lambda: bell(5, 0), "standard deviation > 0"),
        (lambda: rise(0, float("nan")), "finite"),
        (lambda: classes({"gravel": 0.5, "shell": 0.1}, {"sand": 1}), "'gravel'(.|\n)*'shell'"),
    ],
)
def test_curves_that_are_none_are_refused(make, said):
    """A mistyped curve that silently scores everything 0."""
    with pytest.raises(InputFault, match=said):
        make()
