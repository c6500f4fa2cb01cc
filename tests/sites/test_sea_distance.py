"""Routes by sea: exact in open water, around corners as computed by hand, never across land."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import dijkstra

from sitekit.errors import InputFault
from sitekit.sites.sea_distance import sea_routes


def test_around_an_island_as_computed_by_hand() -> None:
    """Island of rows 10–30, columns 20–40; from (20, 5) to (20, 55): two slopes of √(11² + 15²) and 20 along its north.

    The nearest water centres beside its corners are (9, 20) and (9, 40); cells of 10 m: 10·(2·18.601 + 20) = 572.02 m.
    """
    water = np.ones((41, 61), bool)
    water[10:31, 20:41] = False
    found = sea_routes(water, 10.0, (20.0, 5.0), [[20.0, 55.0]])
    assert found.length_m[0] == pytest.approx(10 * (2 * math.hypot(11, 15) + 20), abs=1e-9)


def test_through_a_gap_in_a_wall() -> None:
    """A wall with one gap at (3, 10): from (3, 0) straight through to (3, 20)."""
    water = np.ones((21, 21), bool)
    water[:, 10] = False
    water[3, 10] = True
    found = sea_routes(water, 2.0, (3.0, 0.0), [[3.0, 20.0], [20.0, 20.0]])
    assert found.length_m[0] == pytest.approx(40.0)
    # by hand: 11 columns to the first clear column behind the gap, then the slope down to the corner
    assert found.length_m[1] == pytest.approx(2 * (11 + math.hypot(17, 9)), rel=0.01)


cells = st.tuples(st.integers(0, 9), st.integers(0, 11))


@given(cells, cells)
def test_open_water_is_the_straight_line(one: tuple[int, int], other: tuple[int, int]) -> None:
    """Steps of a grid make detours; without land there is none."""
    found = sea_routes(np.ones((10, 12), bool), 5.0, one, [other])
    assert found.length_m[0] == pytest.approx(5.0 * math.dist(one, other), abs=1e-9)


def crossing(water: Any, one: Any, other: Any, half: float) -> Any:
    """Whether straight lines between cell centres meet a square of land of a half side in cells, by shapely."""
    lines = shapely.linestrings(np.stack([one, other], axis=1).astype(float))
    at = np.argwhere(~water)
    land = shapely.union_all(shapely.box(*(at - half).T, *(at + half).T))
    shapely.prepare(land)
    return shapely.intersects(land, lines)


@settings(max_examples=60)
@given(st.lists(cells, min_size=1, max_size=25), cells, cells)
def test_routes_are_real_and_nearly_the_shortest(land: Any, one: Any, other: Any) -> None:
    """A route across land is shorter than the truth; a witness that sees from every cell to every cell knows the truth."""
    water = np.ones((10, 12), bool)
    for row, col in land:
        water[row, col] = False
    water[one] = water[other] = True
    found = sea_routes(water, 1.0, one, [other])
    if not np.isfinite(found.length_m[0]):
        return
    assert not crossing(water, found.lines[0][:-1], found.lines[0][1:], 0.49).any()
    wet = np.argwhere(water)
    apart = np.hypot(*(wet[:, None, :] - wet[None, :, :]).transpose(2, 0, 1))
    i, j = np.triu_indices(len(wet), 1)
    clear = ~crossing(water, wet[i], wet[j], 0.501)  # nor does the route squeeze through corners
    sees = np.zeros(apart.shape)
    sees[i[clear], j[clear]] = apart[i[clear], j[clear]]
    truth = dijkstra(sees, directed=False, indices=int(np.flatnonzero((wet == one).all(axis=1))[0]))
    shortest = truth[np.flatnonzero((wet == other).all(axis=1))[0]]
    assert shortest - 1e-9 <= found.length_m[0] <= 1.08 * shortest + 1e-9


def test_a_place_on_land_is_moved_and_said() -> None:
    """A harbour drawn on the quay starts at the water beside it."""
    water = np.ones((5, 10), bool)
    water[:, :3] = False
    found = sea_routes(water, 10.0, (2.0, 8.0), [[2.0, 1.0]])
    assert found.moved_m[0] == pytest.approx(20.0)
    assert found.length_m[0] == pytest.approx(50.0)


def test_no_water_between_is_infinite() -> None:
    """A lagoon without a pass cannot be reached by boat."""
    water = np.ones((5, 9), bool)
    water[:, 4] = False
    assert math.isinf(sea_routes(water, 10.0, (2.0, 8.0), [[2.0, 1.0]]).length_m[0])


def test_no_water_at_all_is_refused() -> None:
    """Depths with a wrong sign make everything land."""
    with pytest.raises(InputFault, match="no cell of water"):
        sea_routes(np.zeros((3, 3), bool), 1.0, (0, 0), [[1, 1]])
    with pytest.raises(InputFault, match="outside the cells"):
        sea_routes(np.ones((3, 3), bool), 1.0, (0, 0), [[1, 7]])
