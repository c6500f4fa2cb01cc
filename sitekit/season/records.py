"""`records.gpkg`, what happened: numbers in use, pins as set. Append-only; a run reads it and never writes it.

It is a GeoPackage of attribute tables; rows are appended in one transaction: all of a delivery is in it or none.
"""

from __future__ import annotations

import datetime
import sqlite3
from contextlib import closing
from pathlib import Path

import pandas as pd

from sitekit.base.tables import Column, conform, empty, table, table_names
from sitekit.errors import Fault, Faults, FileFault

_SQL = {"text": "TEXT", "date": "TEXT", "integer": "INTEGER", "real": "REAL", "flag": "INTEGER"}
_GPKG_ID, _GPKG_VERSION = 0x47504B47, 10300  # "GPKG" and 1.3.0: OGC 12-128r17, requirement 2

_DO_READ = "Close other programs that have it open; if it is damaged, restore it from a copy."


def read_records(path: Path, name: str) -> pd.DataFrame:
    """Return one table of what happened; empty if nothing was recorded yet, or if the file is older than the table.

    Raises
    ------
    FileFault
        If the file is not a record file.
    InputFault
        If the table does not match its definition, or a day is none: somebody edited the file.
    """
    table(name)
    if not Path(path).exists():
        return empty(name)
    try:
        with closing(sqlite3.connect(f"{Path(path).absolute().as_uri()}?mode=ro", uri=True)) as connection:
            if name not in _own_tables(connection):
                return empty(name)
            frame = pd.read_sql_query(f'SELECT * FROM "{name}" ORDER BY fid', connection)
    except (sqlite3.Error, pd.errors.DatabaseError) as error:
        raise FileFault(Fault(str(path), f"cannot be read: {error}", "the team's records.gpkg", _DO_READ)) from error
    found = conform(frame.drop(columns="fid"), name)
    with Faults() as faults:
        for column in (c.name for c in table(name).columns if c.type == "date"):
            for row, text in zip(frame["fid"], found[column], strict=True):
                if text is not None and not _is_day(text):
                    where = f"{Path(path).name}, {name}, fid {row}"
                    faults.add(where, f"{column} {text!r}", "a day such as 2026-05-04", "Restore the file from a copy.")
    return found


def append_records(path: Path, name: str, rows: pd.DataFrame) -> int:
    """Append rows to a table of what happened, all or none; return how many.

    Parameters
    ----------
    path : Path
        The `records.gpkg`; made if it does not exist.
    name : str
        Table name.
    rows : DataFrame
        Columns of the table.

    Raises
    ------
    InputFault
        If the rows do not match the table.
    FileFault
        If the file cannot be written or is not a record file; it is unchanged then.
    """
    checked = conform(rows, name)
    try:
        with closing(sqlite3.connect(path)) as connection, connection:
            _prepare(connection)
            columns = ", ".join(f'"{c}"' for c in checked.columns)
            marks = ", ".join("?" for _ in checked.columns)
            connection.executemany(
                f'INSERT INTO "{name}" ({columns}) VALUES ({marks})',
                [tuple(None if pd.isna(v) else _plain(v) for v in row) for row in checked.itertuples(index=False)],
            )
    except sqlite3.Error as error:
        raise FileFault(
            Fault(str(path), f"cannot be written: {error}", "the team's records.gpkg", "Nothing was changed.")
        ) from error
    return len(checked)


def _own_tables(connection: sqlite3.Connection) -> set[str]:
    """Return which of the tables of what happened the file has; a file without any is no record file."""
    there = {str(n) for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    own = there & set(table_names("records"))
    if not own:
        raise sqlite3.DatabaseError(f"no table of records among {', '.join(sorted(there)) or 'none'}")
    return own


def _is_day(text: object) -> bool:
    try:
        return datetime.date.fromisoformat(str(text)).isoformat() == text
    except ValueError:
        return False


def _plain(value: object) -> object:
    return value.item() if hasattr(value, "item") else value


def _prepare(connection: sqlite3.Connection) -> None:
    """Make the tables that a GeoPackage of attributes needs, where they are missing."""
    connection.execute(f"PRAGMA application_id = {_GPKG_ID}")
    connection.execute(f"PRAGMA user_version = {_GPKG_VERSION}")
    connection.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY,"
        " organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL,"
        " description TEXT)"
    )
    connection.executemany(
        "INSERT OR IGNORE INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)",
        [
            ("undefined cartesian", -1, "NONE", -1, "undefined", None),
            ("undefined geographic", 0, "NONE", 0, "undefined", None),
            ("WGS 84", 4326, "EPSG", 4326, _WGS84, None),
        ],
    )
    connection.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,"
        " identifier TEXT UNIQUE, description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT"
        " '2000-01-01T00:00:00.000Z', min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER)"
    )
    connection.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,"
        " geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,"
        " PRIMARY KEY (table_name, column_name))"
    )
    for name in table_names("records"):
        columns = ", ".join(_sql(c) for c in table(name).columns)
        connection.execute(
            f'CREATE TABLE IF NOT EXISTS "{name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {columns})'
        )
        connection.execute(
            "INSERT OR IGNORE INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)"
            " VALUES (?, 'attributes', ?, ?, 0)",
            (name, name, table(name).meaning),
        )


def _sql(column: Column) -> str:
    return f'"{column.name}" {_SQL[column.type]}{"" if column.empty else " NOT NULL"}'


_WGS84 = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]'
)
