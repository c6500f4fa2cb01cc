"""Real files by others, read right: sign, gaps, classes, datums, colonies.

Oahu: NOAA survey grid and coral monitoring. Flower Garden Banks: NOAA sample frame, boundary, colonies.
"""

import os
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS

from sitekit.base.crs import WGS84, datum_note, geographic_bounds, projected_bounds, transform_points, working_crs
from sitekit.base.geodesy import polygon_area
from sitekit.errors import InputFault
from sitekit.layers.grid import grid_for
from sitekit.layers.points import read_points
from sitekit.layers.polygons import read_polygons
from sitekit.layers.raster import align_raster, rasterize_polygons
from sitekit.layers.source_raster import open_source
from sitekit.layers.substrate import align_substrate, substrate_codes
from sitekit.layers.vertical import Vertical, check_sign
from tests.layers.rasters import read

pytestmark = pytest.mark.open_data
WINDOW = (-157.72, 21.40, -157.69, 21.43)  # a piece of the windward shelf
ELEVATION = Vertical("elevation", "m", "not stated")


def data(name):
    folder = os.environ.get("SITEKIT_OPEN_DATA")
    if not folder:
        pytest.skip("SITEKIT_OPEN_DATA names no folder")
    return Path(folder) / name


def oahu_grid():
    utm = working_crs(WINDOW)
    return grid_for(projected_bounds(WINDOW, utm), utm, 50.0)


def test_depths_of_the_island_are_those_of_the_file_with_the_sign_turned(tmp_path):
    """Depths of −9 m, gaps of −9999 m, or a raster moved by a cell."""
    path, onto = data("oahu/depth_50m_wgs84.tif"), oahu_grid()
    done = align_raster(path, onto, tmp_path / "depth.tif", scale=ELEVATION.scale, kind="continuous")
    out = read(done.path)
    assert 0.0 < done.minimum < done.maximum <= 30.0
    assert check_sign("layers.depth", ELEVATION, done.share_positive, done.minimum, done.maximum) == ""
    assert done.source_crs == "EPSG:4326"
    # a second way: the source cell that holds each centre, by hand
    east, north = (v.ravel() for v in np.meshgrid(*onto.centres()))
    lon, lat = transform_points(east, north, onto.crs, WGS84)
    with open_source(path) as source:
        t = source.transform
        held = source.read(0, 0, source.file.height, source.file.width)
    col, row = np.floor((lon - t.c) / t.a).astype(int), np.floor((lat - t.f) / t.e).astype(int)
    witness = held[row, col].reshape(onto.shape)
    # coordinates between exact nodes are off by less than 0.01 cells: a few centres fall into the next cell
    assert (np.isnan(witness) == np.isnan(out)).mean() > 0.995
    assert np.nanmedian(np.abs(out + witness)) < 1.0


def test_the_wrong_sign_of_the_island_is_refused(tmp_path):
    """A plan on land."""
    done = align_raster(data("oahu/depth_50m_wgs84.tif"), oahu_grid(), tmp_path / "depth.tif")
    with pytest.raises(InputFault, match="set sign = 'elevation'"):
        check_sign("layers.depth", Vertical("depth", "m", "x"), done.share_positive, done.minimum, done.maximum)


def test_bottom_structure_of_the_island_becomes_classes(tmp_path):
    """A class of the map that gets another's name, or gaps that become a class."""
    path = data("oahu/structure_50m_wgs84.tif")
    hard, loose = ("1", "2", "3", "4", "5", "6", "9"), ("7", "8", "10")
    classes = dict.fromkeys(hard, "Rock Substrate") | dict.fromkeys(loose, "Geologic Substrate")
    done = align_substrate(path, oahu_grid(), tmp_path / "s.tif", classes=classes)
    codes = {0, substrate_codes()["Rock Substrate"], substrate_codes()["Geologic Substrate"]}
    assert set(np.unique(read(done.path))) <= codes
    assert 0 < done.share_covered < 1
    del classes["4"]  # pavement, the commonest
    with pytest.raises(InputFault, match="class 4: stands in"):
        align_substrate(path, oahu_grid(), tmp_path / "s.tif", classes=classes)


def test_a_local_elevation_without_a_system_is_refused(tmp_path):
    """A headland placed at 0° N, 0° E."""
    with pytest.raises(InputFault, match="has no coordinate system"):
        align_raster(data("oahu/pyramid_rock_topobathy_2m_by_1m_local.tif"), oahu_grid(), tmp_path / "x.tif")


def test_coral_sites_of_the_island_lie_on_the_island():
    """845 rows in another ocean; sites taken for colonies without a word."""
    utm = CRS.from_epsg(32604)
    columns = {"species": "TAXONCODE", "size_cm": "Ave.size"}
    frame, notes = read_points(
        data("oahu/coral_taxa_by_site.csv"), to_crs=utm, columns=columns, origin="wild", position_error_m=10.0
    )
    assert len(frame) == 845
    assert "coordinates from 'LONGITUDE' and 'LATITUDE'" in notes
    assert len({p.wkb for p in frame.geometry}) <= 108
    assert any("stand on the position of another" in n for n in notes)
    west, south, east, north = geographic_bounds(tuple(frame.total_bounds), utm)
    assert -158.4 < west < east < -157.5
    assert 21.2 < south < north < 21.8


def banks():
    return working_crs((-93.83, 27.87, -93.59, 27.92))


def test_squares_of_the_banks_are_50_m_and_carry_their_depth(tmp_path):
    """Squares bent or shrunk on the way; a depth above water."""
    frame, notes = read_polygons(data("flower_garden_banks/frame_50m_wgs84.geojson"), to_crs=banks())
    assert len(frame) == 360
    assert not any("cross" in n for n in notes)
    areas = [polygon_area(g, banks()) for g in frame.geometry]
    # the file's own areas are on its map (two squares are cut): 0.07 % smaller than on the ellipsoid, as near a meridian
    assert np.allclose(areas, frame["Shape_Area"], rtol=0.0015)
    west = frame[frame["SUB_REGION"] == "WB"]
    onto = grid_for(tuple(west.total_bounds), banks(), 10.0)
    done = rasterize_polygons(west, "DEPTH_M", onto, tmp_path / "d.tif", scale=ELEVATION.scale)
    assert 18.0 <= done.minimum < done.maximum <= 30.0
    assert done.share_covered * onto.shape[0] * onto.shape[1] * 100 == pytest.approx(2500 * len(west), rel=0.02)


def test_boundary_of_the_banks_keeps_its_area_across_datums():
    """NAD83 read as another system; an area off from the file's own square kilometres."""
    frame, _ = read_polygons(data("flower_garden_banks/sanctuary_boundary_nad83.geojson"), to_crs=banks())
    got = [polygon_area(g, banks()) / 1e6 for g in frame.geometry]
    assert got == pytest.approx(frame["AREA_KM"].tolist(), rel=0.005)
    assert datum_note(CRS(4269), WGS84, -93.6, 27.9).startswith("NAD83 to WGS 84")


def test_colonies_of_the_banks_lie_inside_the_boundary():
    """Layers of two datums that do not meet."""
    columns = {"species": "SPECIES_CD", "size_cm": "MAX_DIAMETER"}
    frame, _ = read_points(
        data("flower_garden_banks/coral_colonies.csv"),
        to_crs=banks(),
        columns=columns,
        origin="wild",
        position_error_m=5.0,
    )
    assert len(frame) == 7480
    areas, _ = read_polygons(data("flower_garden_banks/sanctuary_boundary_nad83.geojson"), to_crs=banks())
    inside = shapely.contains_xy(areas.union_all(), frame.geometry.x, frame.geometry.y)
    assert inside.all()
    assert frame["size_cm"].notna().any()
