import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.seabed.windows import disc_half_widths, disc_size, ring_sums


@given(st.floats(0, 60), st.booleans())
def test_disc_holds_the_cells_within_its_radius(radius, open_disc):
    """A disc that is a square, or misses the cells on its rim."""
    widths = disc_half_widths(radius, open_disc=open_disc)
    y, x = np.mgrid[-61:62, -61:62]
    square = radius * radius
    inside = (x * x + y * y < square * (1 - 1e-9)) if open_disc else (x * x + y * y <= square * (1 + 1e-9))
    assert disc_size(widths) == inside.sum()


def test_radii_from_divisions_count_their_rim():
    """0.6 / 0.2 taken for two cells."""
    assert len(disc_half_widths(0.6 / 0.2)) == 4
    assert disc_size(disc_half_widths(3.0)) - disc_size(disc_half_widths(1.0, open_disc=True)) == 28


@pytest.mark.parametrize("kind", [np.int32, np.int64])
@settings(max_examples=20, deadline=None)
@given(inner=st.floats(0, 4), more=st.floats(0.5, 5), seed=st.integers(0, 99))
def test_ring_sums_equal_sums_cell_by_cell(kind, inner, more, seed):
    """A row of the ring taken twice or not at all."""
    outer = disc_half_widths(inner + more)
    hole = disc_half_widths(inner, open_disc=True)
    reach = len(outer) - 1
    values = np.random.default_rng(seed).integers(-1000, 1000, (5 + 2 * reach, 7 + 2 * reach)).astype(kind)
    prefix = np.zeros((values.shape[0], values.shape[1] + 1), kind)
    np.cumsum(values, axis=1, out=prefix[:, 1:])
    out = np.empty((5, 7), kind)
    ring_sums(prefix, outer, hole, out)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    far = x * x + y * y
    ring = (far <= (inner + more) ** 2 * (1 + 1e-9)) & ~(far < inner**2 * (1 - 1e-9))
    due = [[values[i : i + 2 * reach + 1, j : j + 2 * reach + 1][ring].sum() for j in range(7)] for i in range(5)]
    np.testing.assert_array_equal(out, due)


def test_running_sums_may_overflow_as_long_as_the_window_fits():
    """A wrong sum far east in a wide raster."""
    values = np.full((3, 3000), 2_000_000, np.int32)
    prefix = np.zeros((3, 3001), np.int32)
    with np.errstate(over="ignore"):
        np.cumsum(values, axis=1, out=prefix[:, 1:], dtype=np.int32)
    assert (prefix < 0).any()
    out = np.empty((1, 2998), np.int32)
    ring_sums(prefix, disc_half_widths(1.0), np.empty(0, np.int64), out)
    assert (out == 10_000_000).all()
