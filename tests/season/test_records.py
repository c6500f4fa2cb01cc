"""What happened is appended whole, kept, and readable by others."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pandas as pd
import pyogrio
import pytest

from sitekit.base.tables import table_names
from sitekit.errors import FileFault, InputFault
from sitekit.season.records import append_records, read_records


def numbers(*sequences: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": "WS",
            "plot": "WS-1",
            "sequence": list(sequences),
            "tag": [f"0{s}" for s in sequences],
            "date": "2027-05-02",
            "note": None,
        }
    )


def test_records_come_back_as_they_were(tmp_path: Path) -> None:
    """A tag 07 that comes back as 7 names another colony."""
    path = tmp_path / "records.gpkg"
    assert append_records(path, "used_numbers", numbers(1, 2)) == 2
    append_records(path, "used_numbers", numbers(7))
    frame = read_records(path, "used_numbers")
    assert frame["sequence"].tolist() == [1, 2, 7]
    assert frame["tag"].tolist() == ["01", "02", "07"]


def test_nothing_recorded_yet_is_an_empty_table(tmp_path: Path) -> None:
    """The first season has no records; that is no fault."""
    assert read_records(tmp_path / "records.gpkg", "set_pins").empty


def test_a_refused_delivery_leaves_no_row_behind(tmp_path: Path) -> None:
    """Half a delivery in the records cannot be told from a whole one."""
    path = tmp_path / "records.gpkg"
    append_records(path, "used_numbers", numbers(1))
    with pytest.raises(InputFault, match=r"used_numbers\.site: empty in row 2"):
        append_records(path, "used_numbers", numbers(3, 4).assign(site=["WS", None]))
    assert read_records(path, "used_numbers")["sequence"].tolist() == [1]


def test_a_locked_file_is_left_as_it_was(tmp_path: Path) -> None:
    """A failed append must not harm what was recorded."""
    path = tmp_path / "records.gpkg"
    append_records(path, "used_numbers", numbers(1))
    path.write_bytes(b"not a database, but longer than a header" * 9)
    with pytest.raises(FileFault, match=r"cannot be (written|read)"):
        append_records(path, "used_numbers", numbers(2))
    assert path.read_bytes().startswith(b"not a database")


def test_gdal_lists_the_record_tables(tmp_path: Path) -> None:
    """A record file that only sitekit can open is lost with sitekit."""
    path = tmp_path / "records.gpkg"
    append_records(path, "used_numbers", numbers(5))
    assert sorted(pyogrio.list_layers(path)[:, 0]) == sorted(table_names("records"))
    assert pyogrio.read_dataframe(path, layer="used_numbers", read_geometry=False)["tag"].tolist() == ["05"]
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)


def test_a_file_older_than_a_table_has_no_rows_of_it(tmp_path: Path) -> None:
    """A team's records of last year must open with this year's program; a file of something else must not."""
    path = tmp_path / "reef #2" / "records.gpkg"
    path.parent.mkdir()
    append_records(path, "used_numbers", numbers(1, 2))
    with closing(sqlite3.connect(path)) as connection, connection:
        for name in ("planted", "surveys"):
            connection.execute(f'DROP TABLE "{name}"')
            connection.execute("DELETE FROM gpkg_contents WHERE table_name = ?", [name])
    assert read_records(path, "planted").empty
    assert read_records(path, "used_numbers")["sequence"].tolist() == [1, 2]
    other = tmp_path / "other.gpkg"
    with closing(sqlite3.connect(other)) as connection, connection:
        connection.execute("CREATE TABLE reefs (fid INTEGER PRIMARY KEY)")
    with pytest.raises(FileFault, match=r"no table of records among reefs"):
        read_records(other, "planted")


def test_a_day_that_somebody_wrote_into_the_file_is_named(tmp_path: Path) -> None:
    """The file can be opened by any program; what it left there must not end in a failure nobody understands."""
    path = tmp_path / "records.gpkg"
    append_records(path, "used_numbers", numbers(1, 2))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE used_numbers SET date = 'yesterday' WHERE fid = 2")
    with pytest.raises(InputFault, match=r"used_numbers, fid 2"):
        read_records(path, "used_numbers")
