"""Capacity: what is found beside what is possible, at two separations."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from sitekit.layout.capacity import Capacity, capacity

masks = hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=12))


def room(allowed: NDArray[np.bool_], separation: float, planned: float) -> Capacity:
    return capacity(allowed, west_m=0.0, north_m=0.0, cell_m=0.5, separation_m=separation, planned_separation_m=planned)


@settings(max_examples=40, deadline=None)
@given(masks, st.floats(0.4, 2.0), st.floats(0.0, 0.5))
def test_capacity_stays_within_its_bound_and_never_gains_by_a_tolerance(
    allowed: NDArray[np.bool_], separation: float, tolerance: float
) -> None:
    """More units at a wider separation, or above the bound, would be printed as fact."""
    found = room(allowed, separation, separation + tolerance)
    assert found.capacity <= found.bound
    assert found.capacity_at_d <= found.bound_at_d
    assert found.capacity <= found.capacity_at_d
    assert 0.0 <= found.least_share <= 1.0


def test_a_patch_smaller_than_the_separation_holds_one() -> None:
    """Closed form: one cell holds one unit at both separations, and the share says so."""
    found = room(np.ones((1, 1), bool), 1.0, 1.2)
    assert (found.capacity, found.bound, found.capacity_at_d, found.bound_at_d) == (1, 1, 1, 1)
    assert found.least_share == pytest.approx(1.0)


def test_no_bottom_holds_nothing() -> None:
    """An empty candidate must not divide by zero."""
    found = room(np.zeros((4, 4), bool), 1.0, 1.2)
    assert (found.capacity, found.bound, found.least_share) == (0, 0, 1.0)


def test_a_margin_for_rounding_lowers_what_is_laid_and_not_the_bound():
    """A capacity that forgets what rounding to the tape costs promises a fifth more than place can lay."""
    allowed = np.ones((60, 60), bool)
    common = {"west_m": 0.0, "north_m": 0.0, "cell_m": 0.5, "separation_m": 1.0, "planned_separation_m": 1.2}
    plain, wide = capacity(allowed, **common), capacity(allowed, margin_m=0.15, **common)
    assert wide.capacity < 0.9 * plain.capacity
    assert wide.bound == plain.bound
    at_wide = capacity(allowed, **{**common, "planned_separation_m": 1.35})
    assert wide.capacity == at_wide.capacity
