"""Tables as people keep them: what was read is told, what cannot be read is refused with its line."""

import zipfile

import geopandas as gpd
import openpyxl
import pytest
import shapely

from sitekit.errors import InputFault
from sitekit.layers.aliases import genet_doubts
from sitekit.layers.cells import Reading
from sitekit.layers.depth_units import depth_doubts
from sitekit.layers.points import read_points
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


def test_years_in_feet_and_doubtful_genets_are_named():
    """Depths three times too deep; two names of one genet planted as neighbours."""
    found = depth_doubts([3, 4, 5, 9.8, 13.1, 16.4], [3, 4, 5, 3, 4, 5], ["2019"] * 3 + ["2020"] * 3)
    assert [(g, u, n) for g, u, n, _ in found] == [("2020", "ft", 3)]
    said = genet_doubts(["A", "A"], ["K-1", "k1"], ["", ""], ["p", "q"])
    assert said == ("A: K-1, k1 differ only in case, gaps or marks: one genet?",)
