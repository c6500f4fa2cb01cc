"""Pins for receivers: the schema's rules, round trips through gpxpy and GDAL, every notation."""

from __future__ import annotations

import csv
import json
import os
import re
import xml.etree.ElementTree as ET
from decimal import Decimal
from pathlib import Path
from typing import Any

import gpxpy
import pandas as pd
import pyogrio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.notation import angle_text
from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.outputs.gpx import (
    Waypoint,
    check_waypoints,
    gpx_text,
    normal_longitude,
    plain_decimal,
    write_gpx,
    xml_safe,
)
from sitekit.outputs.kml import kml_text, write_kml
from sitekit.outputs.waypoints import waypoint_list, waypoints_table, write_waypoints

ROWS: dict[str, Any] = {
    r["id"]: r
    for name in ("gpx", "kml", "coordinate_format")
    for r in json.loads(shared_file(f"reference/{name}.json").read_text("utf-8"))
}
GPX = "{http://www.topografix.com/GPX/1/1}"
# Children of metadataType in the schema of GPX 1.1 (Topografix, 2004), in their order.
METADATA = ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"]
CLOSE = 5e-7  # degrees
PINS = [
    Waypoint("OT01A", -50.296100574, 18.048697915, 'OT-01 A <b> & "quotes" ]]> ñ ′', 9.91, -16.02),
    Waypoint("OT01B", 180.0, -16.5, "on the line", None, 12.0),
    Waypoint("OT02A", -0.00002, 0.00002, "near nothing", 0.0, 0.0),
    Waypoint("OT02B", 179.9999999999, 89.9999999, "rounds to 180"),
]


def schema_faults(text: str) -> list[str]:
    """The rules of the GPX 1.1 schema that a file of waypoints can break (reference rows gpx-order and gpx-ranges)."""
    order = ROWS["gpx-order"]["inputs"]["wpt_children_order"]
    outer = ROWS["gpx-order"]["inputs"]["gpx_children_order"]
    decimal = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
    root = ET.fromstring(text)
    faults = []
    if root.tag != f"{GPX}gpx" or root.get("version") != "1.1" or not root.get("creator"):
        faults.append("root")
    faults += _sequence_faults(root, outer, many=("wpt", "rte", "trk"))
    for about in root.findall(f"{GPX}metadata"):
        faults += _sequence_faults(about, METADATA, many=("link",))
    for point in root.findall(f"{GPX}wpt"):
        faults += _sequence_faults(point, order, many=("link",))
        if set(point.attrib) != {"lat", "lon"}:
            faults.append(f"attributes of wpt: {sorted(point.attrib)}")
        for key, low, high in (("lat", -90, 90), ("lon", -180, 180)):
            value = point.get(key) or ""
            if not decimal.fullmatch(value) or not low <= Decimal(value) <= high or value in ("180", "180.0"):
                faults.append(f"{key} {value}")
        for child in point:
            tag = child.tag.removeprefix(GPX)
            if tag in ("ele", "magvar") and not decimal.fullmatch(child.text or ""):
                faults.append(f"{tag} {child.text}")
            if tag == "magvar" and not 0 <= Decimal(child.text or "-1") < 360:
                faults.append(f"magvar {child.text}")
    return faults


def _sequence_faults(parent: ET.Element, order: list[str], *, many: tuple[str, ...]) -> list[str]:
    """Children that the schema's sequence does not know, has in another order, or has once only."""
    tag = parent.tag.removeprefix(GPX)
    names = [child.tag.removeprefix(GPX) for child in parent]
    faults = [f"{name} in {tag}" for name in names if name not in order]
    known = [order.index(name) for name in names if name in order]
    if known != sorted(known):
        faults.append(f"order of {tag}")
    faults += [f"{n} twice in {tag}" for n in sorted(set(names) - set(many)) if names.count(n) > 1]
    return faults


def test_the_schema_check_itself_finds_what_the_reference_calls_invalid() -> None:
    """A check that passes everything proves nothing."""
    good = gpx_text(PINS[:1], name="n", description="d")
    assert schema_faults(good) == []
    assert schema_faults(good.replace('lon="-50.296100574"', 'lon="180.0"')) == ["lon 180.0"]
    assert schema_faults(good.replace('lon="-50.296100574"', 'lon="1.8e1"')) == ["lon 1.8e1"]
    assert schema_faults(good.replace("344.0", "-14.2")) == ["magvar -14.2"]
    assert schema_faults(good.replace(' creator="sitekit"', "")) == ["root"]
    assert schema_faults(good.replace("<sym>", "<depth>9</depth><sym>")) == ["depth in wpt"]
    assert schema_faults(good.replace("<sym>", "<sym>Flag</sym><sym>")) == ["sym twice in wpt"]
    assert schema_faults(good.replace(' lon="', ' length="')) == ["attributes of wpt: ['lat', 'length']", "lon "]
    assert schema_faults(re.sub(r"(<name>n</name>)\s*(<desc>d</desc>)", r"\2\1", good)) == ["order of metadata"]
    swapped = re.sub(
        r"(<ele>.*?</ele>)\s*(<magvar>.*?</magvar>)\s*(<name>.*?</name>)", r"\3\2\1", good, flags=re.DOTALL
    )
    assert schema_faults(swapped) == ["order of wpt"]


def test_gpx_keeps_the_rules_of_its_schema() -> None:
    """Child order, 180°, exponents, variation from 0 to 360."""
    text = gpx_text(PINS, name="Reef & co", description="run 1 <x>")
    assert schema_faults(text) == []
    assert 'lon="-180"' in text
    assert "e-" not in "".join(re.findall(r'l(?:at|on)="([^"]+)"', text))
    assert "<ele>-9.91</ele>" in text  # a depth goes in as a negative elevation
    assert "<magvar>344.0</magvar>" in text


def test_gpx_is_valid_by_the_published_schema(tmp_path: Path) -> None:
    """The published XSD is the judge where it is at hand: set SITEKIT_GPX_XSD to its path."""
    path = os.environ.get("SITEKIT_GPX_XSD")
    if not path:
        pytest.skip("the published gpx.xsd is not kept here: set SITEKIT_GPX_XSD to a copy")
    xmlschema = pytest.importorskip("xmlschema")
    target = tmp_path / "w.gpx"
    write_gpx(target, PINS, name="n", description="d")
    xmlschema.XMLSchema(path).validate(str(target))


@given(lon=st.floats(-180, 180), lat=st.floats(-90, 90), depth=st.floats(0, 40))
def test_gpxpy_reads_back_what_was_written(lon: float, lat: float, depth: float) -> None:
    """A pin that moves in a file is a pin that is not found."""
    text = gpx_text([Waypoint("P1", lon, lat, "x", depth, -14.2)], name="n", description="d")
    assert schema_faults(text) == []
    point = gpxpy.parse(text).waypoints[0]
    assert abs(point.latitude - lat) < CLOSE
    assert abs((point.longitude - lon + 180.0) % 360.0 - 180.0) < CLOSE
    assert point.elevation == pytest.approx(-depth, abs=0.0051)


def test_gdal_reads_back_gpx_and_kml(tmp_path: Path) -> None:
    """The second witness; names and long texts survive."""
    write_gpx(tmp_path / "w.gpx", PINS, name="n", description="d")
    write_kml(tmp_path / "w.kml", PINS, name="n", description="d")
    for file, layer, name in (("w.gpx", "waypoints", "name"), ("w.kml", None, "Name")):
        frame = pyogrio.read_dataframe(tmp_path / file, layer=layer)
        assert frame[name].tolist() == [p.name for p in PINS]
        for point, pin in zip(frame.geometry, PINS, strict=True):
            assert abs(point.y - pin.latitude_deg) < CLOSE
            assert abs((point.x - pin.longitude_deg + 180) % 360 - 180) < CLOSE


def test_kml_children_stand_in_the_schemas_order() -> None:
    """A point before its name is invalid (reference row kml-order); no blank after the comma."""
    assert ROWS["kml-order"]["expected"]["name_then_Point"] == "valid"
    root = ET.fromstring(kml_text(PINS, name="n", description="d & <e>"))
    space = "{http://www.opengis.net/kml/2.2}"
    for mark in root.iter(f"{space}Placemark"):
        assert [c.tag.removeprefix(space) for c in mark] == ["name", "description", "Point"]
        text = mark.findtext(f"{space}Point/{space}coordinates") or ""
        assert re.fullmatch(r"-?\d+(\.\d+)?,-?\d+(\.\d+)?", text)


@pytest.mark.parametrize("written", [gpx_text, kml_text])
def test_wrong_pins_are_refused_all_at_once(written: Any) -> None:
    """Small letters, doubled names and impossible latitudes."""
    wrong = [Waypoint("a b", 0, 0, ""), Waypoint("X", 0, 91, ""), Waypoint("X", 0, 0, "")]
    with pytest.raises(InputFault) as error:
        written(wrong, name="n", description="d")
    assert len(error.value.faults) == 3
    with pytest.raises(InputFault, match="given twice; due: each name once"):
        check_waypoints([Waypoint("X", 0, 0, ""), Waypoint("X", 0, 0, "")])


@pytest.mark.parametrize(
    ("given_", "due"), [(180.0, -180.0), (-180.0, -180.0), (190.0, -170.0), (179.99999999999, -180)]
)
def test_longitudes_stay_below_180(given_: float, due: float) -> None:
    """180.0 is invalid in GPX (reference row gpx-ranges)."""
    assert normal_longitude(given_) == due
    with pytest.raises(InputFault, match="longitude: nan"):
        normal_longitude(float("nan"))


@given(value=st.floats(-1000, 1000))
def test_plain_decimals_have_no_exponent_and_keep_their_value(value: float) -> None:
    """2e-05 is no decimal."""
    text = plain_decimal(value)
    assert re.fullmatch(r"-?\d+(\.\d+)?", text)
    assert text != "-0"
    assert float(text) == pytest.approx(value, abs=1e-9)


def test_control_characters_never_reach_xml() -> None:
    """One of them makes a file unreadable."""
    assert xml_safe("a\x00b\x1fc\nd") == "abc\nd"


def table(**more: Any) -> pd.DataFrame:
    row = {
        "order": 1, "name": "OT01A", "full_name": "OT-01 A", "plot": "OT-01", "site": "OT", "pin": 1, "as_set": False,
        "longitude_deg": -64.9999992, "latitude_deg": 18.99999999, "easting_m": 574497.68, "northing_m": 1995715.09,
        "utm_zone": "20N", "leg_m": 40.0, "leg_true_deg": 10.0, "leg_magnetic_deg": 24.17, "leg_from": "OT-02",
        "depth_min_m": 9.0, "depth_max_m": 9.9, "lee": None,
    }  # fmt: skip
    return pd.DataFrame([{**row, **more}])


def test_minutes_carry_into_degrees() -> None:
    """18.99999999 is 19 00.000, never 18 60.000 (reference row ddm-dms-carry)."""
    row = waypoints_table(table()).iloc[0]
    assert row["latitude_ddm"] == "19° 00.000′ N"
    assert row["longitude_ddm"] == "065° 00.000′ W"
    assert row["latitude_dms"] == "19° 00′ 00.00″ N"


@pytest.mark.parametrize("case", ROWS["ddm-dms-carry"]["expected"] + ROWS["ddm-dms-sign-zero"]["expected"], ids=str)
def test_boat_minutes_are_the_published_ones(case: dict[str, Any]) -> None:
    """Three decimals of a minute as on the sheet, sign kept at −0.5°."""
    kind = "lon" if case["ddm3"][-1] in "EW" else "lat"
    assert angle_text(case["deg"], kind, "DDM", 3, marks=False) == case["ddm3"]


@pytest.mark.parametrize(("true", "magnetic", "due"), [(10.0, 24.17, 345.8), (5.0, 358.43, 6.6), (350.0, 4.17, 345.8)])
def test_both_signs_of_declination_reach_the_file(true: float, magnetic: float, due: float) -> None:
    """14.17° W is 345.8, 6.57° E is 6.6 (reference row declination-apply)."""
    pins = waypoint_list(table(leg_true_deg=true, leg_magnetic_deg=magnetic), datum="MLLW")
    assert f"<magvar>{due}</magvar>" in gpx_text(pins, name="n", description="d")


def test_control_plots_say_that_nothing_is_planted() -> None:
    """A control plot that gets planted is no control."""
    assert waypoint_list(table(role="control"), datum="MLLW")[0].description.startswith(
        "control plot, nothing is planted"
    )
    assert waypoint_list(table(role="planted"), datum="MLLW")[0].description.startswith("OT-01 A, pin 1")


def test_every_file_says_fictional_and_whose_depth_it_is(tmp_path: Path) -> None:
    """A made-up pin in a receiver must say so; a spreadsheet keeps every notation."""
    names = write_waypoints(tmp_path, table(), title="T", about=["Run x."], datum="MLLW", fictional=True)
    assert names == ["waypoints.csv", "waypoints.gpx", "waypoints.kml"]
    for name in names:
        assert "FICTIONAL" in (tmp_path / name).read_text("utf-8-sig")
    assert "below MLLW" in (tmp_path / "waypoints.gpx").read_text("utf-8")
    with open(tmp_path / "waypoints.csv", encoding="utf-8-sig", newline="") as file:
        row = next(csv.DictReader(file))
    assert (row["easting_m"], row["utm_zone"], row["datum"]) == ("574497.68", "20N", "WGS 84")
    assert abs(float(row["longitude_deg"]) + 64.9999992) < CLOSE
    first = {n: (tmp_path / n).read_bytes() for n in names}
    write_waypoints(tmp_path, table(), title="T", about=["Run x."], datum="MLLW", fictional=True)
    assert first == {n: (tmp_path / n).read_bytes() for n in names}
