"""CSV: opens in a spreadsheet, runs nothing, gives back what went in."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.base.tables import build, table
from sitekit.errors import InputFault
from sitekit.outputs.tables import (
    colonies_table,
    defused,
    table_decimals,
    write_colonies_csv,
    write_csv,
    write_table_csv,
)


def rows(path: Path) -> list[list[str]]:
    with open(path, newline="", encoding="utf-8-sig") as file:
        return list(csv.reader(file))


def colony(**own: Any) -> Any:
    row = {
        "sequence": 1, "site": "WS", "species": "APAL", "genet": "g", "units": 1, "fragments": 1, "depth_m": 4.567,
        "along_m": 3.0, "offset_m": -1.5, "score": 0.123456, **own,
    }  # fmt: skip
    return build("colonies", [row], [shapely.Point(318251.62, 2029214.48)], "EPSG:32620")


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1", "'=1"])
def test_text_that_a_spreadsheet_would_run_is_defused(tmp_path: Path, text: str) -> None:
    """A genet from a stranger's file must not run on the permit office's computer."""
    assert defused(text) == "'" + text
    write_csv(tmp_path / "a.csv", pd.DataFrame({"genet": [text]}))
    assert rows(tmp_path / "a.csv")[1] == ["'" + text]


@given(st.text(max_size=12))
def test_defusing_can_be_undone(text: str) -> None:
    """Two genets must not become one by it."""
    assert defused(text).removeprefix("'") == text
    assert not defused(text).startswith(("=", "+", "-", "@"))


@settings(max_examples=30)
@given(st.floats(-1e6, 1e6))
def test_numbers_are_never_defused_and_carry_no_exponent(tmp_path_factory: Any, value: float) -> None:
    """A negative offset with an apostrophe is text: sums over the column would leave it out."""
    path = tmp_path_factory.mktemp("numbers") / "a.csv"
    write_csv(path, pd.DataFrame({"offset_m": [value]}), decimals={"offset_m": 3})
    cell = rows(path)[1][0]
    assert float(cell) == pytest.approx(value, abs=5.0001e-4)
    assert not set(cell) & set("e'")
    assert cell not in ("-0.000", "-0")


def test_files_begin_with_a_byte_order_mark_and_keep_accents(tmp_path: Path) -> None:
    """Without the mark a spreadsheet shows Señal as SeÃ±al."""
    write_csv(tmp_path / "a.csv", pd.DataFrame({"name": ['Señal, "old"\nreef']}))
    assert (tmp_path / "a.csv").read_bytes().startswith(b"\xef\xbb\xbfname\r\n")
    assert rows(tmp_path / "a.csv")[1] == ['Señal, "old"\nreef']


def test_the_list_of_units_gives_places_in_degrees_and_in_minutes(tmp_path: Path) -> None:
    """A boat's receiver takes minutes, a program degrees; both must be the same place."""
    write_colonies_csv(tmp_path / "a.csv", colony(genet="=g"), fictional=True)
    header, line = rows(tmp_path / "a.csv")
    cells = dict(zip(header, line, strict=True))
    assert cells["colony"] == "WS-1"
    assert cells["genet"] == "'=g"
    assert cells["offset_m"] == "-1.5"
    assert cells["depth_m"] == "4.57"
    assert cells["score"] == "0.1235"
    assert cells["tag"] == ""
    assert cells["FICTIONAL"] == "true"
    degrees = float(cells["latitude_wgs84_deg"])
    whole, minutes, letter = cells["latitude_wgs84_ddm"].replace("°", "").replace("′", "").split()
    assert letter == "N"
    assert int(whole) + float(minutes) / 60 == pytest.approx(degrees, abs=0.5e-4 / 60 + 1e-9)
    assert (degrees, float(cells["longitude_wgs84_deg"])) == pytest.approx((18.345, -64.72), abs=1e-6)


def test_notation_follows_the_settings() -> None:
    """A team that works in seconds must not be handed minutes."""
    assert colonies_table(colony(), "DMS")["latitude_wgs84_dms"].iloc[0].count("″") == 1
    assert colonies_table(colony(), "DD")["longitude_wgs84_text"].iloc[0].endswith("W")


def test_a_table_is_written_in_its_own_columns(tmp_path: Path) -> None:
    """A column lost or renamed on the way cannot be read back."""
    frame = build("unplaced", [{"species": "APAL", "number": 3, "reason": "no room"}])
    write_table_csv(tmp_path / "a.csv", frame, "unplaced")
    assert rows(tmp_path / "a.csv") == [table("unplaced").names, ["", "APAL", "", "3", "no room"]]


def test_decimals_never_claim_more_than_a_tape() -> None:
    """Along and offset to the millimetre would be read as true to the millimetre."""
    decimals = table_decimals("colonies")
    assert (decimals["along_m"], decimals["offset_m"], decimals["depth_m"]) == (1, 1, 2)


def test_an_infinite_number_is_refused(tmp_path: Path) -> None:
    """A spreadsheet reads inf as text."""
    with pytest.raises(InputFault, match="depth_m: a number is infinite"):
        write_csv(tmp_path / "a.csv", pd.DataFrame({"depth_m": [np.inf]}))
    assert not (tmp_path / "a.csv").exists()
