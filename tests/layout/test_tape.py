"""Tape lines: there and back, published triangles and slopes, two tapes."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.tape import (
    TapeLine,
    bottom_distance,
    direction,
    from_two_distances,
    line_between,
    slope_ratios,
    two_distances,
)

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/field_layout.json").read_text("utf-8"))}
metres = st.floats(-200, 200)


def test_two_tapes_meet_where_the_published_triangle_says():
    """A diver's two readings would give another point."""
    row = ROWS["tape-two-distance"]
    inputs, due = row["inputs"], row["expected"]
    for side, sign in (("right", 1), ("left", -1)):
        along, offset = from_two_distances(
            inputs["tape_from_A"], inputs["tape_from_B"], baseline_m=inputs["baseline_m"], side=side
        )
        assert along == pytest.approx(due["x_along"], abs=1e-12)
        assert sign * offset == pytest.approx(due["y_offset"], abs=1e-12)


@pytest.mark.parametrize("k", range(3))
def test_tape_on_a_slope_is_the_published_length(k):
    """Tape would run out on a slope."""
    row = ROWS["tape-slope"]
    got = bottom_distance(row["inputs"]["map_distance_m"], row["inputs"]["slope_deg"][k])
    assert got == pytest.approx(row["expected"]["tape_m"][k], abs=1e-12)


@pytest.mark.parametrize(
    ("bearing", "along", "offset", "x", "y"),
    [(0, 3, 1, 1, 3), (90, 3, 1, 3, -1), (180, 3, 1, -1, -3), (270, 3, 1, -3, 1), (90, 0, -2, 0, 2)],
)
def test_right_of_the_line_is_positive(bearing, along, offset, x, y):
    """Left and right would be swapped on every sheet."""
    line = TapeLine(0, 0, bearing, 10)
    got = line.to_map([along], [offset])
    assert (float(got[0][0]), float(got[1][0])) == (x, y)


@given(st.tuples(metres, metres), st.floats(0, 360), st.tuples(st.floats(1, 2), st.floats(1, 2)), metres, metres)
def test_readings_and_map_are_inverse(pin, bearing, ratios, x, y):
    """Colonies recorded by tape would land elsewhere on the map."""
    line = TapeLine(*pin, bearing, 18.0, *ratios)
    back = line.to_map(*line.to_readings([x], [y]))
    assert back[0][0] == pytest.approx(x, abs=1e-9)
    assert back[1][0] == pytest.approx(y, abs=1e-9)


@given(metres, metres, st.floats(0.5, 50), st.floats(0, 359.9))
def test_a_line_between_two_pins_ends_at_the_second(x, y, length, bearing):
    """The second pin would stand off the tape."""
    s, c = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
    line = line_between(x, y, x + length * s, y + length * c)
    assert line.second_pin == pytest.approx((x + length * s, y + length * c), abs=1e-8)
    assert line.length_m == pytest.approx(length)


@given(st.floats(0, 40), st.floats(-30, 30).filter(lambda v: abs(v) > 0.01), st.floats(1, 40))
def test_two_distances_and_back_are_inverse(along, offset, baseline):
    """Triangulated points would not return to their along and offset."""
    a, b = two_distances(along, offset, baseline_m=baseline)
    side = "right" if offset > 0 else "left"
    back = from_two_distances(a, b, baseline_m=baseline, side=side)
    assert float(back[0]) == pytest.approx(along, abs=1e-6)
    assert float(back[1]) == pytest.approx(offset, abs=1e-4)


@pytest.mark.parametrize("bearing", [0.0, 30.0, 90.0, 200.0])
def test_ratios_of_a_plane_are_those_of_its_gradient(bearing):
    """Readings on a slope would be short of the planned place."""
    x, y = np.meshgrid(np.arange(6.0), np.arange(5.0))
    depth = 4.0 + 0.4 * x - 0.3 * y
    s, c = direction(bearing)
    got = slope_ratios(x, y, depth, bearing_grid_deg=bearing)
    due = math.hypot(1, 0.4 * s - 0.3 * c), math.hypot(1, 0.4 * c + 0.3 * s)
    assert got == pytest.approx(due, abs=1e-12)
    assert slope_ratios([0, 1], [0, 1], [5, math.nan], bearing_grid_deg=0) == (1.0, 1.0)


def test_tape_length_counts_the_slope():
    """The sheet would give the map length as tape length."""
    line = TapeLine(0, 0, 0, 10, along_ratio=1.25)
    assert line.tape_m == 12.5
    assert line.second_pin == (0, 10)


def test_refusals_name_what_was_due():
    """An impossible reading would be drawn somewhere."""
    with pytest.raises(InputFault, match="two lengths that can meet"):
        from_two_distances([2, 3], [9, 3], baseline_m=10, side="left")
    with pytest.raises(InputFault, match="'left' or 'right'"):
        from_two_distances([6], [8], baseline_m=10, side="north")
    with pytest.raises(InputFault, match="above 0 m"):
        from_two_distances([6], [8], baseline_m=0, side="left")
    with pytest.raises(InputFault, match="0 to below 90"):
        bottom_distance(10, 90)
    with pytest.raises(InputFault, match="length above 0 m"):
        TapeLine(0, 0, 0, 0)
    with pytest.raises(InputFault, match="length above 0 m"):
        line_between(1, 1, 1, 1)
