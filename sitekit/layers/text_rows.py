"""Tables as text: comma, semicolon, tab or bar between cells; UTF-8, UTF-16 or cp1252; sizes refused before they are read."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.cells import Raw
from sitekit.layers.columns import known_names

MOST_BYTES = 256 * 2**20  # of a text table: ours; three million rows of colonies
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_OTHER_KINDS = {
    b"PK\x03\x04": ("is a spreadsheet or an archive under another name", "Name it .xlsx, .kmz or .zip."),
    b"\xd0\xcf\x11\xe0": ("is a spreadsheet of the old kind (.xls)", "Save it as .xlsx or as CSV."),
    b"%PDF": ("is a PDF", "Ask for the table behind it."),
}


def text_cells(path: Path, where: str, encoding: str | None = None) -> tuple[Raw, str | None]:
    """Return the cells of a text table and its decimal mark, where the separator tells it.

    Parameters
    ----------
    path : Path
        At most 256 MiB; a byte-order mark is allowed. What is not UTF-8 is read as cp1252 and told.
    where : str
        For messages.
    encoding : str, optional
        What a person says its letters are.

    Raises
    ------
    FileFault
        If it is missing, or a spreadsheet, an archive, a PDF under another name.
    InputFault
        If it is too large, is not in the encoding that was named,
        holds bytes that are neither UTF-8 nor cp1252, or quotes that never close.

    Notes
    -----
    The separator is the one under which the top rows hold the most known column names; among equals the one that gives the
    top rows the same number of cells, at least two; a lone column is allowed.
    """
    text, letters = _decoded(path, where, encoding)
    lines = text.splitlines(keepends=True)
    separator = "\t" if path.suffix.lower() == ".tsv" else _separator(lines)
    reader = csv.reader(lines, delimiter=separator)
    cells: list[list[str]] = []
    numbers: list[int] = []
    started = 1
    try:
        for row in reader:
            stripped = [c.strip() for c in row]
            if any(stripped):
                cells.append(stripped)
                numbers.append(started)
            started = reader.line_num + 1
    except csv.Error as error:
        raise InputFault(
            Fault(
                f"{where}, {path.name}, line {reader.line_num}", str(error), "rows of a table", "Save it again as CSV."
            )
        ) from None
    said = [f"{_SEPARATORS[separator]} between columns, {letters}"]
    return Raw(cells, numbers, said), "." if separator == "," else None


def _decoded(path: Path, where: str, encoding: str | None) -> tuple[str, str]:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise InputFault(
                Fault(where, f"{path.name} has {size / 2**20:,.0f} MiB", f"at most {MOST_BYTES // 2**20} MiB of text",
                      "Keep the columns and rows of the area only.")
            )  # fmt: skip
        data = path.read_bytes()
    except OSError as error:
        if isinstance(error, FileFault | InputFault):
            raise
        reason = error.strerror or str(error)
        raise FileFault(
            Fault(where, f"{path.name} cannot be read ({reason})", "a table", "Correct the path, or close the file.")
        ) from error
    for mark, (came, do) in _OTHER_KINDS.items():
        if data.startswith(mark):
            raise FileFault(Fault(where, f"{path.name} {came}", "a table as text", do))
    if encoding is not None:
        try:
            letters, text = f"read as {encoding}, as told", data.decode(encoding).removeprefix("\ufeff")
        except (UnicodeDecodeError, LookupError) as error:
            came = f"{path.name} is not {encoding}: {error}"
            raise InputFault(Fault(f"{where}.encoding", came, "the encoding of the file", "Correct it.")) from None
    elif data.startswith((b"\xff\xfe", b"\xfe\xff")):
        letters, text = "UTF-16", data.decode("utf-16", errors="replace")
    else:
        if b"\x00" in data:
            raise InputFault(Fault(where, f"{path.name} holds zero bytes", "a table as text", "Save it again as CSV."))
        try:
            letters, text = "UTF-8", data.decode("utf-8-sig")
        except UnicodeDecodeError as first:
            try:
                text = data.decode("cp1252")
            except UnicodeDecodeError as error:
                raise InputFault(
                    Fault(where, f"{path.name}: byte {error.start} is neither UTF-8 nor cp1252", "a CSV in UTF-8",
                          "Save it as CSV UTF-8.")
                ) from None  # fmt: skip
            letters = f"not UTF-8 at byte {first.start}, read as cp1252 (Windows)"
    return text, letters


def _separator(lines: list[str]) -> str:
    top = [line for line in lines[:40] if line.strip()][:25]
    best, found = (-1, -1.0, -1), ","
    for mark in _SEPARATORS:
        try:
            rows = list(csv.reader(top, delimiter=mark))
        except csv.Error:
            continue
        widths = Counter(len(r) for r in rows)
        width, times = max(widths.items(), key=lambda i: (i[1], i[0]), default=(1, 0))
        named = max((known_names(r) for r in rows if len(r) > 1), default=0)
        score = (named, times / max(len(rows), 1) if width > 1 else 0.0, width)
        if score > best:
            best, found = score, mark
    return found
