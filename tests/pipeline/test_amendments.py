"""Names of work areas from packet to packet: an office must find the same ground under the same letter."""

from __future__ import annotations

import geopandas as gpd
import shapely

from sitekit.pipeline.amendments import with_earlier_names
from sitekit.pipeline.work_outlines import Outline


def outline(name: str, west: float) -> Outline:
    return Outline(name, "WS", shapely.MultiPolygon([shapely.box(west, 0, west + 10, 10)]), (), True, "")


def earlier(**west: float) -> gpd.GeoDataFrame:
    shapes = [shapely.box(w, 0, w + 10, 10) for w in west.values()]
    names = [f"WS-{letter}" for letter in west]
    return gpd.GeoDataFrame({"work_area": names, "site": "WS"}, geometry=shapes, crs=32622)


def test_the_same_ground_keeps_its_letter() -> None:
    """Where B fell away, the old C must not become B: the office would read a move of 80 m."""
    now = [outline("WS-A", 2.0), outline("WS-B", 81.0)]
    named = with_earlier_names(now, earlier(A=0.0, B=40.0, C=80.0))
    assert [(o.name, o.shape.bounds[0]) for o in named] == [("WS-A", 2.0), ("WS-C", 81.0)]


def test_new_ground_takes_a_letter_that_no_earlier_packet_used() -> None:
    """A letter used twice stands for two places."""
    now = [outline("WS-A", 200.0), outline("WS-B", 1.0)]
    assert [o.name for o in with_earlier_names(now, earlier(A=0.0, B=40.0))] == ["WS-A", "WS-C"]


def test_of_two_on_one_old_area_the_larger_share_keeps_the_letter() -> None:
    """A split area is one old name and one new one."""
    now = [outline("WS-A", 7.0), outline("WS-B", -2.0)]
    named = {o.shape.bounds[0]: o.name for o in with_earlier_names(now, earlier(A=0.0))}
    assert named == {-2.0: "WS-A", 7.0: "WS-B"}
