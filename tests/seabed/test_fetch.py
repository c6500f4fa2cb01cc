"""Fetch against exact rays, closed forms and symmetries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.errors import InputFault
from sitekit.seabed.fetch import LAND, UNKNOWN, directions, fetch, fetch_depth, surface_from_depth
from tests.bench.fetch import main as bench
from tests.seabed.exact_rays import archipelago, exact_fetch

masks = arrays(np.bool_, st.tuples(st.integers(2, 12), st.integers(2, 12)), elements=st.booleans())


def test_a_straight_shore_gives_the_distance_to_it():
    """A constant bias of half a cell, or a swapped direction, would show."""
    land = np.zeros((9, 30), dtype=bool)
    land[:, 0] = True
    length, is_open = fetch(land, 10.0, [270.0, 90.0, 315.0])
    columns = np.arange(1, 30)
    np.testing.assert_allclose(length[0, 4, 1:], columns * 10.0 - 5.0)
    assert not is_open[0, :, 1:].any()
    assert is_open[1, :, 1:].all()
    np.testing.assert_allclose(length[2, 8, 1:9], (columns[:8] - 0.5) * 10.0 * np.sqrt(2.0), rtol=1e-6)


@settings(max_examples=60)
@given(masks, st.integers(0, 15))
def test_turning_the_grid_turns_the_fetch(land, k):
    """A scan that treats rows and columns differently would favour some winds."""
    bearing = directions(16)[k]
    before, before_open = fetch(land, 5.0, [bearing])
    after, after_open = fetch(np.rot90(land), 5.0, [(bearing - 90.0) % 360.0])
    np.testing.assert_allclose(np.rot90(before[0]), after[0], rtol=1e-6)
    np.testing.assert_array_equal(np.rot90(before_open[0]), after_open[0])


@settings(max_examples=60)
@given(masks, st.floats(0.0, 360.0))
def test_a_mirrored_grid_has_mirrored_fetch(land, bearing):
    """Rounding lines one way only would break this."""
    before, _ = fetch(land, 1.0, [bearing])
    after, _ = fetch(land[:, ::-1], 1.0, [(360.0 - bearing) % 360.0])
    np.testing.assert_allclose(before[0][:, ::-1], after[0], rtol=1e-6)


@settings(max_examples=60)
@given(masks, st.floats(0.0, 360.0), st.floats(0.5, 90.0))
def test_fetch_scales_with_the_cell(land, bearing, cell):
    """A length forgotten in the step would show."""
    one, one_open = fetch(land, 1.0, [bearing])
    many, many_open = fetch(land, cell, [bearing])
    np.testing.assert_allclose(many, one * np.float32(cell), rtol=1e-5)
    np.testing.assert_array_equal(one_open, many_open)


@settings(max_examples=60)
@given(masks, st.floats(0.0, 360.0), st.data())
def test_more_land_never_lengthens_fetch(land, bearing, data):
    """A line that reads the wrong neighbour would."""
    more = land | data.draw(arrays(np.bool_, land.shape, elements=st.booleans()))
    before, _ = fetch(land, 1.0, [bearing])
    after, _ = fetch(more, 1.0, [bearing])
    water = ~more
    assert (after[0][water] <= before[0][water] + 1e-6).all()


@pytest.mark.parametrize("seed", [1, 2])
def test_mean_over_directions_is_within_one_and_a_half_percent_of_exact_rays(seed):
    """The promise of the method, at the size it is made for; leaks past headlands would break it."""
    land = archipelago(2000, seed)
    rows, cols = (np.ascontiguousarray(a[::499]) for a in np.nonzero(~land))
    bearings = directions(16)
    mine, _ = fetch(land, 10.0, bearings)
    exact = np.array([exact_fetch(land, 10.0, b, rows, cols)[0] for b in bearings]).mean(0)
    error = np.abs(mine[:, rows, cols].mean(0) - exact) / exact
    assert error.mean() <= 0.015


def test_land_cells_that_touch_at_a_corner_stop_a_ray():
    """A diagonal spit would let waves through."""
    land = np.eye(12, dtype=bool)
    length, is_open = fetch(land, 1.0, [45.0])
    below = np.tril(np.ones((12, 12), dtype=bool), -1)
    assert not is_open[0][below].any()
    assert np.isfinite(length[0][below]).all()


def test_unknown_cells_end_a_ray_as_open_not_as_shore():
    """A survey gap would read as shelter."""
    length, is_open = fetch(np.array([[LAND, UNKNOWN, 0, 0]]), 10.0, [270.0])
    assert is_open[0, 0, 2:].all()
    assert np.isnan(length[0, 0, :2]).all()


def test_convergence_turns_true_directions_to_the_grid():
    """The wrong sign would turn the wind away from the shore."""
    land = np.zeros((40, 40), dtype=bool)
    land[:, 0] = True
    turned, _ = fetch(land, 1.0, [272.0], convergence_deg=2.0)
    straight, _ = fetch(land, 1.0, [270.0])
    np.testing.assert_array_equal(turned, straight)


def test_mean_depth_of_a_plane_is_that_of_the_middle_of_the_line():
    """Depth of the cell alone, or land in the mean, would show."""
    depth = np.tile(np.arange(0.0, 20.0), (3, 1))
    mean = fetch_depth(surface_from_depth(depth, gaps="unknown"), depth, 5.0, 270.0)
    np.testing.assert_allclose(mean[1, 1:], (1 + np.arange(1, 20)) / 2)


@given(st.floats(1.0, 50.0), st.floats(0.0, 360.0))
def test_mean_depth_over_a_flat_bottom_is_the_depth(depth, bearing):
    """Sums and counts that part ways would show."""
    land = archipelago(24, 3)
    mean = fetch_depth(land, np.where(land, -1.0, depth), 5.0, bearing)
    np.testing.assert_allclose(mean[~land], depth)


def test_gaps_in_depth_must_be_named():
    """A silent guess would make deep water land."""
    with pytest.raises(InputFault, match="'deep'; due: land, water or unknown"):
        surface_from_depth([[1.0]], gaps="deep")


@given(st.floats(-5, 5))
def test_the_shore_depth_parts_land_from_water(shore):
    """Land at the limit itself belongs to the land."""
    depth = np.array([[shore - 0.5, shore, shore + 0.5]])
    np.testing.assert_array_equal(surface_from_depth(depth, shore_depth_m=shore, gaps="land"), [[1, 1, 0]])


def test_all_faults_of_a_call_are_told_at_once():
    """A user would correct one fault per run."""
    with pytest.raises(InputFault) as caught:
        fetch(np.array([[0, 7]]), -1.0, [370.0])
    assert len(caught.value.faults) == 3
    assert "370.0" in str(caught.value)


@pytest.mark.parametrize("count", [7, 37])
def test_too_few_or_too_many_directions_are_refused(count):
    """Seven directions miss headlands; forty are a slip."""
    with pytest.raises(InputFault, match=f"{count}; due: 8 to 36 directions"):
        directions(count)


@given(st.integers(8, 36))
def test_directions_are_even_and_start_north(count):
    """A doubled north would count twice."""
    d = directions(count)
    assert d[0] == 0.0
    np.testing.assert_allclose(np.diff(d), 360.0 / count)


@pytest.mark.bench
def test_bench_reaches_its_error():
    """The bench would go stale unseen."""
    assert bench(True)["reached"]
