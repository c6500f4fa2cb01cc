"""Coordinate systems: printed coordinates, zones, scales, and texts that name none."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.base.crs import (
    WGS84,
    datum_note,
    geographic_bounds,
    largest_scale_factor,
    name_of,
    projected_bounds,
    read_crs,
    scale_factor,
    transform_points,
    utm_zone,
    working_crs,
)
from sitekit.base.positions import read_position
from sitekit.base.sources import shared_file
from sitekit.errors import InputFault

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/projection.json").read_text("utf-8"))}


@pytest.mark.parametrize("key", [k for k, r in ROWS.items() if "lon" in r["inputs"] and "easting" in r["expected"]])
def test_eastings_and_northings_come_out(key):
    """Swapped axes, a wrong zone, or a lost false northing."""
    row, due = ROWS[key]["inputs"], ROWS[key]["expected"]
    source, target = row.get("crs_from", "EPSG:4326"), row.get("crs_to", "EPSG:32620")
    x, y = transform_points(row["lon"], row["lat"], CRS(source), CRS(target))
    tolerance = ROWS[key]["tolerance"]["m"]
    assert (x, y) == (pytest.approx(due["easting"], abs=tolerance), pytest.approx(due["northing"], abs=tolerance))
    if "printed_easting" in due:
        assert x == pytest.approx(due["printed_easting"], abs=0.02)
        assert y == pytest.approx(due["printed_northing"], abs=0.02)


def test_printed_web_map_coordinates_come_out():
    """projection-epsg-gn-pseudo-mercator: seconds misread, or the ellipsoid's formula in place of the sphere's."""
    row = ROWS["projection-epsg-gn-pseudo-mercator"]
    place = read_position(f"{row['inputs']['lat_dms']}, {row['inputs']['lon_dms']}")
    x, y = transform_points(place.lon, place.lat, WGS84, CRS(3857))
    assert (x, y) == (
        pytest.approx(row["expected"]["easting"], abs=0.01),
        pytest.approx(row["expected"]["northing"], abs=0.01),
    )


@pytest.mark.parametrize("key", [k for k, r in ROWS.items() if "scale" in r["expected"]])
def test_scale_of_the_map_comes_out(key):
    """A clearance kept on the map and broken in the water."""
    row, due = ROWS[key]["inputs"], ROWS[key]["expected"]
    got = scale_factor(CRS(row["crs_to"]), row["lon"], row["lat"])
    # wider than the row's 1e-9 to 5e-9: the axes of the ellipse come from differences of nearly equal numbers, which
    # costs some 1e-8 (1 µm in 100 m), always to the long side
    assert -ROWS[key]["tolerance"]["scale"] <= float(got) - due["scale"] <= 2e-8


ZONES = ROWS["projection-utm-zone-pick"]


@pytest.mark.parametrize(
    ("place", "code"), list(zip(ZONES["inputs"]["lon_lat"], ZONES["expected"]["epsg"], strict=True)), ids=str
)
def test_zone_of_a_place_comes_out(place, code):
    """Zone 61 at 180°, or a border given to the western zone."""
    assert utm_zone(*place).to_epsg() == code


def test_area_across_180_degrees_gets_a_zone_at_180_degrees():
    """The mean of 179.9 and −179.9 taken as 0: a zone on the other side of the globe."""
    assert working_crs((179.8, -17.1, -179.9, -16.9)).to_epsg() == 32760


@pytest.mark.parametrize("place", [(18.0, -85.0), (18.345, 120.0), (float("nan"), 0.0)])
def test_place_outside_all_zones_is_refused(place):
    """A swapped pair that gets a zone."""
    with pytest.raises(
        InputFault, match=r"latitude between -80 and 84 degrees. Check that latitude and longitude are not"
    ):
        utm_zone(*place)


def test_text_that_names_no_system_is_refused():
    """A typing error that ends in a program's own message."""
    with pytest.raises(
        InputFault, match=r"layers\.depth\.crs: 'EPSG:99999' names no coordinate system; due: a code such"
    ):
        read_crs("EPSG:99999", "layers.depth.crs")
    assert name_of(read_crs("EPSG:32620")) == "EPSG:32620"


def test_scale_of_an_area_in_degrees_is_refused():
    """A spacing multiplied by metres per degree."""
    with pytest.raises(InputFault, match="is in degrees; due: a projected system in metres"):
        largest_scale_factor(WGS84, (-65, 18, -64, 19))


def test_largest_scale_is_found_on_the_rim_farthest_from_the_meridian():
    """A mean or a middle taken for the largest."""
    utm = CRS(32620)
    got = largest_scale_factor(utm, (600_000.0, 2_000_000.0, 700_000.0, 2_010_000.0))
    lon, lat = transform_points(700_000.0, 2_000_000.0, utm, WGS84)
    assert got == pytest.approx(float(scale_factor(utm, lon, lat)), abs=1e-7)
    # series of the transverse Mercator: k = 0.9996 (1 + x²/(2 r²)), r about 6.37e6 m, x = 200 km
    assert got == pytest.approx(0.9996 * (1 + (200_000 / 0.9996) ** 2 / (2 * 6.37e6**2)), abs=5e-6)


@given(st.floats(-65.9, -60.1), st.floats(-70, 70))
def test_there_and_back_is_the_same_place(lon, lat):
    """Axes swapped one way only."""
    utm = utm_zone(lon, lat)
    again = transform_points(*transform_points(lon, lat, WGS84, utm), utm, WGS84)
    assert np.allclose(again, (lon, lat), atol=1e-9, rtol=0)


def test_box_in_degrees_holds_the_box_in_metres():
    """Corners only: a bulging side is cut off."""
    utm = CRS(32620)
    box = (200_000.0, 2_000_000.0, 800_000.0, 2_200_000.0)
    degrees = geographic_bounds(box, utm)
    back = projected_bounds(degrees, utm)
    assert back[0] <= box[0]
    assert back[1] <= box[1]
    assert back[2] >= box[2]
    assert back[3] >= box[3] - 1.0  # 23 points a side miss the top of the bow by under a metre


def test_box_that_crosses_180_degrees_says_so():
    """An extent right round the globe."""
    west, _, east, _ = geographic_bounds((790_000.0, 8_100_000.0, 860_000.0, 8_120_000.0), CRS(32760))
    assert west > 179
    assert east < -179


def test_box_no_system_can_hold_is_refused():
    """Infinite bounds passed on."""
    with pytest.raises(InputFault, match=r"extent: .*EPSG:32620; due: coordinates inside that system"):
        geographic_bounds((1e12, 1e12, 2e12, 2e12), CRS(32620))


def test_datum_note_says_what_is_done_or_nothing():
    """A shift between datums that nobody mentions, or one claimed where there is none."""
    assert datum_note(CRS(32620), WGS84, 5e5, 2e6) == ""
    assert datum_note(CRS(4269), WGS84, -93.6, 27.9).startswith("NAD83 to WGS 84 by 'NAD83 to WGS 84 (1)', 4 m")
    unknown = datum_note(CRS("+proj=longlat +ellps=clrk66 +type=crs"), WGS84, -65, 18)
    assert unknown.startswith(
        "no transformation from the system given to WGS 84 is known here: positions pass unshifted"
    )
    assert "hundreds of metres" in unknown
    assert datum_note(CRS(4267), WGS84, 147, -18).startswith("no transformation from NAD27 to WGS 84 is known here")
    stated = "+proj=longlat +ellps=intl +towgs84=-84.87,-96.49,-116.95 +type=crs"
    assert "by 'Transformation from" in datum_note(CRS(stated), WGS84, 2, 53)


def test_datum_note_names_the_operation_that_moves_the_places():
    """Before, it named one for the whole registry: 20 m were stated where one of 1 m was used, and the other way round."""
    for lon, lat in ((-81, 25), (-64.8, 17.8), (-93.6, 27.9), (-77, 25)):
        way = Transformer.from_crs(4267, 4326, always_xy=True)
        way.transform(lon, lat)
        used = next(s for s in way.get_last_used_operation().operations if s.type_name == "Transformation")
        assert datum_note(CRS(4267), WGS84, lon, lat).startswith(
            f"NAD27 to WGS 84 by '{used.name}', {used.accuracy:g} m"
        )
    both = datum_note(CRS(4267), WGS84, [-93.6, -64.8], [27.9, 17.8])
    assert "'NAD27 to WGS 84 (1)', 16 m and 'NAD27 to WGS 84 (6)', 7 m" in both


def test_datum_note_tells_of_places_that_pass_unshifted():
    """Beyond the area of a working system PROJ applies no shift at all, in the Gulf some 20 m, and nobody would know."""
    assert "by none in places and" in datum_note(CRS(4267), CRS(32620), [-93.6, -64.8], [27.9, 17.8])
