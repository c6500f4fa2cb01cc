"""Several species together: every pair keeps its distance, and the plan is never worse than one species at a time."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sitekit.errors import InputFault
from sitekit.layout.mixed import Mixed, place_mixed
from sitekit.layout.spacing import place

CELL, WEST, NORTH = 0.5, 500_000.0, 2_000_000.0


def put(allowed: NDArray[np.bool_], distances: Any, wanted: list[int | None], **more: Any) -> Mixed:
    score = more.pop("score", np.ones(allowed.shape, np.float32))
    where = {"west_m": WEST, "north_m": NORTH, "cell_m": CELL}
    return place_mixed(allowed, score, separations_m=distances, wanted=wanted, **where, **more)


def closest(found: Mixed, one: int, other: int) -> float:
    """Least distance of two kinds, by all pairs."""
    a = np.flatnonzero(found.kind == one)
    b = np.flatnonzero(found.kind == other)
    dx = found.easting[a][:, None] - found.easting[b][None, :]
    dy = found.northing[a][:, None] - found.northing[b][None, :]
    away = np.hypot(dx, dy)
    if one == other:
        away[np.arange(a.size), np.arange(a.size)] = np.inf
    return float(away.min(initial=np.inf))


@settings(max_examples=10)
@given(
    seed=st.integers(0, 10_000),
    own=st.tuples(st.floats(0.6, 2.5), st.floats(0.6, 2.5)),
    between=st.floats(0.3, 3.0),
    wanted=st.tuples(st.integers(0, 15) | st.none(), st.integers(0, 15)),
    effort=st.sampled_from([0, 60]),
)
def test_every_pair_of_units_keeps_the_distance_of_its_species(
    seed: int, own: tuple[float, float], between: float, wanted: tuple[int | None, int], effort: int
) -> None:
    """A pair too close, a unit off its bottom or one too many would be planted by a diver."""
    draw = np.random.default_rng(seed)
    allowed = draw.random((2, 10, 12)) < 0.7
    distances = np.array([[own[0], between], [between, own[1]]])
    found = put(allowed, distances, list(wanted), effort=effort, score=draw.random(allowed.shape).astype(np.float32))
    for one, other in ((0, 0), (0, 1), (1, 1)):
        assert closest(found, one, other) >= distances[one, other]
    row = np.floor((NORTH - found.northing) / CELL).astype(int)
    col = np.floor((found.easting - WEST) / CELL).astype(int)
    assert allowed[found.kind, row, col].all()
    for kind, most in enumerate(wanted):
        assert most is None or (found.kind == kind).sum() <= most
    assert found.kind.size >= found.one_at_a_time


def test_two_species_that_shun_each_other_get_territories() -> None:
    """Laid one at a time, the first scatters over all the bottom and leaves the second nothing."""
    allowed = np.ones((2, 40, 40), bool)
    score = np.random.default_rng(3).random(allowed.shape).astype(np.float32)
    found = put(allowed, [[1.2, 3.0], [3.0, 1.2]], [100, 100], score=score)
    assert found.kind.size > 1.2 * found.one_at_a_time


def test_species_of_one_separation_share_a_common_layout_by_score() -> None:
    """With one distance for all, each place of the layout should go to the species that likes it better."""
    allowed = np.ones((2, 30, 30), bool)
    score = np.zeros(allowed.shape, np.float32)
    score[0, :, :15], score[1, :, 15:] = 1.0, 1.0
    found = put(allowed, np.full((2, 2), 1.2), [None, None], score=score)
    assert found.score.mean() > 0.95
    assert min(np.bincount(found.kind, minlength=2)) > 60


def test_one_species_alone_is_laid_as_ever() -> None:
    """A second method for one species would give two answers to one question."""
    allowed = np.random.default_rng(1).random((20, 20)) < 0.6
    score = np.ones(allowed.shape, np.float32)
    alone = place(allowed, score, west_m=WEST, north_m=NORTH, cell_m=CELL, separation_m=1.2)
    found = put(allowed[None], [[1.2]], [None])
    assert np.array_equal(np.sort(found.easting), np.sort(alone.easting))
    assert np.array_equal(np.sort(found.northing), np.sort(alone.northing))


def test_renewal_makes_room_for_more_units() -> None:
    """Steps that gain nothing where a species is short would be wasted time."""
    draw = np.random.default_rng(8)
    allowed = draw.random((2, 30, 30)) < 0.6
    first = put(allowed, [[1.5, 1.2], [1.2, 1.0]], [60, 120])
    renewed = put(allowed, [[1.5, 1.2], [1.2, 1.0]], [60, 120], effort=2_000)
    assert renewed.kind.size > first.kind.size


def test_living_colonies_are_kept_clear_of() -> None:
    """A unit of any species inside a clearance would harm a living colony."""
    allowed = np.ones((2, 20, 20), bool)
    centre = (WEST + 5.0, NORTH - 5.0)
    found = put(allowed, [[1.0, 1.0], [1.0, 1.5]], [None, 20], clear_points=[centre], clear_radii_m=[2.5], effort=300)
    assert np.hypot(found.easting - centre[0], found.northing - centre[1]).min() >= 2.5


def test_the_same_seed_gives_the_same_units() -> None:
    """A plan that changes without a reason cannot be checked."""
    allowed = np.random.default_rng(2).random((2, 20, 20)) < 0.7
    one, two = (put(allowed, [[1.2, 1.0], [1.0, 1.5]], [30, 30], effort=200, seed=5) for _ in range(2))
    assert np.array_equal(one.easting, two.easting)
    assert np.array_equal(one.kind, two.kind)


@pytest.mark.parametrize("distances", [[[1.0, 2.0], [1.5, 1.0]], [[1.0, 0.0], [0.0, 1.0]], [[1.0]]])
def test_distances_that_are_not_a_table_of_pairs_are_refused(distances: list[list[float]]) -> None:
    """A table read one way round only would plan two distances for one pair."""
    with pytest.raises(InputFault, match="separations_m"):
        put(np.ones((2, 4, 4), bool), distances, [1, 1])
