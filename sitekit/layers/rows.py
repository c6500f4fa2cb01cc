"""Rows of a table in any of the kinds that people keep: text with any separator, or a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from sitekit.errors import Faults, FileFault
from sitekit.layers.cells import DATE, MOST_LISTED, Reading, Rows, head_found
from sitekit.layers.sheet_rows import sheet_rows
from sitekit.layers.text_rows import text_cells

SHEETS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".txt", ".tsv", ".tab")
TABLES = (*TEXTS, *SHEETS)


def read_rows(path: Path, where: str, reading: Reading | None = None) -> Rows:
    """Return the rows of a table with the line each came from, and how it was understood.

    Parameters
    ----------
    path : Path
        `.xlsx`, `.xlsm`, or text.
    where : str
        Settings key, for messages.
    reading : Reading, optional
        Sheet, header line and encoding, where they are to be named.

    Returns
    -------
    Rows
        Text cells; `said` tells separator, letters, sheet, header, decimal mark; `broken` holds rows of another width.

    Raises
    ------
    FileFault, InputFault
        As `text_cells`, `sheet_rows` and `head_found`.
    """
    path, reading = Path(path), reading or Reading()
    if path.suffix.lower() in SHEETS:
        return head_found(sheet_rows(path, where, reading.sheet), path, where, reading)
    raw, decimal = text_cells(path, where, reading.encoding)
    return head_found(raw, path, where, reading, decimal=decimal)


def frame_of(rows: Rows) -> pd.DataFrame:
    """Return the rows as a frame of text, its index the line of each row."""
    columns = {name: rows.column(name) for name in rows.names}
    return pd.DataFrame(columns, index=pd.Index(rows.lines, name="line"), dtype="str")


def series_frame(
    path: Path, columns: Sequence[str], where: str, reading: Reading | None = None, *, all_due: bool = True
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return a table whose rows must all be whole, its index the line of each row, and how it was understood.

    Parameters
    ----------
    path : Path
        A table of any kind that `read_rows` takes.
    columns : sequence of str
        Names read; their decimal commas become points.
    where : str
        Settings key, for messages.
    reading : Reading, optional
        Sheet, header line, encoding.
    all_due : bool
        Whether each of the columns must be there.

    Raises
    ------
    FileFault
        If columns or rows lack, rows are broken, or cells of these columns are not what they show.
    InputFault
        As `read_rows`.
    """
    rows = read_rows(path, where, reading)
    with Faults(FileFault) as faults:
        for name in columns:
            if all_due and name not in rows.names:
                faults.add(f"{where}, {path.name}", f"no column {name!r}", ", ".join(rows.names), "Name it so.")
        for one in rows.broken[:MOST_LISTED]:
            faults.add(f"{where}, {path.name} line {one.line}", one.reason, "cells as in the header", "Correct it.")
        for (line, name), what in list(rows.odd.items())[:MOST_LISTED] if not faults.found else ():
            if name in columns and what != DATE:
                faults.add(f"{where}, {path.name} line {line}, {name}", what, "a plain cell", "Correct it.")
        if not rows.cells:
            faults.add(f"{where}, {path.name}", "no rows", "at least one", "Check the file.")
    return frame_of(rows.with_points(columns)), rows.said
