"""Distances, azimuths and areas: printed examples, GeographicLib as a witness, closed forms and properties."""

import json

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import direct, distance, inverse, perimeter, polygon_area, polygon_areas
from sitekit.base.sources import shared_file

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/geodesy.json").read_text("utf-8"))}
GRS80 = Geod(ellps="GRS80")
LON, LAT = st.floats(-180, 180), st.floats(-89, 89)


def turn(angle):
    return (angle + 180.0) % 360.0 - 180.0


def ring(row):
    return shapely.Polygon([(lon, lat) for lat, lon in row["inputs"]["lat_lon_vertices"]])


@pytest.mark.parametrize("key", [k for k in ROWS if k.startswith("geodesy-inverse-site")])
def test_distance_and_both_azimuths_of_sites_come_out(key):
    """Swapped axes, a sphere in place of the ellipsoid, or a line the long way round 180°."""
    row, due = ROWS[key]["inputs"], ROWS[key]["expected"]
    got = inverse(row["lon1"], row["lat1"], row["lon2"], row["lat2"])
    assert got.distance_m == pytest.approx(due["distance_m"], abs=1e-6)
    assert got.azimuth_deg == pytest.approx(due["azimuth_12_deg"], abs=1e-9)
    assert got.back_azimuth_deg == pytest.approx(due["azimuth_21_deg"], abs=1e-9)


def test_printed_line_of_the_datum_manual_comes_out():
    """geodesy-gda-inverse: another ellipsoid than asked for."""
    row, due = ROWS["geodesy-gda-inverse"]["inputs"], ROWS["geodesy-gda-inverse"]["expected"]
    got = inverse(row["lon1_deg"], row["lat1_deg"], row["lon2_deg"], row["lat2_deg"], ellipsoid=GRS80)
    assert got.distance_m == pytest.approx(due["distance_m"], abs=1e-3)
    assert got.azimuth_deg == pytest.approx(due["azimuth_12_deg"], abs=3e-6)
    assert got.back_azimuth_deg == pytest.approx(due["azimuth_21_deg"], abs=3e-6)


def test_printed_end_of_the_datum_manual_comes_out():
    """geodesy-gda-direct: a direct problem on the wrong ellipsoid."""
    row, due = ROWS["geodesy-gda-direct"]["inputs"], ROWS["geodesy-gda-direct"]["expected"]
    lon, lat = direct(row["lon1_deg"], row["lat1_deg"], row["azimuth_deg"], row["distance_m"], ellipsoid=GRS80)
    assert (lon, lat) == (pytest.approx(due["lon2_deg"], abs=1e-7), pytest.approx(due["lat2_deg"], abs=1e-7))


def test_long_line_of_the_published_test_set_comes_out():
    """geodesy-karney-testline-1: a series that is good on short lines only."""
    row, due = ROWS["geodesy-karney-testline-1"]["inputs"], ROWS["geodesy-karney-testline-1"]["expected"]
    got = inverse(row["lon1"], row["lat1"], row["lon2"], row["lat2"])
    assert got.distance_m == pytest.approx(due["distance_m"], abs=1e-6)
    assert got.azimuth_deg == pytest.approx(due["azi1"], abs=1e-10)
    assert got.back_azimuth_deg == pytest.approx((due["azi2_forward"] + 180) % 360, abs=1e-10)


def test_end_of_a_long_line_of_the_published_test_set_comes_out():
    """geodesy-karney-testline-2: a longitude beyond 180°."""
    row, due = ROWS["geodesy-karney-testline-2"]["inputs"], ROWS["geodesy-karney-testline-2"]["expected"]
    lon, lat = direct(row["lon1"], row["lat1"], row["azi1"], row["distance_m"])
    assert lon == pytest.approx(turn(due["lon2"]), abs=1e-10)
    assert lat == pytest.approx(due["lat2"], abs=1e-10)


def test_nearly_antipodal_points_have_a_distance():
    """geodesy-near-antipodal: an iteration that never ends there."""
    row = ROWS["geodesy-near-antipodal"]
    assert distance(0, 0, 179.7, 0.5) == pytest.approx(row["expected"]["distance_m"], abs=1e-5)


@pytest.mark.parametrize("key", [k for k in ROWS if k.startswith("geodesy-direct-site")])
def test_position_after_a_bearing_and_distance_comes_out(key):
    """A flat-earth step, or a longitude of 180.0008."""
    row, due = ROWS[key]["inputs"], ROWS[key]["expected"]
    lon, lat = direct(row["lon"], row["lat"], row["azimuth_deg"], row["distance_m"])
    assert (lon, lat) == (pytest.approx(due["lon2"], abs=1e-9), pytest.approx(due["lat2"], abs=1e-9))


@pytest.mark.parametrize(
    "key", ["geodesy-polygon-sq", "geodesy-polygon-L", "geodesy-polygon-dateline", "geodesy-polygon-hex"]
)
@pytest.mark.parametrize("turned", [False, True])
def test_area_and_outline_of_polygons_come_out_whatever_the_winding(key, turned):
    """A negative area of clockwise rings, or an area right round the globe at 180°."""
    shape, due = ring(ROWS[key]), ROWS[key]["expected"]
    shape = shape.reverse() if turned else shape
    assert polygon_area(shape) == pytest.approx(due["area_m2"], rel=1e-9)
    assert perimeter(shape) == pytest.approx(due["perimeter_m"], abs=1e-5)


def test_length_of_the_published_ring_around_the_pole_comes_out():
    """geodesy-polygon-antarctica: lengths that drift over 17 000 km (its area is not asked for: it holds a pole)."""
    due = ROWS["geodesy-polygon-antarctica"]["expected"]
    assert perimeter(ring(ROWS["geodesy-polygon-antarctica"])) == pytest.approx(due["perimeter_m"], abs=1e-4)


def test_area_is_measured_on_the_ellipsoid_not_on_the_map():
    """geodesy-planar-vs-geodesic-area: an area in grid metres, 16 parts per million too large here."""
    due = ROWS["geodesy-planar-vs-geodesic-area"]["expected"]
    utm = CRS.from_epsg(32620)
    x, y = transform_points(*shapely.get_coordinates(ring(ROWS["geodesy-polygon-sq"])).T, WGS84, utm)
    shape = shapely.Polygon(np.column_stack([x, y]))
    assert shape.area == pytest.approx(due["planar_area_m2"], rel=1e-8)
    assert polygon_area(shape, utm) == pytest.approx(due["geodesic_area_m2"], rel=1e-8)


def test_a_hole_is_taken_off_and_parts_add_up():
    """Holes counted as land, or only the first part of a multipolygon measured."""
    outer, inner = shapely.box(0, 0, 0.03, 0.03), shapely.box(0.01, 0.01, 0.02, 0.02)
    far = shapely.box(1, 1, 1.01, 1.01)
    both = shapely.MultiPolygon([shapely.difference(outer, inner), far])
    assert polygon_area(both) == pytest.approx(polygon_area(outer) - polygon_area(inner) + polygon_area(far), rel=1e-12)
    assert polygon_areas([outer, far]) == pytest.approx([polygon_area(outer), polygon_area(far)])
    assert polygon_area(shapely.Polygon()) == 0.0


@given(LON, LAT, LON, LAT)
def test_a_second_program_gives_the_same_line(lon1, lat1, lon2, lat2):
    """A distance that only our own code believes."""
    witness = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    assert distance(lon1, lat1, lon2, lat2) == pytest.approx(witness["s12"], abs=1e-6)


@given(LON, LAT, st.floats(0, 359.999), st.floats(0.01, 5000))
def test_going_there_and_measuring_back_gives_bearing_and_distance(lon, lat, azimuth, length):
    """A direct problem that its own inverse contradicts."""
    there = direct(lon, lat, azimuth, length)
    got = inverse(lon, lat, *there)
    assert got.distance_m == pytest.approx(length, abs=1e-6)
    assert abs(turn(got.azimuth_deg - azimuth)) * length < 1e-3
    assert 0 <= got.azimuth_deg < 360
    assert -180 <= there[0] < 180


@given(LON, LAT, LON, LAT)
def test_distance_is_the_same_both_ways(lon1, lat1, lon2, lat2):
    """An order of arguments that matters."""
    assert distance(lon1, lat1, lon2, lat2) == pytest.approx(distance(lon2, lat2, lon1, lat1), abs=1e-6)
