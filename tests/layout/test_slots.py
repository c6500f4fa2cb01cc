"""Slots inside a plot: the published array, separation on slopes, bad ones skipped but counted."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.slots import array_pattern, circle_pattern, free_pattern, slots_of
from sitekit.layout.tape import TapeLine

TRADE = {r["id"]: r for r in json.loads(shared_file("reference/trade_layout.json").read_text("utf-8"))}


def closest(x, y):
    points = np.column_stack([x, y])
    return cKDTree(points).query(points, k=2)[0][:, 1].min() if len(points) > 1 else math.inf


@pytest.mark.parametrize(("along", "offset", "footprint"), [(2.0, 1.0, (18.0, 4.0)), (1.0, 2.0, (9.0, 8.0))])
def test_both_readings_of_the_published_array_have_its_footprint(along, offset, footprint):
    """TV-069: 9 × 8 m or 18 × 4 m, 50 colonies per array."""
    assert f"{footprint[0]:.0f} m x {footprint[1]:.0f} m" in TRADE["TV-069"]["value"]
    got = array_pattern(10, 5, along_spacing_m=along, offset_spacing_m=offset)
    assert got.along_m.size == 50
    assert (np.ptp(got.along_m), np.ptp(got.offset_m)) == pytest.approx(footprint)
    assert np.abs(got.offset_m).max() == pytest.approx(footprint[1] / 2)
    if along == 2.0:
        assert np.abs(got.offset_m).max() <= 2.0


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 20), st.floats(0, 8), st.floats(0.3, 3))
def test_free_slots_keep_the_separation_and_stay_inside(length, width, d):
    """Staggered rows would stand too close, or off the plot."""
    got = free_pattern(length, width, separation_m=d)
    assert closest(got.along_m, got.offset_m) >= d * (1 - 1e-9)
    assert got.along_m.min() >= 0
    assert got.along_m.max() <= length + 1e-6
    assert np.ptp(got.offset_m) <= width + 1e-6
    tenth = math.ceil(d * 10 - 1e-6) / 10
    assert got.along_m.size >= (math.floor(length / tenth + 1e-6) + 1) * (math.floor(width / tenth + 1e-6) + 1)


def test_staggered_rows_hold_more_than_square_ones():
    """A 20 × 20 m plot at 1 m holds 441 in squares and over 450 staggered."""
    assert free_pattern(20, 20, separation_m=1).along_m.size > 441


@settings(max_examples=50, deadline=None)
@given(st.floats(0.5, 8), st.floats(0.3, 3))
def test_circle_slots_keep_the_separation_at_whole_degrees(radius, d):
    """Slots on rings would stand too close once the angle is rounded."""
    got = circle_pattern(radius, separation_m=d)
    assert (got.angle_deg == np.round(got.angle_deg)).all()
    assert got.along_m.max(initial=0) <= radius + 1e-6
    turn = np.radians(got.angle_deg)
    assert closest(got.along_m * np.cos(turn), got.along_m * np.sin(turn)) >= d * (1 - 1e-9)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 180), st.floats(1, 1.4), st.floats(1, 1.4), st.sampled_from([1.0, 1.2, 2.0]))
def test_separation_on_the_map_holds_on_any_slope(bearing, along_ratio, offset_ratio, d):
    """Readings along a slope would bring colonies too close on the map."""
    line = TapeLine(10, 20, bearing, 18, along_ratio, offset_ratio)
    got = slots_of(free_pattern(18, 4, separation_m=d), line, separation_m=d)
    assert closest(got.x_m, got.y_m) >= d * (1 - 1e-9)
    assert np.allclose(got.along_m * 10, np.round(got.along_m * 10))
    assert got.along_m[got.usable].max() <= line.tape_m + 1e-6
    back = line.to_readings(got.x_m, got.y_m)
    assert back[0] == pytest.approx(got.along_m, abs=1e-9)
    assert back[1] == pytest.approx(got.offset_m, abs=1e-9)


def test_bad_cells_are_skipped_and_keep_their_number():
    """A diver would lose count after a patch of sand."""
    line = TapeLine(0, 0, 90, 18)
    pattern = array_pattern(10, 5, along_spacing_m=2, offset_spacing_m=1)
    got = slots_of(pattern, line, stands=lambda x, y: np.abs(x - 8) > 0.5)
    assert got.number.tolist() == list(range(1, 51))
    assert (~got.usable).sum() == 5
    assert got.number[~got.usable].tolist() == [21, 22, 23, 24, 25]


def test_a_circle_on_a_slope_reads_the_longer_way():
    """The radius line would end short of the slot."""
    got = slots_of(circle_pattern(3, separation_m=1), TapeLine(5, 5, 0, 3, along_ratio=1.25))
    up = (got.angle_deg == 0) & (np.hypot(got.x_m - 5, got.y_m - 5) > 2.9)
    assert got.along_m[up] == pytest.approx([3.8])
    assert (got.offset_m == 0).all()


def test_refusals_name_what_was_due():
    """A separation of nothing would fill memory."""
    with pytest.raises(InputFault, match=r"at 0\.1 m or more"):
        array_pattern(0, 5, along_spacing_m=1, offset_spacing_m=1)
    with pytest.raises(InputFault, match=r"separation from 0\.1 m"):
        free_pattern(10, 4, separation_m=0)
    with pytest.raises(InputFault, match=r"separation from 0\.1 m"):
        circle_pattern(3, separation_m=0)
