"""Tables as people keep them: what was read is told, what cannot be read is refused with its line."""

import zipfile

import geopandas as gpd
import numpy as np
import openpyxl
import pytest
import shapely

from sitekit.errors import InputFault
from sitekit.layers.aliases import Named, genet_doubts, read_aliases
from sitekit.layers.cells import Reading
from sitekit.layers.depth_units import depth_units
from sitekit.layers.doubles import near_doubles
from sitekit.layers.points import Given, read_points
from sitekit.layers.rows import read_rows
from sitekit.layers.text_rows import MOST_BYTES
from sitekit.layers.vector_file import read_vector
from tests.layers.rasters import UTM

STATED = {"origin": "wild", "position_error_m": 3.0}


@pytest.mark.parametrize("text", ["18° 6.0′ N;63° 0.6' W", "18°06'00”N;63 00 36 W", "18,1;-63,01"])
def test_semicolons_commas_and_quote_marks_give_one_place(tmp_path, text):
    """A decimal comma taken for a separator, or minutes for degrees."""
    path = tmp_path / "a.csv"
    path.write_bytes(f"Mi lista\nLatitud;Longitud\n{text}\n".encode("utf-8-sig"))
    frame, notes = read_points(path, to_crs=UTM, **STATED)
    point = frame.to_crs(4326).geometry.iloc[0]
    assert (point.x, point.y) == pytest.approx((-63.01, 18.1), abs=1e-9)
    assert "header in line 2; 1 rows above it left out" in notes


def test_a_spreadsheet_keeps_zeros_and_tells_dates_formulas_and_hidden_sheets(tmp_path):
    """A genet 010 read as 10, a formula as nothing, a date as a name."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["species", "genet", "ready", "size_cm"])
    sheet.append(["APAL", 10, "=1+1", 5.5])
    sheet["B2"].number_format = "000"
    book.create_sheet("old").sheet_state = "hidden"
    book.save(tmp_path / "a.xlsx")
    rows = read_rows(tmp_path / "a.xlsx", "stock.file")
    assert rows.cells == [["APAL", "010", "", "5.5"]]
    assert rows.odd == {(2, "ready"): "a formula whose value was never worked out"}
    assert "hidden sheets not read: old" in rows.said
    with pytest.raises(InputFault, match=r"stock\.file\.sheet: no sheet 'x'"):
        read_rows(tmp_path / "a.xlsx", "stock.file", Reading(sheet="x"))


def test_refused_rows_are_set_aside_only_when_asked(tmp_path):
    """A row lost in silence, or a file lost for one row."""
    path = tmp_path / "a.csv"
    path.write_text("lon,lat\n-63.01,18.1\nwest,18.1\n18.1,-63.01\n")
    with pytest.raises(InputFault, match="line 3: lon is 'west'"):
        read_points(path, to_crs=UTM, **STATED)
    refused = []
    frame, _ = read_points(path, to_crs=UTM, refused=refused, **STATED)
    assert len(frame) == 1
    assert [(r.line, r.reason.split(" (")[0]) for r in refused] == [
        (3, "lon is 'west'"),
        (4, "latitude and longitude look swapped"),
    ]


def test_an_older_datum_is_shifted_and_told(tmp_path):
    """Positions off by the shift of the datum."""
    path = tmp_path / "a.csv"
    path.write_text("decimalLongitude,decimalLatitude,geodeticDatum\n-63.01,18.1,NAD27\n")
    frame, notes = read_points(path, to_crs=UTM, **STATED)
    assert any(n.startswith("datum shift: NAD27 to WGS 84") for n in notes)
    expected = gpd.GeoSeries([shapely.Point(-63.01, 18.1)], crs=4267).to_crs(UTM).iloc[0]
    assert frame.geometry.iloc[0].distance(expected) < 0.001


def test_a_bomb_and_a_giant_are_refused_before_they_are_read(tmp_path):
    """Memory filled by a small archive, or by a table of gigabytes."""
    with zipfile.ZipFile(tmp_path / "a.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", b" " * (20 * 2**20))
    with pytest.raises(InputFault, match=r"grows .* times"):
        read_vector(tmp_path / "a.kmz", "x")
    with (tmp_path / "a.csv").open("wb") as file:
        file.truncate(2 * 2**30)
    assert MOST_BYTES < 2 * 2**30
    with pytest.raises(InputFault, match="2,048 MiB"):
        read_rows(tmp_path / "a.csv", "x")


def test_placemarks_in_folders_and_a_zipped_shapefile_are_read(tmp_path):
    """A folder's name lost, or shapes moved."""
    kml = "<kml><Document><Folder><name>F</name><Placemark><name>&lt;b&gt;</name><Point><coordinates>-63.01,18.1,0"
    (tmp_path / "a.kml").write_text(kml + "</coordinates></Point></Placemark></Folder></Document></kml>")
    frame, _ = read_vector(tmp_path / "a.kml", "x")
    assert (frame["name"][0], frame["folder"][0], frame.geometry[0].x) == ("<b>", "F", -63.01)
    frame[["name", "geometry"]].to_file(tmp_path / "s.shp")
    with zipfile.ZipFile(tmp_path / "s.zip", "w") as archive:
        for part in tmp_path.glob("s.*"):
            if part.suffix != ".zip":
                archive.write(part, f"sub/{part.name}")
    assert read_vector(tmp_path / "s.zip", "x")[0].geometry[0].equals(frame.geometry[0])


def test_a_track_is_no_colony_and_an_entity_is_refused(tmp_path):
    """Every point of a track planted around, or an entity grown without end."""
    (tmp_path / "a.gpx").write_text('<gpx version="1.1"><trk/></gpx>')
    with pytest.raises(InputFault, match="1 tracks, 0 routes and no waypoint"):
        read_vector(tmp_path / "a.gpx", "x")
    (tmp_path / "b.kml").write_text('<!DOCTYPE k [<!ENTITY a "b">]><kml/>')
    with pytest.raises(InputFault, match="document type or entities"):
        read_vector(tmp_path / "b.kml", "x")


def test_the_unit_of_depths_is_found_beside_the_map():
    """Depths three times too deep; a group that fits nothing named a unit."""
    groups = ["2019"] * 3 + ["2020"] * 3 + ["2021"] * 3 + ["2022"] * 3
    read = [3, 4, 5, 9.8, 13.1, 16.4, 1.6, 2.2, 2.7, 30, 40, 50]
    found = depth_units(read, [3, 4, 5] * 4, groups)
    assert [(c.group, c.unit, c.rows) for c in found] == [
        ("2019", "m", 3), ("2020", "ft", 3), ("2021", "fathom", 3), ("2022", None, 3)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ([("K-1", "", "p"), ("k1", "", "q")], "A: K-1, k1 differ only in case, gaps or marks: one genet?"),
        ([("a", "R", "p"), ("b", "R", "q")], "A: a, b of different partners come from 'R': one genet?"),
        ([("a", "R", "p"), ("a", "S", "p")], "A: a has parents at R, S: two genets under one name?"),
        ([("a", "", "p"), ("a", "", "q")], "A: a is a name of p, q: the same genet?"),
        ([("a", "R", "p"), ("b", "R", "q"), ("c", "R", "q")], None),  # a reef, not a colony
    ],
)
def test_genets_that_may_be_one_or_two_are_asked_about_until_the_list_names_them(names, said):
    """Two names of one genet planted as neighbours, or two genets counted as one."""
    rows = [Named("A", *n) for n in names]
    assert [d.said for d in genet_doubts(rows)] == ([said] if said else [])
    assert genet_doubts([Named("A", *n, settled=True) for n in names]) == ()


def test_partners_names_are_mapped_and_faults_of_the_list_told_at_once(tmp_path):
    """A name that means two things; a partner's name applied to all."""
    path = tmp_path / "aliases.csv"
    head = "kind;name;means;partner;species\n"
    path.write_text(head + "species;Acropora palmata;APAL;;\ngenet;K1;reef-7;school;APAL\ngenet;9;9;;\n")
    names = read_aliases(path)
    assert names.species("Acropora palmata", "anybody") == "APAL"
    assert [names.genet("K1", "APAL", p) for p in ("school", "team")] == ["reef-7", "K1"]
    assert (names.settled("9", "APAL", "team"), names.settled("K1", "APAL", "team")) == (True, False)
    path.write_text(head + "genet;a;b;;\ngenet;a;c;;\nreef;x;y;;\ngenet;b;d;;\n")
    with pytest.raises(InputFault) as caught:
        read_aliases(path)
    text = str(caught.value)
    for part in ("line 3: 'a' means 'b' and 'c'", "line 4: kind 'reef'", "'a' means 'b', which means 'd'"):
        assert part in text


def test_points_of_two_files_nearer_than_their_errors_are_asked_about():
    """One colony listed by two partners and kept clear of twice, or neighbours taken for one."""
    x, error = np.array([0.0, 50.0, 2.0, 58.0]), np.array([3.0, 3.0, 3.0, 3.0])
    label = [("a.csv", "p", 2), ("a.csv", "p", 3), ("b.csv", "q", 2), ("b.csv", "q", 3)]
    (doubt,) = near_doubles(x, np.zeros(4), error, ["A", "A", "", "A"], label)
    assert "a.csv of p and b.csv of q: 1 pairs nearer than their errors (lines 2 and 2, 2.0 m)" in doubt.said
    assert near_doubles(x, np.zeros(4), error, ["A", "A", "B", "B"], label) == ()
    named = [*label[:2], ("b.gpx", "q", "C000"), ("b.gpx", "q", "C001")]
    (doubt,) = near_doubles(x, np.zeros(4), error, ["A", "A", "", "A"], named)
    assert "(line 2 and C000, 2.0 m)" in doubt.said


def test_a_file_that_holds_another_once_more_is_told_as_a_copy():
    """Fifty-nine colonies counted where there are fourteen, behind six lines of pairs."""
    x = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 0.05, 10.1, 20.0, 31.0])
    label = [("all.csv", "", k) for k in range(2, 7)] + [("copy.csv", "", k) for k in range(2, 6)]
    (doubt,) = near_doubles(x, np.zeros(9), np.full(9, 2.0), [""] * 9, label)
    assert doubt.said == "copy.csv looks like a copy of all.csv: 3 of its 4 colonies stand there too"
    (doubt,) = near_doubles(x + np.arange(9) * 0.21, np.zeros(9), np.full(9, 2.0), [""] * 9, label)
    assert "pairs nearer than their errors" in doubt.said


def test_a_double_is_found_among_many_species_on_one_position() -> None:
    """Survey lists put all colonies of a site on one position: those of other species would hide the double."""
    species = ["A", *(f"S{i}" for i in range(20)), "A"]
    label = [("one.csv", "", 2), *(("two.csv", "", i) for i in range(2, 23))]
    (doubt,) = near_doubles(np.zeros(22), np.zeros(22), np.ones(22), species, label)
    assert "1 pairs nearer than their errors (lines 2 and 22, 0.0 m)" in doubt.said


def test_rows_that_look_swapped_are_exchanged_only_when_told(tmp_path):
    """A reef on another continent, or rows turned without asking."""
    path = tmp_path / "a.csv"
    path.write_text("lat,lon\n18.1,-63.01\n-63.02,18.1\n")
    with pytest.raises(InputFault, match=r'rows \(lines 3\).*swapped_rows = "swap" exchanges.*accept_partial = true'):
        read_points(path, to_crs=UTM, **STATED)
    frame, notes = read_points(path, to_crs=UTM, given=Given(swap=True), **STATED)
    assert [round(p.x, 2) for p in frame.to_crs(4326).geometry] == [-63.01, -63.02]
    assert "latitude and longitude exchanged in 1 rows (lines 3), as swapped_rows says" in notes


def test_the_encoding_can_be_named_and_a_wrong_one_is_refused(tmp_path):
    """An accent read as two letters."""
    path = tmp_path / "a.csv"
    path.write_bytes("name,lon,lat\nSeñal,-63.01,18.1\n".encode("mac-roman"))
    assert read_rows(path, "x", Reading(encoding="mac-roman")).column("name") == ["Señal"]
    with pytest.raises(InputFault, match=r"x\.encoding: a\.csv is not utf-8"):
        read_rows(path, "x", Reading(encoding="utf-8"))
