"""What a wind meets on its way, against the compiled fetch, closed forms and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.seabed.fetch import directions, fetch, fetch_depth
from sitekit.seabed.way import Surroundings, ways
from tests.seabed.exact_rays import archipelago


@settings(max_examples=10)
@given(st.integers(0, 200), st.floats(-3.0, 3.0))
def test_ways_and_compiled_fetch_are_the_same_numbers(seed, convergence):
    """Two programs for one line would part at corners, borders or gaps."""
    draw = np.random.default_rng(seed)
    codes = archipelago(30, seed).astype(np.uint8)
    codes[draw.random(codes.shape) < 0.02] = 2
    depth = np.where(codes == 1, -1.0, 2.0 + draw.random(codes.shape))
    depth[draw.random(codes.shape) < 0.05] = np.nan
    bearings = np.append(directions(16), 123.4)
    found = ways(Surroundings(codes, depth, 7.0), bearings, convergence_deg=convergence)
    length, is_open = fetch(codes, 7.0, bearings, convergence_deg=convergence)
    np.testing.assert_array_equal(found.fetch_m, length)
    np.testing.assert_array_equal(found.open, is_open)
    for k in (0, 3, 16):
        mean = fetch_depth(codes, depth, 7.0, float(bearings[k]), convergence_deg=convergence)
        np.testing.assert_allclose(found.mean_m[k], mean, rtol=1e-6)


def test_the_shallowest_place_is_that_of_the_way_and_leaves_the_cell_itself_out():
    """A crest behind the cell, or the cell's own depth, would cut the waves."""
    depth = np.array([[5.0, 1.0, 4.0, 3.0, 0.5]])
    found = ways(Surroundings(np.zeros((1, 5), np.uint8), depth, 10.0), [270.0, 90.0])
    np.testing.assert_array_equal(found.sill_m[0, 0], [np.inf, 5.0, 1.0, 1.0, 1.0])
    np.testing.assert_array_equal(found.since_m[0, 0], [0.0, 10.0, 10.0, 20.0, 30.0])
    np.testing.assert_array_equal(found.sill_m[1, 0], [0.5, 0.5, 0.5, 0.5, np.inf])


def test_land_far_out_closes_an_open_way_at_its_distance():
    """An island beyond the survey would be left out, or stand at the survey's border."""
    near = np.zeros((10, 10), np.uint8)
    far = np.zeros((40, 40), np.uint8)
    far[:, :5] = 1  # land 5 far cells wide at the western end
    around = Surroundings(near, np.full(near.shape, 5.0), 10.0, far, 50.0, (20.0, 19.0))
    found = ways(around, [270.0, 90.0])
    exact = (19.0 - 5.0) * 50.0 + (np.arange(10) + 0.5) * 10.0
    assert np.abs(found.fetch_m[0, 5] - exact).max() <= 25.0
    assert not found.open[0].any()
    assert found.open[1].all()


def test_near_land_goes_before_far_land():
    """A survey's own islet would vanish under a coarse coastline."""
    near = np.zeros((1, 10), np.uint8)
    near[0, 0] = 1
    far = np.ones((5, 5), np.uint8)
    found = ways(Surroundings(near, np.full(near.shape, 5.0), 10.0, far, 50.0, (2.0, 2.0)), [270.0])
    np.testing.assert_allclose(found.fetch_m[0, 0, 1:], np.arange(9) * 10.0 + 5.0)


def test_impossible_surroundings_are_refused():
    """They would give the fetch of another place."""
    with pytest.raises(InputFault, match=r"depth_m: \(1, 2\) cells"):
        Surroundings(np.zeros((1, 3), np.uint8), np.ones((1, 2)), 10.0)
    with pytest.raises(InputFault, match=r"far_cell_m: 0\.0 m"):
        Surroundings(np.zeros((1, 3), np.uint8), np.ones((1, 3)), 10.0, far=np.zeros((3, 3), np.uint8))
    with pytest.raises(InputFault, match="0 to 360 degrees"):
        ways(Surroundings(np.zeros((1, 3), np.uint8), np.ones((1, 3)), 10.0), [400.0])
