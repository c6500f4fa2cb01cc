"""Rules that a work area meets: nested areas, overlaps on the ellipsoid, distances, the strictest decides."""

from __future__ import annotations

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.sites.rules import PROTECTED, STRICTNESS, Feature, relations

UTM = CRS.from_epsg(32622)
X, Y = 574_000.0, 1_995_600.0
BACK = Transformer.from_crs(UTM, 4326, always_xy=True)


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return shapely.box(X + west, Y + south, X + east, Y + north)


def area(rule: str, shape: shapely.Geometry, name: str = "park") -> Feature:
    return Feature(PROTECTED, name, rule, shape)


def on_ellipsoid(shape: shapely.Polygon) -> float:
    """Area by Karney's own library [m²]."""
    ring = Geodesic.WGS84.Polygon()
    for x, y in shapely.get_coordinates(shape.exterior)[:-1]:
        lon, lat = BACK.transform(x, y)
        ring.AddPoint(lat, lon)
    return abs(ring.Compute()[2])


@given(st.permutations(STRICTNESS))
def test_of_nested_areas_the_strictest_decides_and_all_are_listed(order: tuple[str, ...]) -> None:
    """Design section 5: nested areas, the strictest wins and all are listed, whatever the order of the file."""
    shapes = [area(rule, box(-50 * k, -50 * k, 100 + 50 * k, 100 + 50 * k), f"{k}") for k, rule in enumerate(order, 1)]
    found = relations([box(0, 0, 40, 40)], shapes, UTM)
    assert len(found) == 4
    assert [shapes[r.feature].rule for r in found] == list(STRICTNESS)
    assert [r.decides for r in found] == [True, False, False, False]
    assert all(r.inside and r.overlap_pct == pytest.approx(100) for r in found)


def test_overlap_is_measured_on_the_ellipsoid() -> None:
    """On the grid it would be off by the scale factor squared; GeographicLib is the witness."""
    (found,) = relations([box(0, 0, 200, 100)], [area("permit", box(150, 0, 400, 100))], UTM)
    due = on_ellipsoid(box(150, 0, 200, 100))
    assert found.overlap_m2 == pytest.approx(due, rel=1e-7)
    assert abs(found.overlap_m2 - 5000) > 1  # what the grid says
    assert found.overlap_pct == pytest.approx(25, rel=1e-6)
    assert not found.inside


@given(st.floats(1, 3000))
def test_distance_is_that_of_the_geodesic(gap: float) -> None:
    """A cable 20 m away on the grid may be 19.99 m away in the sea."""
    line = shapely.LineString([(X + 100 + gap, Y - 500), (X + 100 + gap, Y + 600)])
    (found,) = relations([box(0, 0, 100, 100)], [Feature("cable", "c", "keep clear", line, 20.0)], UTM)
    scale = 0.99967  # of UTM near this place; the geodesic is longer than the grid says
    assert found.distance_m == pytest.approx(gap / scale, rel=1e-4)
    assert found.decides == (found.distance_m <= 20.0)
    assert found.overlap_m2 == 0.0


def test_the_nearest_of_each_kind_is_listed_and_no_other() -> None:
    """A list of two hundred seagrass beds hides the one that matters."""
    beds = [Feature("seagrass", f"bed {k}", "report", box(200 + 50 * k, 0, 210 + 50 * k, 10)) for k in range(9)]
    found = relations([box(0, 0, 100, 100)], [*beds, area("none", box(-500, 0, -400, 50))], UTM)
    assert [r.feature for r in found] == [9, 0]
    assert not any(r.decides for r in found)


def test_touching_a_border_counts_as_touching() -> None:
    """A rule that begins at the border begins for a work area that reaches it."""
    (found,) = relations([box(0, 0, 100, 100)], [area("forbidden", box(100, 0, 200, 100))], UTM)
    assert (found.distance_m, found.overlap_m2, found.decides) == (0.0, 0.0, True)


def test_without_features_nothing_is_listed() -> None:
    """No layer given is no rule met; the packet says so elsewhere."""
    assert relations([box(0, 0, 1, 1)], [], UTM) == []
