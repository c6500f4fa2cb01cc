"""Rows that a team typed off its wet sheets: which units each is about, its day, and the cells beside them."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sitekit.errors import Fault, Faults, FileFault
from sitekit.layers.cells import DATE, MOST_LISTED, point
from sitekit.layers.rows import read_rows
from sitekit.pipeline.given import fused

Unit = tuple[str, int]  # site, sequence number
ALL = "all"
NUMBERS = ("numbers", "number", "no.", "no", "sequence")  # headings under which the numbers of units may stand
_SPAN = re.compile(r"(\d{1,7})(?:\s*[-–—]\s*(\d{1,7}))?")
_AS_DECIMAL = re.compile(r"(\d{1,7})[.,]0")  # a number as programs write it that keep all numbers as decimals
_KEPT = ("tag", "genet", "plot", "site")  # names: a spreadsheet that made a date of one has lost it


@dataclass(frozen=True)
class UnitRow:
    """One row: where it stands, the units it is about, its day, and its cells by heading in lower case."""

    where: str
    units: tuple[Unit, ...]
    date: str
    cells: dict[str, str]


def read_unit_rows(
    file: Path, known: pd.DataFrame, faults: Faults, *, date: str | None, needs: str | None, whose: str
) -> list[UnitRow]:
    """Read a table of units: `plot` (or `site`) and `numbers` (`5`, `1-12, 15`, `all`), or `tag`; and `date`.

    Parameters
    ----------
    file : Path
        Any table that `read_rows` takes.
    known : DataFrame
        Columns `site`, `plot`, `sequence`, `tag`, `species`: the units there are.
    faults : Faults
        Takes what is wrong, each with its line.
    date : str, optional
        Day for rows that do not say.
    needs : str, optional
        Heading whose empty cell means that the row says nothing; None where every row counts.
    whose : str
        What the units belong to, for messages: `this plan`, `the records`.

    Returns
    -------
    list of UnitRow
        Of rows that say something; those with a fault are left out.

    Raises
    ------
    FileFault
        If the file is missing.
    InputFault
        As `read_rows`.
    """
    if not file.is_file():
        raise FileFault(Fault(str(file), "is missing", "a table of units (CSV or XLSX)", "Give its path."))
    rows = read_rows(file, file.name)
    names = {n.strip().lower(): n for n in reversed(rows.names)}
    numbered = next((n for n in NUMBERS if n in names), None)
    placed = next((n for n in ("plot", "site") if n in names), None)
    if not (placed and numbered) and "tag" not in names:
        faults.add(
            file.name,
            f"columns {', '.join(rows.names)}",
            "plot (or site) and numbers, or tag",
            "Start from the form in out/, or add them.",
        )
        return []
    if needs is not None and needs not in names:
        faults.add(file.name, f"no column {needs!r}", ", ".join(rows.names), f"Add {needs!r}.")
        return []
    faults.found += [r.fault() for r in rows.broken[:MOST_LISTED]]
    units = _Known(known, whose)
    out: list[UnitRow] = []
    for i, line in enumerate(rows.lines):
        where = f"{file.name}, line {line}"
        cells = {key: fused(rows.cells[i][rows.names.index(name)].strip()) for key, name in names.items()}
        if not any(cells.values()) or (needs is not None and not cells[needs]):
            continue
        before = len(faults.found)
        for key, name in names.items():
            odd = rows.odd.get((line, name))
            if odd == DATE and key not in _KEPT:
                cells[key] = cells[key][:10]
            elif odd:
                faults.add(where, f"{name} is {odd}", "a plain cell", "Correct it.")
        cells = {key: text if key == numbered else point(text, rows.decimal) for key, text in cells.items()}
        day = _day(cells.get("date") or date, where, faults)
        if placed and numbered and cells.get(numbered):
            found = units.numbered(cells, placed, cells[numbered], where, faults)
        else:
            found = units.tagged(cells.get("tag", ""), where, faults)
        units.contradicted(cells, found, where, faults)
        if len(faults.found) == before:
            out.append(UnitRow(where, found, day, cells))
    return out


def number_cell(
    row: UnitRow, name: str, faults: Faults, *, least: float = -math.inf, most: float = math.inf, unit: str = ""
) -> float | None:
    """Return a cell as a number within a range; None where it is empty or wrong (then told)."""
    text = row.cells.get(name, "")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:  # not a number fails too
        faults.add(row.where, f"{name} {text!r}", f"a number from {least:g} to {most:g} {unit}".strip(), "Correct it.")
        return None
    return value


def shortened(faults: Faults, file: Path) -> None:
    """Keep the first twenty faults of a file and count the rest: one wrong column makes hundreds."""
    more = len(faults.found) - MOST_LISTED
    if more > 0:
        faults.found[MOST_LISTED:] = []
        faults.add(Path(file).name, f"{more} more faults, not shown", "rows that can be used", "Correct these first.")


def twice(rows: Sequence[UnitRow], faults: Faults) -> None:
    """Add a fault for every unit that two rows of the same day name."""
    first: dict[tuple[Unit, str], str] = {}
    for row in rows:
        for unit in row.units:
            if (unit, row.date) in first:
                faults.add(
                    row.where,
                    f"{unit[0]} number {unit[1]} stands in {first[(unit, row.date)].rpartition(', ')[2]} too",
                    "each unit once per day",
                    "Keep the row that is right.",
                )
            first.setdefault((unit, row.date), row.where)


def _day(text: str | None, where: str, faults: Faults) -> str:
    try:
        return datetime.date.fromisoformat(str(text)).isoformat()
    except ValueError:
        faults.add(
            where, f"date {text!r}" if text else "no date", "a day such as 2026-05-04", "Write it, or give --date."
        )
        return ""


class _Known:
    """The units there are, found by plot, by site and number, or by tag."""

    def __init__(self, known: pd.DataFrame, whose: str) -> None:
        self.whose = whose
        self.plots: dict[str, dict[int, Unit]] = {}
        self.sites: dict[str, dict[int, Unit]] = {}
        self.tags: dict[str, list[Unit]] = {}
        self.species = {
            (str(s), int(n)): str(c) for s, n, c in known[["site", "sequence", "species"]].itertuples(index=False)
        }
        self.others = {name: set(known[name].astype(str)) for name in ("site", "species")}
        self.bare: dict[str, list[str]] = {}  # tags by their number without leading zeros
        for site, plot, number, tag in known[["site", "plot", "sequence", "tag"]].itertuples(index=False):
            unit = (str(site), int(number))
            self.plots.setdefault(str(plot), {})[int(number)] = unit
            self.sites.setdefault(str(site), {})[int(number)] = unit
            if isinstance(tag, str) and tag:
                self.tags.setdefault(tag, []).append(unit)
        for tag in self.tags:
            self.bare.setdefault(tag.lstrip("0") if tag.isdigit() else tag, []).append(tag)

    def numbered(
        self, cells: dict[str, str], placed: str, numbers: str, where: str, faults: Faults
    ) -> tuple[Unit, ...]:
        groups = self.plots if placed == "plot" else self.sites
        own = groups.get(cells[placed])
        if own is None:
            faults.add(where, f"{placed} {cells[placed]!r}", f"one of {self.whose}: {_some(groups)}", "Correct it.")
            return ()
        wanted = list(own) if numbers.lower() == ALL else numbers_of(numbers)
        if wanted is None:
            faults.add(
                where,
                f"numbers {numbers!r}",
                "such as 5, or 1-12, 15, or all",
                "Correct it. A spreadsheet makes a date of 1-12: format the column as text first.",
            )
            return ()
        strange = [n for n in wanted if n not in own]
        if strange:
            faults.add(
                where,
                f"{cells[placed]} has no number {', '.join(map(str, strange[:8]))}{' …' if len(strange) > 8 else ''}",
                f"numbers of {self.whose}: {min(own)} to {max(own)}",
                "Correct it; read plot and number on the sheet.",
            )
        return tuple(own[n] for n in wanted if n in own)

    def contradicted(self, cells: dict[str, str], units: Iterable[Unit], where: str, faults: Faults) -> None:
        """Add a fault where site or species are those of other units: a table of which some columns were sorted."""
        for unit in units:
            own = {"site": unit[0], "species": self.species[unit]}
            for name, value in own.items():
                told = cells.get(name, "")
                if told != value and told in self.others[name]:
                    came = f"{name} {told!r} of {unit[0]} number {unit[1]}, which is {value}"
                    faults.add(where, came, "cells of one unit", "Correct the row; were columns sorted one by one?")
                    return

    def tagged(self, tag: str, where: str, faults: Faults) -> tuple[Unit, ...]:
        same = self.bare.get(tag, [])
        found = self.tags.get(tag) or (self.tags[same[0]] if len(same) == 1 else [])
        if len(found) == 1:
            return (found[0],)
        came = f"tag {tag!r}" if tag else "neither numbers nor tag"
        due = f"a tag of {self.whose}" if not found else f"a tag that one unit has, not {len(found)}"
        faults.add(where, came, due, "Correct it, or give plot and number.")
        return ()


def numbers_of(text: str) -> list[int] | None:
    """Return the numbers that a list of numbers and spans names, in its order; None if it is not such a list.

    Examples
    --------
    >>> numbers_of("1-3, 7")
    [1, 2, 3, 7]
    >>> numbers_of("4 and 5") is None
    True
    """
    out: list[int] = []
    single = _AS_DECIMAL.fullmatch(text.strip())
    for part in [single[1]] if single else re.split(r"[,;]", text):
        match = _SPAN.fullmatch(part.strip())
        if match is None:
            return None
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first or last - first > 100_000:
            return None
        out += range(first, last + 1)
    return list(dict.fromkeys(out))


def as_known(text: str, known: Iterable[str]) -> str:
    """Return a name as it is known where a spreadsheet took its leading zeros; any other text as it is.

    Examples
    --------
    >>> as_known("7", ["007", "A"]), as_known("7", ["07", "007"]), as_known("7", ["7", "07"])
    ('007', '7', '7')
    """
    names = list(known)
    same = [n for n in names if n.isdigit() and n.lstrip("0") == text]
    return same[0] if text not in names and len(same) == 1 else text


def _some(names: Iterable[str]) -> str:
    shown = sorted(names)
    return (", ".join(shown[:12]) + (" …" if len(shown) > 12 else "")) or "none"
