"""Existing colonies: columns found, every fault of the file at once, places checked."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.base.crs import WGS84, transform_points
from sitekit.errors import FileFault, InputFault
from sitekit.layers.points import read_points
from tests.layers.rasters import NORTH, UTM, WEST

HEAD = "lon,lat,species,size_cm,origin,position_error_m\n"
GOOD = "-63.01,18.1,APAL,30,wild,3\n"
STATED = {"origin": "wild", "position_error_m": 3.0}


def table(folder, text, name="colonies.csv"):
    path = folder / name
    path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return path


def test_a_row_is_read_as_written(tmp_path):
    """Swapped axes, a lost size, or a genus made up for an empty cell."""
    frame, notes = read_points(table(tmp_path, HEAD + GOOD + "-63.02,18.2,,,Outplant,\n"), to_crs=UTM, **STATED)
    x, y = transform_points([-63.01, -63.02], [18.1, 18.2], WGS84, UTM)
    assert np.allclose(shapely.get_coordinates(frame.geometry.to_numpy()), np.column_stack([x, y]), atol=1e-6)
    assert frame["species"].tolist() == ["APAL", None]
    assert frame["origin"].tolist() == ["wild", "outplant"]
    assert frame["position_error_m"].tolist() == [3.0, 3.0]
    assert frame["line"].tolist() == [2, 3]
    assert np.isnan(frame["size_cm"][1])
    assert notes == (
        "commas between columns, UTF-8",
        "header in line 1",
        "coordinates from 'lon' and 'lat'",
        "system WGS 84",
        "no datum is told: taken as WGS 84; if it is another, add `crs`",
    )


@pytest.mark.parametrize("names", ["Longitude,Latitude", "LON_DEGREES,LAT_DEGREES", "decimalLongitude,decimalLatitude"])
def test_usual_names_of_coordinates_are_found(tmp_path, names):
    """A usual table refused."""
    frame, _ = read_points(table(tmp_path, f"{names}\n-63.0,18.0\n"), to_crs=UTM, **STATED)
    assert frame.geometry.x[0] == pytest.approx(500_000, abs=1e-3)  # the central meridian of zone 20


def test_eastings_need_a_system_and_columns_may_be_named(tmp_path):
    """Metres of an unknown zone."""
    path = table(tmp_path, f"ost,nord,art\n{WEST},{NORTH},ACER\n")
    with pytest.raises(InputFault, match=r"columns 'ost' and 'nord' without a system; due: .* Add `crs`"):
        read_points(path, to_crs=UTM, x="ost", y="nord", **STATED)
    given_ = {"x": "ost", "y": "nord", "crs": "EPSG:32620", "columns": {"species": "art"}}
    frame, _ = read_points(path, to_crs=UTM, **given_, **STATED)
    assert frame["species"].tolist() == ["ACER"]
    assert (frame.geometry.x[0], frame.geometry.y[0]) == pytest.approx((WEST, NORTH))


def test_all_faults_of_a_table_are_told_with_their_lines(tmp_path):
    """One fault a run, or a line number off by one."""
    rows = "-63.01,18.1,APAL,big,wild,3\n-63.01,18.1,APAL,-4,wild,3\n-63.01,18.1,APAL,5,tame,3\n"
    with pytest.raises(InputFault) as caught:
        read_points(table(tmp_path, HEAD + GOOD + rows), to_crs=UTM)
    said = [str(f) for f in caught.value.faults]
    assert said.pop() == (
        "layers.colonies: 3 rows of colonies.csv cannot be used; due: every row. Correct them, or go on without them: "
        "accept_partial = true in [layers.colonies] lists them in out/refused_rows.csv."
    )
    assert said == [
        "colonies.csv, line 3: size_cm is 'big'; due: a number. Correct it.",
        "colonies.csv, line 4: size_cm is -4; due: a number of 0 or more. Correct it.",
        "colonies.csv, line 5: origin 'tame'; due: wild or outplant. Correct it.",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + "west,18.1,A,1,wild,3\n", r"line 2: lon is 'west'; due: a number"),
        (HEAD + ",18.1,A,1,wild,3\n", r"line 2: lon is empty; due: a number"),
        (HEAD, r"holds no colony; due: at least one row"),
        ("name,depth\na,3\n", r"has columns name, depth; due: columns of coordinates"),
        (HEAD + "18.1,-163.0,A,1,wild,3\n", r"latitude and longitude look swapped in 1 rows \(lines 2\)"),
        (
            HEAD + "18.1,-63.0,A,1,wild,3\n",
            r"look swapped in 1 rows \(lines 2\); due: longitude in x, latitude in y. Name the columns the other way round",
        ),
        (HEAD.replace(",origin", ",o") + GOOD, r"layers\.colonies\.origin: not given; due: wild or outplant"),
        ("lon,lat,origin\n-63,18,wild\n", r"position_error_m: not given; .*It widens the clearance"),
        (b"lon,lat,origin,position_error_m\n-63,18\xe9,wild,3\n", r"line 2: lat is '18é'"),
        (b"lon,lat\n-63,18\x81\n", r"byte 14 is neither UTF-8 nor cp1252; due: a CSV in UTF-8"),
    ],
)
def test_what_cannot_be_used_is_refused(tmp_path, text, said):
    """Colonies lost, or moved to another ocean, in silence."""
    with pytest.raises(InputFault, match=said):
        read_points(table(tmp_path, text), to_crs=UTM)


def test_many_faults_are_cut_short(tmp_path):
    """A thousand lines of the same message."""
    with pytest.raises(InputFault, match="more faults follow") as caught:
        read_points(table(tmp_path, HEAD + "x,y,A,1,wild,3\n" * 500), to_crs=UTM)
    assert len(caught.value.faults) <= 22


def test_a_column_named_but_absent_is_refused(tmp_path):
    """A size silently unknown because of a typing error."""
    with pytest.raises(InputFault, match=r"columns\.size_cm: no column 'size'; due: .*species"):
        read_points(table(tmp_path, HEAD + GOOD), to_crs=UTM, columns={"size_cm": "size"})


def test_a_missing_file_is_refused_by_name(tmp_path):
    """A trace in place of a name."""
    for name in ("none.csv", "none.gpkg"):
        with pytest.raises(FileFault, match=rf"none\.{name[5:]} cannot be read"):
            read_points(tmp_path / name, to_crs=UTM)


def test_colonies_on_one_position_leave_a_note(tmp_path):
    """Positions of a site taken for those of its colonies."""
    _, notes = read_points(table(tmp_path, HEAD + GOOD * 3), to_crs=UTM)
    assert "2 colonies stand on the position of another" in notes


def test_tabs_part_the_columns_of_a_tsv(tmp_path):
    """A table of one column."""
    path = table(tmp_path, (HEAD + GOOD).replace(",", "\t"), "colonies.tsv")
    assert read_points(path, to_crs=UTM)[0]["species"].tolist() == ["APAL"]


def test_a_vector_file_gives_the_same_colonies(tmp_path):
    """An empty cell of a vector file read as a species called nan."""
    path = tmp_path / "colonies.gpkg"
    values = {"species": ["APAL", None], "size_cm": [30.0, np.nan], "origin": ["wild", "wild"]}
    shapes = [shapely.Point(-63.01, 18.1), shapely.Point(-63.02, 18.2)]
    gpd.GeoDataFrame(values, geometry=shapes, crs=CRS(4326)).to_file(path)
    frame, _ = read_points(path, to_crs=UTM, position_error_m=3.0)
    assert frame["species"].tolist() == ["APAL", None]
    assert frame["size_cm"].isna().tolist() == [False, True]
    assert frame.geometry.x[0] == pytest.approx(float(transform_points(-63.01, 18.1, WGS84, UTM)[0]))


@settings(max_examples=15)
@given(st.lists(st.tuples(st.floats(-65.9, -60.1), st.floats(5, 40)), min_size=1, max_size=8))
def test_places_written_and_read_are_the_same(tmp_path_factory, places):
    """A decimal lost on the way."""
    text = "lon,lat\n" + "".join(f"{a!r},{b!r}\n" for a, b in places)
    frame, _ = read_points(table(tmp_path_factory.mktemp("c"), text), to_crs=UTM, **STATED)
    back = transform_points(frame.geometry.x, frame.geometry.y, UTM, WGS84)
    assert np.allclose(np.column_stack(back), places, atol=1e-9, rtol=0)
