"""Named places, returned forms and pins kept in spreadsheets and lists: read as lists are, refused rows set aside."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from pyproj import CRS, Transformer
from shapely import Point

from sitekit.errors import Faults, InputFault
from sitekit.pipeline.places import named_places, places_reading
from sitekit.pipeline.scout import forms_reading
from sitekit.pipeline.set_pins import _read_table
from sitekit.sites.scout import FORM_COLUMNS
from tests.pipeline.test_given import project

UTM = CRS.from_epsg(32622)


def workbook(path: Path, *rows: list[Any]) -> None:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(path)


def layers(**places: Any) -> dict[str, Any]:
    depth = {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
    return {"bathymetry": depth, "named_places": {"name_field": "Reef", "file": "reefs.xlsx", **places}}


def test_named_places_of_a_spreadsheet_become_discs(tmp_path: Path) -> None:
    """A list of mooring balls would need a map program first; a row without a place would vanish."""
    head = ["Reef", "Position", "Radius"]
    rows = [["Ball 3", "18 03.0 N, 50 17.9 W", 30], ["Ball 4", "somewhere", 30], ["Ball 5", "18.05, -50.298", "wide"]]
    workbook(tmp_path / "reefs.xlsx", head, *rows)
    with pytest.raises(InputFault) as caught:
        named_places(project(tmp_path, layers=layers(radius_field="Radius")), UTM)
    text = str(caught.value)
    for part in ("reefs.xlsx, line 3", "reefs.xlsx, line 4", "radius 'wide'", "[layers.named_places]"):
        assert part in text
    read = places_reading(project(tmp_path, layers=layers(radius_field="Radius", accept_partial=True)), UTM)
    (place,) = read.places
    centre = place.shape.centroid
    x, y = Transformer.from_crs(4326, UTM, always_xy=True).transform(-50 - 17.9 / 60, 18.05)
    assert centre.distance(Point(x, y)) < 0.01
    assert place.shape.area == pytest.approx(3.1366 * 30**2, rel=1e-3)  # a polygon of 64 corners
    assert [(r.layer, r.line) for r in read.refused] == [("layers.named_places", 3), ("layers.named_places", 4)]


def test_forms_come_back_as_a_spreadsheet_and_a_wrong_one_is_set_aside(tmp_path: Path) -> None:
    """A form typed into a spreadsheet, its date a day of the calendar, would be typed again."""
    form = dict.fromkeys(FORM_COLUMNS, None) | {"longitude_deg": -50.3, "latitude_deg": 18.05, "observer": "me"}
    good = form | {"site": "A", "date": datetime.date(2026, 3, 2), "depth_m": 6.5, "go": "go"}
    wrong = good | {"site": "B", "go": "perhaps"}
    workbook(tmp_path / "back.xlsx", list(FORM_COLUMNS), list(good.values()), list(wrong.values()))
    scout = {"from": "back.xlsx"}
    with pytest.raises(InputFault, match="'perhaps'"):
        forms_reading(project(tmp_path, scout=scout))
    read = forms_reading(project(tmp_path, scout=scout | {"accept_partial": True}))
    assert [(f.site, f.date, f.depth_m, f.line) for f in read.forms] == [("A", "2026-03-02", 6.5, 2)]
    assert [(r.line, r.reason) for r in read.refused] == [(3, "go 'perhaps' (due: go, no-go, unsure)")]


def test_pins_are_read_from_a_spreadsheet_and_from_decimal_commas(tmp_path: Path) -> None:
    """Pins typed on a laptop set to Spanish would be refused at the end of a field day."""
    day = datetime.date(2026, 5, 4)
    workbook(tmp_path / "p.xlsx", ["Plot", "Pin", "Lat", "Lon", "Date"], ["WS-1", "A", 18.05, -50.3, day])
    (tmp_path / "p.csv").write_text("plot;pin;latitud;longitud;date\nWS-1;A;18,05;-50,3;2026-05-04\n")
    for name in ("p.xlsx", "p.csv"):
        faults = Faults()
        ((where, row),) = _read_table(tmp_path / name, faults)
        assert not faults.found
        assert where == f"{name}, line 2"
        assert (row["plot"], row["pin"], row["latitude_deg"], row["date"]) == ("WS-1", 1, 18.05, "2026-05-04")
        assert row["longitude_deg"] == pytest.approx(-50.3)
