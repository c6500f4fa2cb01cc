"""The team's own weather limits, and the lee."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.weather import (
    Limits,
    WindLimit,
    in_the_lee,
    leeward_places,
    reasons_against,
    sheltered_sectors,
)

LIMITS = Limits(9.0, (WindLimit(315, 45, 6.0),), 1.0, 5.0)
SHELTER = {
    "A": [(0.0, "sheltered"), (90.0, "exposed"), (180.0, "unknown"), (270.0, "sheltered")],
    "B": [(0.0, "exposed"), (90.0, "sheltered"), (180.0, "exposed"), (270.0, "exposed")],
}


@pytest.mark.parametrize(("direction", "most"), [(0, 6.0), (315, 6.0), (45, 6.0), (46, 9.0), (314, 9.0), (360, 6.0)])
def test_a_sector_through_north_holds_both_sides(direction: float, most: float) -> None:
    """A sector from 315 to 45 that is read as 45 to 315 turns the limit round."""
    assert LIMITS.wind_limit(direction) == most


@given(direction=st.floats(0, 360), wind=st.floats(0, 30))
def test_wind_at_the_limit_goes_and_above_it_stays(direction: float, wind: float) -> None:
    """The lower of two limits counts, whatever the direction."""
    most = LIMITS.wind_limit(direction) or 0
    assert bool(reasons_against(LIMITS, wind_ms=wind, wind_from_deg=direction)) == (wind > most)


def test_each_limit_is_judged_by_what_is_given() -> None:
    """What nobody measured must not stop a day, and what is over the limit must be named."""
    assert reasons_against(LIMITS) == []
    found = reasons_against(LIMITS, wind_ms=10, swell_m=1.5, visibility_m=3)
    assert found == ["wind 10 m/s is above 9 m/s", "swell 1.5 m is above 1 m", "visibility 3 m is below 5 m"]
    assert reasons_against(Limits(), wind_ms=30, wind_from_deg=10, swell_m=9, visibility_m=0) == []


def test_limits_print_in_metres_and_knots() -> None:
    """A skipper thinks in knots: 9 m/s are 17.5."""
    assert LIMITS.lines()[0] == "wind at most 9 m/s (17 kn)"
    assert LIMITS.lines()[1] == "wind from 315° to 045° at most 6 m/s (12 kn)"


def test_impossible_limits_are_refused() -> None:
    """Directions and speeds out of range."""
    with pytest.raises(InputFault, match="400 to 45°; due: 0 to 360°"):
        Limits(by_direction=(WindLimit(400, 45, 5),))
    with pytest.raises(InputFault, match="-1 m/s; due: 0 or more"):
        Limits(by_direction=(WindLimit(0, 45, -1),))


def test_the_lee_is_that_of_the_nearest_direction() -> None:
    """Wind from 350 is judged by 000, not by 270."""
    assert in_the_lee(SHELTER, 350) == {"A": "sheltered", "B": "exposed"}
    assert in_the_lee(SHELTER, 45)["A"] == "unknown"  # between two that disagree


def test_unknown_is_never_offered_as_lee() -> None:
    """An open direction that nobody described is not calm."""
    assert leeward_places(SHELTER, "B") == [(0.0, ["A"]), (180.0, []), (270.0, ["A"])]
    assert leeward_places(SHELTER, "A") == [(90.0, ["B"]), (180.0, [])]
    assert leeward_places(SHELTER, "C") == []


def test_sheltered_sectors_join_across_north() -> None:
    """270 and 000 are one sector."""
    assert sheltered_sectors(SHELTER["A"]) == [(270.0, 0.0)]
    assert sheltered_sectors(SHELTER["B"]) == [(90.0, 90.0)]
    assert sheltered_sectors([(0.0, "exposed")]) == []
    assert sheltered_sectors([(0.0, "sheltered"), (180.0, "sheltered")]) == [(0.0, 180.0)]


@given(words=st.lists(st.sampled_from(["sheltered", "exposed", "unknown"]), min_size=4, max_size=16))
def test_sectors_hold_exactly_the_sheltered_directions(words: list[str]) -> None:
    """A sector that swallows an exposed direction sends a boat into the sea."""
    step = 360.0 / len(words)
    rows = [(k * step, w) for k, w in enumerate(words)]
    if "sheltered" not in words or all(w == "sheltered" for w in words):
        return
    sectors = sheltered_sectors(rows)
    for direction, word in rows:
        inside = any((direction - a) % 360.0 <= (b - a) % 360.0 for a, b in sectors)
        assert inside == (word == "sheltered")
