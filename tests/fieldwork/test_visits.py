"""Boat orders against all orders; names a receiver keeps; bearings to five degrees."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.visits import boat_order, receiver_names, rounded_bearing

PLACES = st.lists(st.tuples(st.integers(0, 900), st.integers(0, 900)), min_size=2, max_size=7, unique=True)


def length(places: list[tuple[int, int]], order: list[int], start: tuple[float, float]) -> float:
    way = np.array([start, *(places[k] for k in order)], float)
    return float(np.hypot(*np.diff(way, axis=0).T).sum())


@settings(max_examples=30)
@given(places=PLACES)
def test_up_to_ten_stops_no_order_is_shorter(places: list[tuple[int, int]]) -> None:
    """Exact means exact: all orders are tried."""
    x, y = np.array(places, float).T
    order = boat_order(x, y, start=(-50.0, 30.0)).tolist()
    assert sorted(order) == list(range(len(places)))
    best = min(length(places, list(p), (-50.0, 30.0)) for p in itertools.permutations(range(len(places))))
    assert length(places, order, (-50.0, 30.0)) == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("n", [0, 1, 10, 11, 30])
def test_every_place_is_visited_once(n: int) -> None:
    """A plot left out of the list is not planted."""
    rng = np.random.default_rng(1)
    x, y = rng.random((2, n)) * 1000
    assert sorted(boat_order(x, y).tolist()) == list(range(n))


@pytest.mark.parametrize("length", [6, 8, 10])
def test_names_fit_and_stay_unique(length: int) -> None:
    """Six, eight and ten characters; site code cut, number and pin kept."""
    names = [f"{site}-{k:02d} {pin}" for site in ("OT", "NS", "REEFAB") for k in range(1, 13) for pin in "AB"]
    short = receiver_names(names, length)
    assert len(set(short)) == len(names)
    assert max(map(len, short)) <= length
    assert all(
        s[-3:] == f"{k:02d}{pin}" for s, (k, pin) in zip(short, itertools.product(range(1, 13), "AB"), strict=False)
    )
    assert set("".join(short)) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789")


def test_names_that_clash_after_shortening_are_refused_by_name() -> None:
    """Two pins under one name send the boat to the wrong one."""
    with pytest.raises(InputFault, match=r"'LONGREEFA-01 A' and 'LONGREEFB-01 A' both become 'LONGR01A' at 8"):
        receiver_names(["LONGREEFA-01 A", "LONGREEFB-01 A"], 8)
    with pytest.raises(InputFault, match="no letter A–Z or digit"):
        receiver_names(["---"], 8)
    with pytest.raises(InputFault, match="name_length: 3; due: 4 or more"):
        receiver_names(["A"], 3)


@pytest.mark.parametrize(("bearing", "due"), [(357.4, 355), (357.6, 0), (2.4, 0), (2.5, 5), (359.99, 0), (182.4, 180)])
def test_bearings_round_to_five_and_never_read_360(bearing: float, due: float) -> None:
    """358 is 000 on a compass, not 360."""
    assert rounded_bearing(bearing) == due


@given(bearing=st.floats(0, 360, exclude_max=True))
def test_rounding_moves_a_bearing_by_at_most_half_a_step(bearing: float) -> None:
    """Also across north."""
    turn = abs((rounded_bearing(bearing) - bearing + 180.0) % 360.0 - 180.0)
    assert turn <= 2.5 + 1e-9
