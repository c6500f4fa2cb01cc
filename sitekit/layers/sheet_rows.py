"""Spreadsheets (.xlsx): the sheet named or found, cells as text, and what a cell hides told: dates, formulas, merged cells.

The parts of the file are read as they stand (ECMA-376, part 1, SpreadsheetML [source key: ecma-376]): nothing is worked out
and no macro is run. 800,000 cells take 2.1 s of processor time by pattern, 4.7 to 6.3 s element by element (measured on a
busy machine).
"""

from __future__ import annotations

import re
from pathlib import Path
from zipfile import ZipFile

from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.cells import Raw
from sitekit.layers.columns import known_names
from sitekit.layers.sheet_cells import SheetCells, Styles, column_of, read_styles
from sitekit.layers.xml_tree import Element, parse_xml
from sitekit.layers.zipped import open_archive

_REFERENCE = re.compile(r"([A-Z]{1,3})(\d+)(?::([A-Z]{1,3})(\d+))?")
_TOP = 40  # rows looked at to find the sheet that is meant


def sheet_rows(path: Path, where: str, sheet: str | None) -> Raw:
    """Return the cells of one sheet as text.

    Parameters
    ----------
    path : Path
        An .xlsx or .xlsm; macros are never run.
    where : str
        For messages.
    sheet : str, optional
        Its name. Without it: the only sheet that is shown and not empty, or the only one whose top rows hold two known
        column names.

    Raises
    ------
    FileFault
        If the file is missing or no spreadsheet.
    InputFault
        If no sheet of that name is there, several might be meant, or limits are passed.

    Notes
    -----
    Cells merged downwards count for each row they cover; merged across, they count for a header only. A whole number shown
    with leading zeros keeps them. Hidden sheets are read only by name.
    """
    with open_archive(path, where) as archive:
        place = f"{where}, {path.name}"
        book, parts, hidden = _workbook(archive, path, where)
        styles = read_styles(archive, place, epoch_1904=_epoch_1904(book))
        name, said = _chosen(archive, parts, hidden, styles, path, where, sheet)
        cells = SheetCells(styles, place).read(archive, parts[name])
    raw = _raw(cells)
    raw.said[:0] = said
    return raw


def sheet_names(path: Path, where: str) -> tuple[list[str], list[str]]:
    """Names of the sheets, and of those that are hidden.

    Raises
    ------
    FileFault
        If the file is missing or no spreadsheet.
    """
    with open_archive(path, where) as archive:
        _, parts, hidden = _workbook(archive, path, where)
    return list(parts), hidden


def _workbook(archive: ZipFile, path: Path, where: str) -> tuple[Element, dict[str, str], list[str]]:
    """The workbook, the member of the archive per sheet, and the hidden sheets."""
    names = set(archive.namelist())
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
        raise FileFault(
            Fault(where, f"{path.name} holds no workbook", "an .xlsx file", "Save it again as .xlsx or CSV.")
        )
    links = parse_xml(archive.read("xl/_rels/workbook.xml.rels"), f"{where}, {path.name}")
    targets = {e.attributes.get("Id", ""): e.attributes.get("Target", "") for e in links.children}
    book = parse_xml(archive.read("xl/workbook.xml"), f"{where}, {path.name}")
    parts, hidden = {}, []
    for one in (e for e in book.walk() if e.name == "sheet"):
        target = targets.get(one.attributes.get("id", ""), "")
        member = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        name = one.attributes.get("name", "")
        if member in names and "worksheets/" in member:
            parts[name] = member
            if one.attributes.get("state", "visible") != "visible":
                hidden.append(name)
    return book, parts, hidden


def _epoch_1904(book: Element) -> bool:
    setting = book.child("workbookPr")
    return setting is not None and setting.attributes.get("date1904", "0") in ("1", "true")


def _chosen(
    archive: ZipFile,
    parts: dict[str, str],
    hidden: list[str],
    styles: Styles,
    path: Path,
    where: str,
    sheet: str | None,
) -> tuple[str, list[str]]:
    if sheet is not None:
        if sheet not in parts:
            raise InputFault(
                Fault(
                    f"{where}.sheet", f"no sheet {sheet!r} in {path.name}", ", ".join(parts) or "a sheet", "Correct it."
                )
            )
        return sheet, [f"sheet {sheet!r}" + (", which is hidden" if sheet in hidden else "")]
    more = [f"hidden sheets not read: {', '.join(hidden)}"] if hidden else []
    tops = {}
    for name in (n for n in parts if n not in hidden):
        tops[name] = _raw(SheetCells(styles, f"{where}, {path.name}").read(archive, parts[name], most_rows=_TOP)).cells
    full = [n for n, rows in tops.items() if rows]
    likely = [n for n in full if max(known_names(row) for row in tops[n]) >= 2]
    choice = full if len(full) == 1 else likely
    if len(choice) != 1:
        came = f"{path.name} has {len(full)} sheets with cells: {', '.join(full) or 'none'}"
        raise InputFault(Fault(where, came, "one sheet", 'Name it: sheet = "…".'))
    others = [n for n in full if n != choice[0]]
    told = f", the only one with known columns; not read: {', '.join(others)}" if others else ""
    return choice[0], [f"sheet {choice[0]!r}{told}", *more]


def _raw(found: SheetCells) -> Raw:
    """Rows of equal width, without empty ones, merged cells filled downwards."""
    width = max((max(row) for row in found.rows.values() if row), default=-1) + 1
    lines = sorted(line for line, row in found.rows.items() if any(row.values()))
    cells = [[found.rows[line].get(i, "") for i in range(width)] for line in lines]
    raw = Raw(cells, lines, [], dict(found.odd))
    at_line = {line: i for i, line in enumerate(lines)}
    if found.formulas:
        raw.said.append(f"{found.formulas} formula cells: the values saved with them were read")
    down = []
    for match in filter(None, map(_REFERENCE.fullmatch, found.merged)):
        if match[3] is None:
            continue
        left, right, high, low = column_of(match[1]), column_of(match[3]), int(match[2]), int(match[4])
        text = cells[at_line[high]][left] if high in at_line and left < width else ""
        raw.across.update({(high, column): text for column in range(left + 1, min(right + 1, width))})
        if text and low > high and left == right:
            down.append(match[0])
            for line in lines[at_line[high] + 1 :]:
                if line > low:
                    break
                cells[at_line[line]][left] = text
    if down:
        more = " …" if len(down) > 5 else ""
        raw.said.append(f"cells merged downwards ({', '.join(down[:5])}{more}) count for each of their rows")
    return raw
