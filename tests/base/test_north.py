"""True, grid and magnetic north: the model's own test table, a second program's answers, both signs."""

import datetime
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pygeomag import GeoMag
from pyproj import CRS

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import direct
from sitekit.base.north import (
    bearing_text,
    convergence,
    decimal_year,
    declination,
    grid_bearing,
    magnetic_bearing,
    true_bearing,
    true_from_magnetic,
)
from sitekit.base.sources import shared_file

MAGNETIC = {r["id"]: r for r in json.loads(shared_file("reference/magnetic.json").read_text("utf-8"))}
PROJECTION = {r["id"]: r for r in json.loads(shared_file("reference/projection.json").read_text("utf-8"))}
ANGLE = st.floats(-360, 720)


def day_of(year):
    """First day at or after a decimal year, and how far the year is off [years]."""
    first = datetime.date(int(year), 1, 1)
    date = first + datetime.timedelta(days=round((year - int(year)) * 365))
    return date, decimal_year(date) - year


@pytest.mark.parametrize("key", [k for k in MAGNETIC if k.startswith("wmm2025-official")])
def test_declination_of_the_makers_test_table_comes_out(key):
    """Old coefficients, height in metres taken for kilometres, or west counted positive."""
    row, due = MAGNETIC[key]["inputs"], MAGNETIC[key]["expected"]
    date, off = day_of(row["decimal_year"])
    got = declination(row["lon"], row["lat"], date, height_m=row["height_km"] * 1000.0)
    # 2027.5 is no whole day (2 July is 2027.4986): the yearly change bridges half a day
    assert got.declination_deg - off * got.change_deg_per_year == pytest.approx(due["declination_deg"], abs=0.006)
    assert got.horizontal_nt == pytest.approx((due["X_nT"] ** 2 + due["Y_nT"] ** 2) ** 0.5, abs=0.5)


@pytest.mark.parametrize("key", [k for k in MAGNETIC if k.startswith("wmm2025-reef")])
def test_declination_and_its_uncertainty_at_reefs_come_out(key):
    """A sheet whose compass bearing is off by more than it says."""
    row, due = MAGNETIC[key]["inputs"], MAGNETIC[key]["expected"]
    date, off = day_of(row["decimal_year"])
    got = declination(row["lon"], row["lat"], date)
    assert got.declination_deg - off * got.change_deg_per_year == pytest.approx(due["declination_deg"], abs=2e-5)
    assert got.uncertainty_deg == pytest.approx(due["declination_uncertainty_deg"], abs=1e-5)
    assert got.usable


def test_no_declination_is_given_outside_the_model_years():
    """wmm2025-validity: a bearing printed from a model that has run out."""
    due = MAGNETIC["wmm2025-validity"]["expected"]
    first, last = int(due["valid_from"]), int(due["valid_to"])
    assert declination(0, 0, datetime.date(first, 1, 1)) is not None
    assert declination(0, 0, datetime.date(first - 1, 12, 31)) is None
    assert declination(0, 0, datetime.date(last - 1, 12, 31)) is not None
    assert declination(0, 0, datetime.date(last, 1, 1)) is None


def test_years_with_a_fraction_come_out():
    """decimal-year: a leap year of 365 days."""
    row = MAGNETIC["decimal-year"]
    got = [decimal_year(datetime.date.fromisoformat(d)) for d in row["inputs"]["dates"]]
    assert got == pytest.approx(row["expected"]["decimal_year"], abs=1e-9)


def test_compass_bearings_come_out():
    """declination-apply: the declination added where it is taken off."""
    row = MAGNETIC["declination-apply"]
    got = magnetic_bearing(row["inputs"]["true_bearing_deg"], row["inputs"]["declination_deg"])
    assert got == pytest.approx(row["expected"]["magnetic_bearing_deg"], abs=1e-9)


@pytest.mark.parametrize("key", [k for k, r in PROJECTION.items() if "convergence_deg" in r["expected"]])
def test_angle_to_grid_north_comes_out(key):
    """The other sign, or the other hemisphere's."""
    row, due = PROJECTION[key]["inputs"], PROJECTION[key]["expected"]
    got = convergence(CRS.from_user_input(row["crs_to"]), row["lon"], row["lat"])
    assert got == pytest.approx(due["convergence_deg"], abs=1e-8)


def test_printed_angle_to_grid_north_has_the_other_sign():
    """projection-gda-mga55-flinders: the manual adds its convergence, this one is taken off."""
    row, due = PROJECTION["projection-gda-mga55-flinders"]["inputs"], PROJECTION["projection-gda-mga55-flinders"]
    got = convergence(CRS.from_user_input(row["crs_to"]), row["lon"], row["lat"])
    assert got == pytest.approx(-due["expected"]["grid_convergence_published_deg"], abs=3e-6)


def test_grid_bearing_of_a_swum_line_is_true_minus_convergence():
    """projection-grid-bearing-vs-true: a baseline on the map turned twice the convergence from the one in the water."""
    row, due = PROJECTION["projection-grid-bearing-vs-true"]["inputs"], PROJECTION["projection-grid-bearing-vs-true"]
    utm = CRS.from_user_input(row["crs"])
    angle = convergence(utm, row["lon"], row["lat"])
    got = grid_bearing(row["true_azimuth_deg"], angle)
    assert got == pytest.approx(due["expected"]["grid_bearing_deg"], abs=1e-4)
    end = direct(row["lon"], row["lat"], row["true_azimuth_deg"], row["geodesic_distance_m"])
    x, y = transform_points([row["lon"], end[0]], [row["lat"], end[1]], WGS84, utm)
    length = ((x[1] - x[0]) ** 2 + (y[1] - y[0]) ** 2) ** 0.5
    assert length == pytest.approx(due["expected"]["grid_distance_m"], abs=1e-4)


@given(ANGLE, st.floats(-5, 5), st.floats(-60, 60))
def test_turning_and_turning_back_gives_the_bearing(true, angle, needle):
    """Two functions that turn the same way."""
    for there, back in ((grid_bearing(true, angle), angle), (magnetic_bearing(true, needle), needle)):
        assert 0 <= there < 360
        again = true_bearing(there, back) if back is angle else true_from_magnetic(there, back)
        assert abs((again - true + 180) % 360 - 180) < 1e-9


@given(st.floats(-180, 180), st.floats(-80, 80))
def test_declination_is_what_the_coefficients_give(lon, lat):
    """A place turned, or a height lost, on the way to the model."""
    witness = GeoMag().calculate(glat=lat, glon=(lon + 180) % 360 - 180, alt=0, time=2026.0)
    assert declination(lon, lat, datetime.date(2026, 1, 1)).declination_deg == pytest.approx(witness.d, abs=1e-9)


def test_compass_is_called_useless_at_the_magnetic_pole():
    """A bearing printed where the needle points nowhere (north pole of 2025 near 86° N, 139° E; recalled)."""
    assert not declination(139.0, 86.0, datetime.date(2025, 1, 1)).usable


@pytest.mark.parametrize(
    ("value", "text"), [(359.6, "000"), (0.0, "000"), (4.5, "005"), (89.49, "089"), (359.4, "359")]
)
def test_bearing_reads_three_digits_and_never_360(value, text):
    """A sheet that says 360, or 5 for 005."""
    assert bearing_text(value) == text
