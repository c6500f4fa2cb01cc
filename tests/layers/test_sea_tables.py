"""Columns of wind, swell and tide: values kept, gaps told, every fault at once with its line."""

import datetime

import numpy as np
import openpyxl
import pytest

from sitekit.errors import FileFault, InputFault
from sitekit.layers.cells import Reading
from sitekit.layers.sea_tables import read_numbers, read_times


def write(folder, text, name="a.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_columns_are_read_by_name_and_others_left_alone(tmp_path):
    """A note in the last column would stop a good file."""
    table, said = read_numbers(
        write(tmp_path, "share,speed_ms,note\n0.25,3,x\n0.75,4e0,y\n"), ("speed_ms", "share"), "waves.wind"
    )
    np.testing.assert_array_equal(table["speed_ms"], [3.0, 4.0])
    np.testing.assert_array_equal(table["share"], [0.25, 0.75])
    assert said[0] == "commas between columns, UTF-8"


def test_every_faulty_cell_is_told_with_its_line(tmp_path):
    """A user would mend one line at a time."""
    with pytest.raises(FileFault) as caught:
        read_numbers(write(tmp_path, "a,b\n1,x\n,2\n3,1.5 m\n"), ("a", "b"), "waves.wind")
    text = str(caught.value)
    assert "waves.wind, a.csv line 3, a: empty; due: a number" in text
    assert "waves.wind, a.csv line 2, b: 'x'; due: a number" in text
    assert "waves.wind, a.csv line 4, b: '1.5 m'; due: a number" in text


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a\n1\n", "no column 'b'; due: a"),
        ("a,b\n", "no rows; due: at least one"),
        ("", r"a\.csv is empty"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(tmp_path, text, message):
    """Nothing read would pass as calm."""
    with pytest.raises(InputFault, match=message):
        read_numbers(write(tmp_path, text), ("a", "b"), "waves.wind")


def test_missing_hours_become_gaps_and_are_told(tmp_path):
    """Rows would close up, and a gap would look like a shorter series."""
    text = "time,height_m\n2026-05-04T00:00-03:00,0.1\n2026-05-04T01:00-03:00,\n2026-05-04T04:00-03:00,0.4\n"
    text += "2026-05-04T02:00-03:00,0.2\n"
    found = read_times(write(tmp_path, text), "time", ["height_m"], "tide.file")
    np.testing.assert_array_equal(found.values["height_m"], [0.1, np.nan, 0.2, np.nan, 0.4])
    assert str(found.time[0]) == "2026-05-04T00:00"
    assert "steps of 60 min" in found.notes[0]
    assert "zone -03:00" in found.notes[0]
    assert "1 times are missing" in found.notes[1]
    assert "1 values of height_m are empty" in found.notes[2]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("2026-05-04,1\nyesterday,2\n", "line 3, time: 'yesterday'; due: a time such as"),
        ("2026-05-04T00:00Z,1\n2026-05-04T01:00-03:00,2\n", "zones -03:00, Z; due: one zone"),
        ("2026-05-04T00:00,1\n2026-05-04T00:00,2\n", "line 3: 2026-05-04T00:00 twice; due: once"),
        ("2026-05-04T00:00,1\n", "1 rows; due: at least two"),
        ("2026-05-04T00:00,1\n2026-05-04T01:00,2\n2027-05-04T01:00,2\n", "a gap of 365 days"),
    ],
)
def test_times_that_cannot_be_trusted_are_refused(tmp_path, rows, message):
    """Half of them would be read on another clock, or twice."""
    with pytest.raises(FileFault, match=message):
        read_times(write(tmp_path, "time,height_m\n" + rows), "time", ["height_m"], "tide.file")


def test_a_spreadsheet_and_a_list_with_decimal_commas_give_the_same_series(tmp_path):
    """A tide table kept as a spreadsheet, or saved in Spanish, would be refused or read a hundred times too high."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Predictions"])
    sheet.append(["time", "height_m"])
    for hour in range(3):
        sheet.append([datetime.datetime(2026, 5, 4, hour), 0.25 * hour])
    book.save(tmp_path / "t.xlsx")
    rows = "".join(f"2026-05-04T0{h}:00;{0.25 * h:.2f}\n".replace(".", ",") for h in range(3))
    semicolons = write(tmp_path, "time;height_m\n" + rows)
    one = read_times(tmp_path / "t.xlsx", "time", ["height_m"], "tide.file", Reading(header_row=2))
    other = read_times(semicolons, "time", ["height_m"], "tide.file")
    np.testing.assert_array_equal(one.values["height_m"], [0.0, 0.25, 0.5])
    np.testing.assert_array_equal(other.values["height_m"], one.values["height_m"])
    np.testing.assert_array_equal(other.time, one.time)
    assert "decimal comma" in other.notes
    assert "header in line 2; 1 rows above it left out" in one.notes
