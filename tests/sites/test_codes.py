"""A code meets the candidate that holds it, or none."""

from __future__ import annotations

import pytest
import shapely
from shapely import Point, box

from sitekit.errors import InputFault
from sitekit.sites.codes import Coded, match_codes, nearest_names, nearest_outline

PATCHES = [box(0, 0, 10, 10), box(20, 0, 30, 10)]


def test_a_point_belongs_to_the_patch_that_covers_it() -> None:
    """On the outline counts as inside; far away is no patch."""
    sites = [Coded("A", Point(25, 10)), Coded("B", Point(15, 5)), Coded("C", Point(1, 1))]
    assert match_codes(sites, PATCHES) == [1, None, 0]


def test_a_polygon_belongs_to_the_patch_it_shares_most_with() -> None:
    """A corner that touches a neighbour must not decide."""
    assert match_codes([Coded("A", box(8, 0, 26, 10))], PATCHES) == [1]
    assert match_codes([Coded("A", box(10, 0, 12, 10))], PATCHES) == [None]


def test_a_site_in_no_candidate_is_led_to_the_nearest() -> None:
    """A point 3 m off the second of two patches: its number, 3 m, and a place in it not far from the point."""
    off = shapely.Point(23.0, 5.0)
    index, metres, inside = nearest_outline(off, [box(0, 0, 4, 4), box(10, 0, 20, 10)])  # type: ignore[misc]
    assert (index, metres) == (1, 3.0)
    assert box(10, 0, 20, 10).contains(inside)
    assert inside.distance(off) <= 3.0 + 5.0
    assert nearest_outline(off, []) is None


def test_two_codes_in_one_patch_are_refused() -> None:
    """Their numbers and tags could not be told apart."""
    with pytest.raises(InputFault, match="site A, B: stand in one contiguous patch"):
        match_codes([Coded("A", Point(1, 1)), Coded("B", Point(2, 2))], PATCHES)


def test_the_nearest_name_is_given() -> None:
    """People find a patch by what lies near it."""
    assert nearest_names(PATCHES, ["west ball", "east ball"], [Point(-5, 5), Point(40, 5)]) == [
        "west ball",
        "east ball",
    ]
    assert nearest_names(PATCHES, [], []) == [None, None]
