"""Cells of a table as text, its header found or named, and the rows below with the line each came from."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sitekit.errors import Fault, InputFault
from sitekit.layers.columns import known_names, unit_word

_LOOKED = 25  # rows from the top among which a header is looked for
MOST_LISTED = 20  # rows told one by one; the rest is counted
# What a cell of a spreadsheet is where it is not what it shows.
DATE = "a date"
TIME = "a time of day"
DATE_1900 = "a date of 1900, which spreadsheets make of an empty cell or a small number"
NOT_WORKED_OUT = "a formula whose value was never worked out"


@dataclass(frozen=True)
class Reading:
    """How a person said that a table is to be read; what is left out is found, and told.

    Parameters
    ----------
    sheet : str, optional
        Sheet of a spreadsheet.
    header_row : int, optional
        Line of the column names, from 1.
    encoding : str, optional
        Of a table as text, as Python names it: `utf-8`, `cp1252`, `mac-roman`.
    """

    sheet: str | None = None
    header_row: int | None = None
    encoding: str | None = None


@dataclass
class Raw:
    """A table before its header is known.

    Parameters
    ----------
    cells : list of list of str
        One list per row that is not empty.
    lines : list of int
        Line in the file, or row of the sheet, of each, from 1.
    said : list of str
        How it was read: separator, letters, sheet.
    odd : dict of (line, column from 0) to str
        Cells that are not what they show: a date, a formula that was never worked out.
    across : dict of (line, column) to str
        Texts of cells merged across columns, for headers.
    """

    cells: list[list[str]]
    lines: list[int]
    said: list[str]
    odd: dict[tuple[int, int], str] = field(default_factory=dict)
    across: dict[tuple[int, int], str] = field(default_factory=dict)


MEND = "Correct the row in its file, or ask who wrote it."


@dataclass(frozen=True)
class Refused:
    """A row that cannot be used: its layer, file, line, text (`name=value` pairs), the reason, and what to do."""

    layer: str
    file: str
    line: int
    text: str
    reason: str
    do: str = MEND

    def fault(self) -> Fault:
        """The same as a fault that stops the reading."""
        return Fault(f"{self.file}, line {self.line}", self.reason, "a row that can be used", self.do)


@dataclass(frozen=True)
class Doubt:
    """What a person must look at, because nothing was decided: its layer, what was seen, and how to answer."""

    layer: str
    said: str
    ask: str


@dataclass
class Rows:
    """Rows of a table below its header.

    Parameters
    ----------
    file : str
        Name of the file.
    names : list of str
        Column names, stripped.
    cells : list of list of str
        Text of each row, as many cells as names.
    lines : list of int
        Line of each row.
    units : dict of str to str
        Unit per column where a second header row tells it.
    decimal : str
        Decimal mark of the numbers: `.` or `,`.
    said : tuple of str
        How the table was understood.
    broken : list of Refused
        Rows with too many or too few cells.
    odd : dict of (line, name) to str
        Cells that are not what they show.
    """

    file: str
    names: list[str]
    cells: list[list[str]]
    lines: list[int]
    units: dict[str, str]
    decimal: str
    said: tuple[str, ...]
    broken: list[Refused]
    odd: dict[tuple[int, str], str]

    def column(self, name: str) -> list[str]:
        """Texts of a column."""
        at = self.names.index(name)
        return [row[at] for row in self.cells]

    def text_of(self, row: int) -> str:
        """A row as one text, each cell with its column, for lists of refused rows."""
        return pairs_of(self.names, self.cells[row])

    def with_points(self, names: Sequence[str]) -> Rows:
        """The same rows with decimal commas of these columns turned into points; nothing changes without such commas."""
        if self.decimal != ",":
            return self
        turn = {self.names.index(n) for n in names if n in self.names}
        cells = [[point(c, ",") if i in turn else c for i, c in enumerate(row)] for row in self.cells]
        return Rows(self.file, self.names, cells, self.lines, self.units, ".", self.said, self.broken, self.odd)


def pairs_of(names: Sequence[str], cells: Sequence[object]) -> str:
    """Cells as `name=value`, cut to 300 letters; a list of them needs no header and no leading sign to be told apart."""
    return "; ".join(f"{n}={c}" for n, c in zip(names, cells, strict=True))[:300]


_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_POINT = re.compile(r"[+-]?\d*\.\d+(?:[eE][+-]?\d+)?")


def point(text: str, decimal: str) -> str:
    """Text of a number with a point as decimal mark; a text that holds another mark too is left as it is."""
    return text.replace(",", ".") if decimal == "," and _COMMA.fullmatch(text.strip()) else text


def head_found(raw: Raw, path: Path, where: str, reading: Reading, *, decimal: str | None = None) -> Rows:
    """Return the rows below the header, which is named or found.

    Parameters
    ----------
    raw : Raw
        Cells as read.
    path : Path
        For messages.
    where : str
        For messages.
    reading : Reading
        `header_row` names the line of the header. Without it the header is the row among the first 25 that holds the
        most names this room knows (at least two, or one where the row has one cell), else the first row.
    decimal : {".", ","}, optional
        Decimal mark where the separator tells it; otherwise `,` if numbers with a comma and none with a point are seen.

    Raises
    ------
    InputFault
        If the table is empty, the named row does not exist, or a column has no name or one that stands twice.
    """
    if not raw.cells:
        raise InputFault(Fault(where, f"{path.name} is empty", "a header and rows", "Check the file."))
    at = _header_at(raw, path, where, reading)
    said = list(raw.said)
    names = [c.strip() for c in raw.cells[at]]
    if at:
        said.append(f"header in line {raw.lines[at]}; {at} rows above it left out")
    else:
        said.append(f"header in line {raw.lines[at]}")
    names = _with_groups(raw, at, names, said)
    body = at + 1
    units: dict[str, str] = {}
    if body < len(raw.cells):
        words = [(n, unit_word(c)) for n, c in zip(names, raw.cells[body], strict=False) if c.strip()]
        if words and all(w for _, w in words):
            units = {n: str(w) for n, w in words}
            said.append(f"line {raw.lines[body]} taken as units: " + ", ".join(f"{n!r}: {u}" for n, u in units.items()))
            body += 1
    while names and not names[-1]:
        names.pop()
    _checked_names(names, raw, at, path, where)
    cells, lines, broken = [], [], []
    for row, line in zip(raw.cells[body:], raw.lines[body:], strict=True):
        if len(row) != len(names):
            rest = row[len(names) :]
            if any(rest) or len(row) < len(names):
                why = f"{len(row)} cells where the header has {len(names)}"
                cells_told = ("cells as they follow: " + " | ".join(row))[:300]
                do = "Put text that holds the separator in quotes, or give the row as many cells as the header."
                broken.append(Refused(where, path.name, line, cells_told, why, do))
                continue
            row = row[: len(names)]
        cells.append(row)
        lines.append(line)
    odd = {(ln, names[c]): what for (ln, c), what in raw.odd.items() if ln > raw.lines[at] and c < len(names)}
    mark = decimal or _decimal_mark(cells)
    if mark == ",":
        said.append("decimal comma")
    return Rows(path.name, names, cells, lines, units, mark, tuple(said), broken, odd)


def listed(faults: Sequence[Fault], layer: str, file: str, rows: int) -> list[Fault]:
    """Return the faults of a file's rows, the first twenty one by one, the rest counted, and how to go on without them.

    Parameters
    ----------
    faults : sequence of Fault
        In the order of the file.
    layer : str
        Settings key of the table, such as `stock`.
    file : str
        Its name.
    rows : int
        How many rows cannot be used.
    """
    if not faults:
        return []
    more = len(faults) - MOST_LISTED
    came = f"{rows} rows of {file} cannot be used" + (f"; {more} more faults follow, not shown" if more > 0 else "")
    key = layer.split("[", maxsplit=1)[0]
    do = f"Correct them, or go on without them: accept_partial = true in [{key}] lists them in out/refused_rows.csv."
    return [*faults[:MOST_LISTED], Fault(layer, came, "every row", do)]


def _header_at(raw: Raw, path: Path, where: str, reading: Reading) -> int:
    if reading.header_row is not None:
        if reading.header_row not in raw.lines:
            raise InputFault(
                Fault(f"{where}.header_row", f"line {reading.header_row} of {path.name} is empty or absent",
                      f"a line from {raw.lines[0]} to {raw.lines[-1]}", "Correct it.")
            )  # fmt: skip
        return raw.lines.index(reading.header_row)
    counts = [known_names(row) for row in raw.cells[:_LOOKED]]
    best = max(counts)
    alone = all(len([c for c in row if c]) <= 1 for row in raw.cells[:_LOOKED])
    return counts.index(best) if best >= (1 if alone else 2) else 0


def _with_groups(raw: Raw, at: int, names: list[str], said: list[str]) -> list[str]:
    """Put the row above in front of names that stand twice: the second row of a header in two rows."""
    filled = [n for n in names if n]
    if at == 0 or len(set(filled)) == len(filled):
        return names
    above, line = raw.cells[at - 1], raw.lines[at - 1]
    group, heads = "", []
    for i in range(len(names)):
        own = above[i].strip() if i < len(above) else ""
        group = own or (group if (line, i) in raw.across or not raw.across else "")
        heads.append(group)
    joined = [f"{h} {n}".strip() if n and names.count(n) > 1 else n for h, n in zip(heads, names, strict=True)]
    said.append(f"header in two rows, {line} and {raw.lines[at]}: names that stand twice were joined")
    return joined


def _checked_names(names: list[str], raw: Raw, at: int, path: Path, where: str) -> None:
    place = f"{path.name}, line {raw.lines[at]}"
    faults = []
    for name in sorted({n for n in names if names.count(n) > 1 and n}):
        faults.append(Fault(place, f"column {name!r} stands twice", "each column once", "Rename one."))
    for i, name in enumerate(names):
        below = any(i < len(row) and row[i] for row in raw.cells[at + 1 : at + 200])
        if not name and below:
            faults.append(Fault(place, f"column {i + 1} has no name", "a name per column", "Name it, or header_row."))
        elif not name:
            names[i] = f"column {i + 1}"
    if not names:
        faults.append(Fault(place, "no column", "a header", "Name the line of the header: header_row = 3."))
    if faults:
        raise InputFault(*[Fault(f"{where}, {f.where}", f.came, f.due, f.do) for f in faults])


def _decimal_mark(cells: list[list[str]]) -> str:
    commas = _seen(cells, _COMMA.fullmatch)
    return "," if commas and not _seen(cells, _POINT.fullmatch) else "."


def _seen(cells: list[list[str]], matches: Callable[[str], object]) -> bool:
    return any(matches(c) for row in cells[:5000] for c in row)
