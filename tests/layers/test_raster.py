"""Rasters and polygons brought onto the grid: planes stay planes, gaps stay gaps, classes stay classes."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.base.crs import WGS84, transform_points
from sitekit.errors import FileFault, InputFault
from sitekit.layers.raster import align_raster, rasterize_polygons
from sitekit.layers.sampling import values_at
from tests.layers.rasters import NORTH, UTM, WEST, grid, plane, read, write


def sloping(rows, cols, cell, west=WEST, north=NORTH):
    x = west + (np.arange(cols) + 0.5) * cell
    y = north - (np.arange(rows) + 0.5) * cell
    return plane(x[None, :], y[:, None])


def due(onto):
    east, north = onto.centres()
    return plane(east[None, :], north[:, None])


@pytest.mark.parametrize(("cell", "shift"), [(1.0, 0.0), (1.0, 0.37), (3.0, 1.1), (0.7, 0.2), (0.25, 0.1)])
def test_a_plane_stays_a_plane(tmp_path, cell, shift):
    """Values half a cell off, a raster upside down, or blocks averaged about the wrong middle."""
    west, north = WEST - 20 + shift, NORTH + 20 - shift
    side = int(100 / cell)
    path = write(tmp_path / "in.tif", sloping(side, side, cell, west, north), cell=cell, west=west, north=north)
    onto = grid()
    done = align_raster(path, onto, tmp_path / "out.tif")
    np.testing.assert_allclose(read(done.path), due(onto), rtol=0, atol=2e-5)
    assert done.share_covered == 1.0
    assert done.minimum == pytest.approx(due(onto).min(), abs=2e-5)
    # 4 quarter metres to a cell, though the map's metre is 0.9996 of one here
    assert any("averaged over 4 × 4" in n for n in done.notes) == (cell == 0.25)


@pytest.mark.parametrize("turn", [0.0, 360.0])
def test_a_raster_on_an_older_datum_is_shifted_and_told(tmp_path, turn):
    """Depths 200 m from where they were read, without a word; on either side from which longitudes are counted."""
    onto, old = grid(), CRS.from_epsg(4267)
    lon, lat = transform_points(WEST, NORTH, UTM, old)
    step, west, north = 1e-5, float(lon) - 0.001, float(lat) + 0.001
    x, y = np.meshgrid(west + (np.arange(300) + 0.5) * step, north - (np.arange(300) + 0.5) * step)
    values = plane(*transform_points(x, y, old, UTM))
    path = write(tmp_path / "in.tif", values, crs="EPSG:4267", transform=Affine(step, 0, west + turn, 0, -step, north))
    done = align_raster(path, onto, tmp_path / "out.tif")
    np.testing.assert_allclose(read(done.path), due(onto), rtol=0, atol=1e-3)
    assert [n for n in done.notes if n.startswith("datum shift")] == [
        "datum shift: NAD27 to WGS 84 by 'NAD27 to WGS 84 (1)', 16 m"
    ]


def test_a_plane_in_degrees_stays_a_plane_in_metres(tmp_path):
    """A raster in degrees placed as if it were in metres, or its axes swapped."""
    onto = grid()
    lon, lat = transform_points(WEST, NORTH, UTM, WGS84)
    step = 1e-5
    west, north = float(lon) - 0.001, float(lat) + 0.001
    x, y = np.meshgrid(west + (np.arange(300) + 0.5) * step, north - (np.arange(300) + 0.5) * step)
    values = plane(*transform_points(x, y, WGS84, UTM))
    path = write(tmp_path / "in.tif", values, crs="EPSG:4326", transform=Affine(step, 0, west, 0, -step, north))
    done = align_raster(path, onto, tmp_path / "out.tif")
    np.testing.assert_allclose(read(done.path), due(onto), rtol=0, atol=1e-4)
    assert done.source_crs == "EPSG:4326"
    assert done.source_resolution_m == pytest.approx((1.058, 1.107), abs=0.005)  # at 18.1° N


def test_longitudes_counted_to_360_lie_where_they_lie(tmp_path):
    """A raster from 0 to 360° that overlaps nothing west of Greenwich."""
    lon, lat = transform_points(WEST, NORTH, UTM, WGS84)
    place = Affine(1e-5, 0, float(lon) + 360 - 0.001, 0, -1e-5, float(lat) + 0.001)
    path = write(tmp_path / "in.tif", np.full((300, 300), 7.0), crs="EPSG:4326", transform=place)
    done = align_raster(path, grid(), tmp_path / "out.tif")
    assert done.share_covered == 1.0
    assert done.extent[0] == pytest.approx(float(lon) - 0.001)


def test_gaps_stay_gaps_and_do_not_grow(tmp_path):
    """A hole filled by its neighbours, or eaten outwards."""
    values = np.full((40, 50), 6.0)
    values[10:13, 20:22] = -9999
    path = write(tmp_path / "in.tif", values, nodata=-9999)
    out = read(align_raster(path, grid(), tmp_path / "out.tif").path)
    np.testing.assert_array_equal(np.isnan(out), values == -9999)
    assert np.nanmin(out) == np.nanmax(out) == 6.0


@settings(max_examples=15)
@given(st.integers(0, 39), st.integers(0, 49), st.floats(0.05, 0.45))
def test_no_value_is_made_up_beyond_its_neighbours(tmp_path_factory, row, col, shift):
    """A gap's −9999 leaking into a mean."""
    folder = tmp_path_factory.mktemp("r")
    values = np.random.default_rng(row * 50 + col).uniform(2, 9, (40, 50))
    low, high = values.min(), values.max()
    values[row, col] = -9999
    path = write(folder / "in.tif", values, nodata=-9999, west=WEST + shift)
    out = read(align_raster(path, grid(), folder / "out.tif").path)
    assert low - 1e-6 <= np.nanmin(out) <= np.nanmax(out) <= high + 1e-6


def test_scale_and_offset_of_file_and_settings_are_applied(tmp_path):
    """Packed values taken as metres, or a sign turned before the file's own packing."""
    path = write(tmp_path / "in.tif", np.full((40, 50), 120, np.int16), scales=0.1, offsets=-2.0)
    done = align_raster(path, grid(), tmp_path / "out.tif", scale=-1.0, offset=1.0)
    assert read(done.path)[5, 5] == pytest.approx(-(120 * 0.1 - 2.0) + 1.0)
    assert any("packs its values: × 0.1 + -2 applied" in n for n in done.notes)


def test_a_class_is_that_of_the_cell_that_holds_the_centre(tmp_path):
    """A class 1.5 between 1 and 2, or a border moved by half a cell."""
    values = np.random.default_rng(3).choice([1, 2, 7], (20, 25)).astype(np.uint8)
    path = write(tmp_path / "in.tif", values, cell=2.0)
    out = read(align_raster(path, grid(), tmp_path / "out.tif", kind="class", codes={1: 11, 2: 12, 7: 0}).path)
    np.testing.assert_array_equal(out, np.kron(np.select([values == 1, values == 2], [11, 12], 0), np.ones((2, 2))))


def test_a_class_without_a_line_is_refused_with_its_count(tmp_path):
    """A bottom type silently unknown."""
    path = write(tmp_path / "in.tif", np.array([[1, 1], [4, 1]], np.uint8).repeat(20, 0).repeat(25, 1))
    with pytest.raises(InputFault, match=r"class 4: stands in 500 cells and has no class.*Add \"4\" = "):
        align_raster(path, grid(), tmp_path / "out.tif", kind="class", codes={1: 3})
    assert not (tmp_path / "out.tif").exists()


def test_a_gap_value_that_bytes_cannot_hold_marks_no_class(tmp_path):
    """nodata = −9999 that wraps to 241 in a file of bytes and wipes out class 241."""
    path = write(tmp_path / "in.tif", np.full((40, 50), 241, np.uint8))
    done = align_raster(path, grid(), tmp_path / "out.tif", kind="class", codes={241: 5}, nodata=-9999)
    assert (read(done.path) == 5).all()


def test_a_hidden_gap_value_is_refused_and_named(tmp_path):
    """A trench of 9999 m in a lagoon."""
    values = sloping(40, 50, 1.0)
    values[3, 4] = -9999
    path = write(tmp_path / "in.tif", values)
    with pytest.raises(
        InputFault, match=r"holds -9999 among values from .* no nodata value is declared.*set nodata = -99"
    ):
        align_raster(path, grid(), tmp_path / "out.tif")
    done = align_raster(path, grid(), tmp_path / "out.tif", nodata=-9999)
    assert done.share_covered == pytest.approx(1 - 1 / 2000)


def test_a_raster_without_a_system_is_refused_until_it_is_stated(tmp_path):
    """Degrees or metres guessed."""
    path = write(tmp_path / "in.tif", sloping(40, 50, 1.0), crs=None)
    with pytest.raises(InputFault, match=r"has no coordinate system; due: .*State it: crs = 'EPSG"):
        align_raster(path, grid(), tmp_path / "out.tif")
    assert align_raster(path, grid(), tmp_path / "out.tif", crs="EPSG:32620").share_covered == 1.0


def test_a_stated_system_wins_and_says_so(tmp_path):
    """A system overruled in silence."""
    path = write(tmp_path / "in.tif", sloping(40, 50, 1.0), crs="EPSG:32619")
    done = align_raster(path, grid(), tmp_path / "out.tif", crs="EPSG:32620")
    assert any("the file says EPSG:32619, the settings say EPSG:32620" in n for n in done.notes)


def test_a_raster_elsewhere_is_refused_with_both_places(tmp_path):
    """An empty result that looks like a bad reef."""
    path = write(tmp_path / "in.tif", sloping(40, 50, 1.0), west=WEST + 10_000)
    with pytest.raises(InputFault, match=r"has no value on the grid; it lies at .* due: a layer that overlaps"):
        align_raster(path, grid(), tmp_path / "out.tif")


@pytest.mark.parametrize(
    ("more", "said"),
    [({"band": 3}, r"band: 3; due: 1 to 1"), ({"crs": "EPSG:0"}, "names no coordinate system")],
)
def test_other_faults_of_a_raster_are_told(tmp_path, more, said):
    """A program's own message in place of advice."""
    path = write(tmp_path / "in.tif", sloping(40, 50, 1.0))
    with pytest.raises(InputFault, match=said):
        align_raster(path, grid(), tmp_path / "out.tif", **more)


def test_a_missing_or_broken_raster_is_refused_by_name(tmp_path):
    """A trace in place of a file's name."""
    with pytest.raises(FileFault, match=r"none\.tif: does not exist; due: a raster file"):
        align_raster(tmp_path / "none.tif", grid(), tmp_path / "out.tif")
    (tmp_path / "bad.tif").write_bytes(b"no raster")
    with pytest.raises(FileFault, match=r"bad\.tif: cannot be read"):
        align_raster(tmp_path / "bad.tif", grid(), tmp_path / "out.tif")


def test_coarse_and_oblong_source_cells_leave_notes(tmp_path):
    """Detail between 5 m cells taken for survey."""
    path = write(tmp_path / "in.tif", np.full((20, 10), 4.0), transform=Affine(6, 0, WEST, 0, -3, NORTH))
    notes = align_raster(path, grid(), tmp_path / "out.tif").notes
    assert any("6.0 grid cells wide: detail between them is made up" in n for n in notes)
    assert any("not square: 6 m by 3 m" in n for n in notes)


def frame(shapes, values):
    return gpd.GeoDataFrame({"v": values}, geometry=shapes, crs=UTM)


def test_a_cell_takes_the_polygon_that_holds_its_centre(tmp_path):
    """Cells that are only touched counted in, or an overlap decided by chance."""
    shapes = [shapely.box(WEST, NORTH - 10, WEST + 20, NORTH), shapely.box(WEST + 10, NORTH - 10.4, WEST + 30, NORTH)]
    done = rasterize_polygons(frame(shapes, [1.5, 2.5]), "v", grid(), tmp_path / "out.tif", scale=2.0)
    out = read(done.path)
    assert (out[:10, :10] == 3.0).all()
    assert (out[:10, 10:30] == 5.0).all()
    assert np.isnan(out[10:]).all()
    assert np.isnan(out[:, 30:]).all()
    assert any("100 cells lie in more than one polygon: the later row decides" in n for n in done.notes)


@pytest.mark.parametrize(
    ("values", "more", "said"),
    [
        ([1.0, "deep"], {}, r"feature 2, v: 'deep'; due: a number"),
        (["a", "b"], {"kind": "class", "codes": {"a": 1}}, r"feature 2, v: 'b'; due: a mapped class. Add \"b\" = "),
    ],
)
def test_text_in_numbers_and_unmapped_classes_are_refused(tmp_path, values, more, said):
    """A row dropped in silence."""
    shapes = [shapely.box(WEST, NORTH - 9, WEST + 9, NORTH)] * 2
    with pytest.raises(InputFault, match=said):
        rasterize_polygons(frame(shapes, values), "v", grid(), tmp_path / "out.tif", **more)


def test_polygons_of_another_system_or_without_the_field_are_refused(tmp_path):
    """Degrees burnt as metres."""
    shapes = frame([shapely.box(WEST, NORTH - 9, WEST + 9, NORTH)], [1.0])
    with pytest.raises(InputFault, match="due: EPSG:32620, that of the grid"):
        rasterize_polygons(shapes.set_crs(CRS(32619), allow_override=True), "v", grid(), tmp_path / "out.tif")
    with pytest.raises(InputFault, match=r"field: 'w' is not there; due: v"):
        rasterize_polygons(shapes, "w", grid(), tmp_path / "out.tif")


def test_values_at_points_are_those_of_the_cells_that_hold_them(tmp_path):
    """A point read from the next cell, a gap read as a number, or a value from beyond the edge."""
    values = np.arange(600 * 700, dtype=np.float64).reshape(600, 700)
    values[0, 1] = np.nan
    path = write(tmp_path / "r.tif", values)
    x = WEST + np.array([0.5, 1.5, 699.99, -0.01, 600.0, 513.0])
    y = NORTH - np.array([0.5, 0.5, 599.99, 0.5, 600.01, 513.0])
    found = values_at(path, x, y)
    np.testing.assert_array_equal(found, [0.0, np.nan, 599 * 700 + 699, np.nan, np.nan, 513 * 700 + 513])
