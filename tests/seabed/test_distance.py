import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import distance_transform_edt

from sitekit.errors import InputFault
from sitekit.seabed.distance import distance, distance_halo

MARKS = arrays(
    np.bool_, st.tuples(st.integers(1, 30), st.integers(1, 40)), elements=st.sampled_from([False] * 9 + [True])
)


@settings(max_examples=60, deadline=None)
@given(MARKS, st.sampled_from([0.25, 1.0, 3.0]))
def test_distances_equal_an_independent_exact_transform(marks, cell):
    """A parabola dropped from the envelope."""
    if not marks.any():
        assert np.isinf(distance(marks, cell)).all()
        return
    due = (distance_transform_edt(~marks) * cell).astype(np.float32)
    np.testing.assert_array_equal(distance(marks, cell), due)


@pytest.mark.parametrize("share", [0.0002, 0.01, 0.4])
def test_large_rasters_use_both_paths_and_stay_exact(share):
    """The short path for near marks, or the long one for far marks, gone wrong."""
    marks = np.random.default_rng(5).random((300, 450)) < share
    np.testing.assert_array_equal(distance(marks, 1.0), distance_transform_edt(~marks).astype(np.float32))


def test_distances_around_one_mark_are_circles():
    """Steps counted instead of straight lines."""
    marks = np.zeros((41, 41), bool)
    marks[20, 20] = True
    y, x = np.mgrid[-20:21, -20:21]
    np.testing.assert_allclose(distance(marks, 0.5), 0.5 * np.hypot(x, y), rtol=1e-7)


@settings(max_examples=60, deadline=None)
@given(MARKS, st.sampled_from([1.0, 2.5, 6.0, 40.0]), st.integers(3, 20))
def test_blocks_that_see_the_cap_equal_the_whole(marks, greatest, side):
    """A colony beyond a block's border that is not seen."""
    whole = distance(marks, 1.0, greatest_m=greatest)
    halo = distance_halo(1.0, greatest)
    padded = np.pad(marks, halo)
    for r in range(0, marks.shape[0], side):
        for c in range(0, marks.shape[1], side):
            rows, cols = min(side, marks.shape[0] - r), min(side, marks.shape[1] - c)
            part = distance(
                padded[r : r + rows + 2 * halo, c : c + cols + 2 * halo], 1.0, greatest_m=greatest, halo=halo
            )
            assert part.tobytes() == np.ascontiguousarray(whole[r : r + rows, c : c + cols]).tobytes()


@settings(max_examples=40, deadline=None)
@given(MARKS, st.sampled_from([2.0, 7.5]))
def test_cap_replaces_what_is_farther_and_nothing_else(marks, greatest):
    """A cap that moves near distances."""
    full = distance(marks, 1.0)
    np.testing.assert_array_equal(distance(marks, 1.0, greatest_m=greatest), np.minimum(full, np.float32(greatest)))


def test_outside_the_surveyed_area_distance_is_unknown():
    """Unsurveyed bottom taken for bottom without colonies."""
    marks = np.zeros((5, 5), bool)
    marks[2, 2] = True
    surveyed = np.ones((5, 5), bool)
    surveyed[:, 4] = False
    out = distance(marks, 1.0, surveyed=surveyed)
    assert np.isnan(out[:, 4]).all()
    assert out[2, 3] == 1.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cell_m": 0.0}, "cell_m"),
        ({"greatest_m": -1.0}, "greatest_m"),
        ({"surveyed": np.ones((2, 2), bool)}, r"shape \(2, 2\)"),
        ({"halo": 3}, "halo"),
    ],
)
def test_sizes_that_cannot_be_are_refused(change, said):
    """A negative distance that becomes a result."""
    given_ = {"marked": np.zeros((5, 5), bool), "cell_m": 1.0, "greatest_m": math.inf, **change}
    marked, cell = given_.pop("marked"), given_.pop("cell_m")
    with pytest.raises(InputFault, match=said):
        distance(marked, cell, **given_)


@pytest.mark.parametrize("threads", [2, 3])
def test_threads_do_not_change_a_distance(threads):
    """Strips that forget their neighbours would break the field at their borders."""
    marks = np.random.default_rng(5).random((143, 211)) < 2e-3
    one = distance(marks, 2.0, greatest_m=300.0, halo=7)
    np.testing.assert_array_equal(distance(marks, 2.0, greatest_m=300.0, halo=7, threads=threads), one)
    few = distance(marks[:2, :3], 2.0, greatest_m=300.0, threads=threads)
    np.testing.assert_array_equal(few, distance(marks[:2, :3], 2.0, greatest_m=300.0))


@pytest.mark.parametrize("shape", [(2, 32_766), (2, 32_767), (33_000, 2), (3, 40_000)])
def test_long_rasters_in_words_of_16_and_32_bits_equal_scipy(shape):
    """From 32,767 cells on a side the longer words are used."""
    marks = np.zeros(shape, bool)
    marks[0, 0] = marks[-1, shape[1] // 3] = True
    assert np.array_equal(distance(marks, 1.0), distance_transform_edt(~marks).astype(np.float32))
