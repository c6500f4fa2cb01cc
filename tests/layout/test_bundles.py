"""Points bundled along tape lines: every unit in one plot, readable, still apart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from sitekit.errors import InputFault
from sitekit.layout.bundles import bundle_points
from sitekit.layout.readings import ROUNDING_MARGIN_M
from sitekit.layout.tape import slope_ratios


def hexagonal(columns, rows, d):
    i, j = np.meshgrid(np.arange(columns), np.arange(rows))
    return ((i + 0.5 * (j % 2)) * d).ravel(), (j * d * np.sqrt(0.75)).ravel()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 60), st.floats(1, 3))
def test_every_unit_is_in_one_bundle_within_reach_of_its_tape(seed, most, offset):
    """A unit without a plot, or farther from the tape than an arm reaches, would never be planted."""
    draw = np.random.default_rng(seed)
    x, y = hexagonal(18, 15, 1.0 + ROUNDING_MARGIN_M)
    on = draw.random(x.size) < 0.6
    x, y = x[on], y[on]
    got = bundle_points(x, y, separation_m=1.0, most_units=most, most_offset_m=offset, tape_m=10.0)
    assert got.readings.kept.all()
    sizes = np.bincount(got.bundle, minlength=len(got.lines))
    assert sizes.min() >= 1
    assert sizes.max() <= most
    assert np.abs(got.readings.offset_m).max() <= offset + 0.35
    assert (got.half_width_m <= offset + 0.35).all()
    assert got.readings.along_m.min() >= -0.35
    assert max(line.tape_m for line in got.lines) <= 10.1
    points = np.column_stack([got.readings.x_m, got.readings.y_m])
    assert cKDTree(points).query(points, k=2)[0][:, 1].min() >= 1 - 1e-9


def test_a_single_strip_of_points_needs_one_tape():
    """A plain row would be cut in pieces."""
    got = bundle_points(np.arange(20) * 1.2, np.zeros(20), separation_m=1.2)
    assert len(got.lines) == 1
    assert got.lines[0].bearing_grid_deg == 90
    assert got.lines[0].tape_m == pytest.approx(22.8)


def test_a_long_empty_stretch_begins_a_new_plot():
    """A diver would swim a bare tape to the next patch."""
    got = bundle_points([0, 1.2, 20, 21.2], [0, 0, 0, 0], separation_m=1)
    assert len(got.lines) == 2


def test_slope_makes_readings_longer_than_the_map():
    """Readings on a slope would be map distances."""
    x, y = np.arange(10) * 1.5, np.zeros(10)

    def ratios(px, py, bearing):
        return slope_ratios(px, py, 5 + 0.75 * px, bearing_grid_deg=bearing)

    got = bundle_points(x, y, separation_m=1.2, ratios=ratios)
    assert got.readings.along_m[-1] == pytest.approx(13.5 * 1.25, abs=0.06)
    assert got.readings.x_m == pytest.approx(x, abs=0.06)


def test_no_points_give_no_bundles_and_bad_settings_are_refused():
    """An empty candidate would stop the run; a tape of no length would loop."""
    assert bundle_points([], [], separation_m=1).lines == ()
    with pytest.raises(InputFault, match="numbers above 0"):
        bundle_points([0], [0], separation_m=1, tape_m=0)
