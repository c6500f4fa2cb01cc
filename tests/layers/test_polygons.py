"""Outlines as somebody drew them: repaired with a note, or refused with a reason."""

import geopandas as gpd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.errors import FileFault, InputFault
from sitekit.layers.polygons import read_polygons
from tests.layers.rasters import NORTH, UTM, WEST

SQUARE = shapely.box(WEST, NORTH, WEST + 100, NORTH + 100)
BOW_TIE = shapely.Polygon([(WEST, NORTH), (WEST + 10, NORTH + 10), (WEST + 10, NORTH), (WEST, NORTH + 10)])


def file(folder, shapes, crs=UTM, **columns):
    path = folder / "shapes.gpkg"
    gpd.GeoDataFrame(columns, geometry=shapes, crs=crs).to_file(path)
    return path


def test_a_shape_that_crosses_itself_is_repaired_and_noted(tmp_path):
    """A bow tie of area 0, or a repair nobody hears of."""
    frame, notes = read_polygons(file(tmp_path, [SQUARE, BOW_TIE]), to_crs=UTM)
    assert frame.geometry.is_valid.all()
    assert frame.area.tolist() == pytest.approx([10_000.0, 50.0])  # two triangles of 10 by 5
    assert len(notes) == 1
    assert notes[0].startswith("shapes in rows 2 cross themselves (Self-intersection")


def test_rows_keep_their_number_in_the_file_and_points_are_left_out(tmp_path):
    """A fault told for the wrong row."""
    path = file(tmp_path, [shapely.Point(WEST, NORTH), SQUARE, None], name=["a", "b", "c"])
    frame, notes = read_polygons(path, to_crs=UTM)
    assert frame["line"].tolist() == [2]
    assert frame["name"].tolist() == ["b"]
    assert notes == ("2 rows without a polygon left out",)


@settings(max_examples=8)
@given(st.floats(-64.9, -61.1), st.floats(10, 40))
def test_shapes_come_into_the_working_system(tmp_path_factory, lon, lat):
    """Axes swapped on the way, or degrees kept as metres."""
    shape = shapely.box(lon, lat, lon + 0.001, lat + 0.001)
    frame, _ = read_polygons(file(tmp_path_factory.mktemp("p"), [shape], CRS(4326)), to_crs=UTM)
    back = frame.to_crs(4326).geometry.iloc[0]
    assert shapely.hausdorff_distance(back, shape) < 1e-8


def test_an_empty_layer_is_refused(tmp_path):
    """A plan without the areas it was told to keep clear of."""
    with pytest.raises(
        InputFault, match=r"layers\.protected: shapes\.gpkg holds no polygon; due: at least one polygon"
    ):
        read_polygons(file(tmp_path, [shapely.Point(WEST, NORTH)]), to_crs=UTM, where="layers.protected")


def test_a_file_without_a_system_is_refused_until_it_is_stated(tmp_path):
    """Degrees or metres guessed."""
    path = tmp_path / "shapes.shp"
    gpd.GeoDataFrame({"a": [1]}, geometry=[SQUARE], crs=UTM).to_file(path)
    (tmp_path / "shapes.prj").unlink()
    with pytest.raises(InputFault, match=r"does not say its coordinate system; due: a system. Add `crs`"):
        read_polygons(path, to_crs=UTM)
    assert read_polygons(path, to_crs=UTM, crs="EPSG:32620")[0].area.iloc[0] == pytest.approx(10_000)


def test_a_missing_and_a_damaged_file_are_refused_by_name(tmp_path):
    """A program's own message in place of advice."""
    with pytest.raises(FileFault, match=r"polygons: none\.gpkg is missing; due: a vector file"):
        read_polygons(tmp_path / "none.gpkg", to_crs=UTM)
    (tmp_path / "bad.gpkg").write_bytes(b"no shapes")
    with pytest.raises(FileFault, match=r"bad\.gpkg cannot be read"):
        read_polygons(tmp_path / "bad.gpkg", to_crs=UTM)


def test_a_table_without_shapes_is_refused(tmp_path):
    """A table taken for a layer."""
    (tmp_path / "a.csv").write_text("a,b\n1,2\n")
    with pytest.raises(InputFault, match=r"a\.csv has no shapes; due: points, lines or areas"):
        read_polygons(tmp_path / "a.csv", to_crs=UTM)


def test_shapes_the_system_cannot_reach_are_refused(tmp_path):
    """Infinite coordinates passed on: metres in a file that says degrees."""
    with pytest.raises(InputFault, match="lies outside WGS 84 / UTM zone 20N; due: shapes in the area"):
        read_polygons(file(tmp_path, [SQUARE]), to_crs=UTM, crs="EPSG:4326")
