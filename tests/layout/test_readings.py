"""Readings of 0.1 m keep every separation, on any bearing and slope."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from sitekit.layout.readings import READING_M, ROUNDING_MARGIN_M, rounded_readings
from sitekit.layout.tape import TapeLine


def hexagonal(columns, rows, d):
    i, j = np.meshgrid(np.arange(columns), np.arange(rows))
    return ((i + 0.5 * (j % 2)) * d).ravel(), (j * d * np.sqrt(0.75)).ravel()


def nearest(x, y):
    return cKDTree(np.column_stack([x, y])).query(np.column_stack([x, y]), k=2)[0][:, 1].min()


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 360), st.floats(1, 1.4), st.floats(1, 1.4), st.floats(0.5, 3))
def test_points_planned_a_margin_wider_are_all_kept(bearing, along_ratio, offset_ratio, d):
    """Rounding would cost colonies that the plan had room for."""
    x, y = hexagonal(12, 10, d + ROUNDING_MARGIN_M)
    line = TapeLine(3.3, -2.7, bearing, 10, along_ratio, offset_ratio)
    got = rounded_readings([line], np.zeros(x.size, int), x, y, separation_m=d)
    assert got.kept.all()
    assert nearest(got.x_m, got.y_m) >= d * (1 - 1e-9)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 360), st.floats(0, 360), st.floats(0.8, 2))
def test_separation_holds_for_every_kept_pair_across_lines(first, second, d):
    """Two lines rounded on their own would bring neighbours too close."""
    x, y = hexagonal(12, 10, d)
    line_of = (x > x.mean()).astype(int)
    lines = [TapeLine(0.05, 0.02, first, 10), TapeLine(x.mean(), 0.37, second, 10, 1.1)]
    got = rounded_readings(lines, line_of, x, y, separation_m=d)
    assert nearest(got.x_m[got.kept], got.y_m[got.kept]) >= d * (1 - 1e-9)
    assert np.abs(got.x_m - x).max() < 0.6
    assert np.allclose(got.along_m / READING_M, np.round(got.along_m / READING_M))
    for k, line in enumerate(lines):
        mine = line_of == k
        back = line.to_map(got.along_m[mine], got.offset_m[mine])
        assert back[0] == pytest.approx(got.x_m[mine], abs=1e-9)
        assert back[1] == pytest.approx(got.y_m[mine], abs=1e-9)


def test_readings_on_multiples_of_the_step_do_not_move():
    """A plan already in steps would be shifted for nothing."""
    x, y = np.meshgrid(np.arange(5) * 2.0, np.arange(3) * 1.0)
    got = rounded_readings([TapeLine(0, 0, 0, 10)], np.zeros(15, int), x.ravel(), y.ravel(), separation_m=1.0)
    assert got.kept.all()
    assert got.along_m.tolist() == y.ravel().tolist()
    assert got.offset_m.tolist() == x.ravel().tolist()


def test_a_reading_off_the_allowed_bottom_is_moved_back_or_given_up():
    """Rounding would push a colony onto sand."""
    line = TapeLine(0, 0, 90, 10)
    inside = rounded_readings([line], [0], [1.04], [0.0], separation_m=1, stands=lambda x, y: x >= 1.02)
    assert inside.kept.all()
    assert inside.x_m[0] == pytest.approx(1.1)
    nowhere = rounded_readings([line], [0], [1.04], [0.0], separation_m=1, stands=lambda x, y: x > 5)
    assert not nowhere.kept.any()


def test_no_points_give_no_readings():
    """An empty plot would stop the run."""
    assert rounded_readings([], [], [], [], separation_m=1).kept.size == 0
