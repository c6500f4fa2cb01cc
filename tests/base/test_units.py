"""Factors that are exact by definition, and words that are no units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.units import METRES_PER, SQUARE_METRES_PER, celsius_from, metres_per, square_metres_per
from sitekit.errors import InputFault


@pytest.mark.parametrize(
    ("unit", "metres"), [("ft", 12 * 0.0254), ("fathom", 72 * 0.0254), ("nmi", 1852), ("cm", 0.01), ("km", 1000)]
)
def test_lengths_follow_the_inch_of_1959_and_the_mile_of_1929(unit, metres):
    """The US survey foot, or a statute mile (international yard and pound agreement 1959: 1 inch = 25.4 mm)."""
    assert metres_per(unit) == pytest.approx(metres, rel=1e-15)


def test_areas_are_squares_of_their_lengths():
    """An acre or square foot of another foot."""
    assert square_metres_per("ft2") == pytest.approx(metres_per("ft") ** 2, rel=1e-15)
    assert square_metres_per("acre") == pytest.approx(43_560 * metres_per("ft") ** 2, rel=1e-15)
    assert square_metres_per("ha") == (100 * metres_per("m")) ** 2


@pytest.mark.parametrize(
    ("value", "unit", "due"), [(273.15, "K", 0.0), (212.0, "degF", 100.0), (-40.0, "degF", -40.0), (29.5, "degC", 29.5)]
)
def test_temperatures_of_fixed_points_come_out(value, unit, due):
    """An offset taken after the factor."""
    factor, offset = celsius_from(unit)
    assert value * factor + offset == pytest.approx(due, abs=1e-12)


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(METRES_PER)))
def test_a_length_turned_and_turned_back_is_itself(value, unit):
    """A factor of zero or the wrong way up."""
    assert value * metres_per(unit) / metres_per(unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("ask", "word", "said"),
    [
        (metres_per, "feet", r"unit of length: 'feet'; due: m, cm, km, ft, fathom, nmi"),
        (metres_per, "fathoms", "Did you mean 'fathom'"),
        (metres_per, "M", "Did you mean 'm'"),
        (square_metres_per, "acres", "unit of area: 'acres'.*Did you mean 'acre'"),
        (celsius_from, "C", "unit of temperature: 'C'; due: degC, K, degF"),
    ],
)
def test_an_unknown_word_is_refused_with_the_nearest(ask, word, said):
    """A guessed unit."""
    with pytest.raises(InputFault, match=said):
        ask(word)


def test_every_unit_is_longer_than_nothing():
    """A table with a hole."""
    assert all(v > 0 for v in (*METRES_PER.values(), *SQUARE_METRES_PER.values()))
