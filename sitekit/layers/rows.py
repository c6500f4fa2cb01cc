"""Rows of a table in any of the kinds that people keep: text with any separator, or a spreadsheet."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from sitekit.layers.cells import Reading, Rows, head_found
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
        Sheet and header line, where they are to be named.

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
    raw, decimal = text_cells(path, where)
    return head_found(raw, path, where, reading, decimal=decimal)


def frame_of(rows: Rows) -> pd.DataFrame:
    """Return the rows as a frame of text, its index the line of each row."""
    columns = {name: rows.column(name) for name in rows.names}
    return pd.DataFrame(columns, index=pd.Index(rows.lines, name="line"), dtype="str")
