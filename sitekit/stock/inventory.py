"""The stock list: rows read as text, checked all at once, and passed through a size and health gate.

It does not decide where anything goes, and it never turns a genet's name into a number: `010`, `NO`, `12:30` and `1E5`
are names.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import pandas as pd

from sitekit.errors import Fault, Faults, FileFault, InputFault
from sitekit.layers.cells import DATE, DATE_1900, MEND, TIME, Reading, Refused, Rows, listed, point
from sitekit.layers.columns import FIELDS, factor_of, find_column, plain_name
from sitekit.layers.rows import read_rows

COLUMNS = (
    "species",
    "genet",
    "source",
    "source_region",
    "structure",
    "owner",
    "ready",
    "size_cm",
    "health",
    "health_date",
)
NEEDED = ("species", "genet", "ready", "size_cm", "health")
HEALTH = ("healthy", "watch", "refuse")
TOLD = ("partner", "species_written", "genet_written")  # where a row and its names come from
BATCH = ("species", "genet", "source", "structure", "owner", "partner", "size_cm", "health")  # what makes a batch one

# Outplanting best-practice workshop slides, Part II, 2 March 2015, slides 3-9: fragments above 5 cm (linear for
# staghorn, diameter for elkhorn) [source key: workshop-2015-outplanting].
LEAST_SIZE_CM = 5.0
# Goergen & Gilliam 2018, PeerJ 6:e4433 (abstract): above 15 cm total linear extension recommended for early survival of
# staghorn [source key: goergen-gilliam-2018].
CAUTION_SIZE_CM = {"ACER": 15.0}

_WHOLE = re.compile(r"\+?\d+(?:\.0*)?")


@dataclass(frozen=True)
class Gate:
    """What a fragment must pass before it counts as usable stock.

    Parameters
    ----------
    least_size_cm : mapping of str to float
        Least size per species [cm]; species not named take 5 cm (workshop slides 2015).
    caution_size_cm : mapping of str to float
        Sizes below which a remark is printed [cm]; the stock stays usable.
    accept_watch : bool
        Whether stock whose health is `watch` may be planted. It may not by default.
    planting_date : datetime.date, optional
        The day against which the age of `health_date` is counted.
    health_days : int, optional
        Oldest health check that still counts [days]; None: the age is not judged.
    """

    least_size_cm: Mapping[str, float] = field(default_factory=dict)
    caution_size_cm: Mapping[str, float] = field(default_factory=lambda: dict(CAUTION_SIZE_CM))
    accept_watch: bool = False
    planting_date: date | None = None
    health_days: int | None = None


def read_stock(
    path: Path,
    *,
    where: str = "stock",
    reading: Reading | None = None,
    columns: Mapping[str, str] | None = None,
    refused: list[Refused] | None = None,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the rows of a stock list as text, each with the file and line it came from, and how it was understood.

    Parameters
    ----------
    path : pathlib.Path
        A table of any kind that `read_rows` takes: text with any separator, or a spreadsheet.
    where : str
        Settings key, for messages.
    reading : Reading, optional
        Sheet, header line, encoding.
    columns : mapping of str to str, optional
        Column of the table -> column of the file, where it is not found by name.
    refused : list of Refused, optional
        Takes rows that cannot be read, and the others go on; without it such rows are faults.

    Returns
    -------
    pandas.DataFrame, tuple of str
        The columns found, all text and stripped of outer spaces, then `file` (text) and `line`; and notes.

    Raises
    ------
    FileFault
        If the file cannot be read, or holds no row.
    InputFault
        If a named column is not there, or rows have too many or too few cells, or cells that are not what they show
        (a genet that a spreadsheet turned into a date): all such rows at once.
    """
    path = Path(path)
    rows = read_rows(path, where, reading)
    if not rows.cells and not rows.broken:
        raise FileFault(Fault(str(path), "no stock rows", "a header and at least one row", "Fill in the stock list."))
    named, notes = _columns_of(rows, where, columns or {})
    bad: dict[int, list[str]] = {}
    mend: dict[int, str] = {}
    data: dict[str, list[str]] = {}
    for one, column in named.items():
        texts = []
        for i, text in enumerate(rows.column(column)):
            odd = rows.odd.get((rows.lines[i], column))
            if odd and not (one == "health_date" and odd == DATE):
                turned = one in ("species", "genet") and odd in (DATE, DATE_1900, TIME)
                shown = f", shown as {text!r}" if text else ""
                name = f": the spreadsheet program turned the {one}'s name into it" if turned else ""
                bad.setdefault(i, []).append(f"{column} is {odd}{shown}{name}")
                if turned:
                    mend[i] = f"Format column {column!r} of the spreadsheet as text, then type the name anew."
            elif odd:
                text = text[:10]
            texts.append(_in_centimetres(point(text, rows.decimal), column) if one == "size_cm" else text)
        data[one] = texts
    lost = [*rows.broken, *(_refused(rows, i, where, "; ".join(bad[i]), mend.get(i, MEND)) for i in sorted(bad))]
    if refused is not None:
        refused += [replace(r, layer=where) for r in lost]
    elif lost:
        raise InputFault(*listed([r.fault() for r in lost], where, path.name, len(lost)))
    keep = [i for i in range(len(rows.cells)) if i not in bad]
    frame = pd.DataFrame({n: [t[i] for i in keep] for n, t in data.items()}, dtype="str")
    frame["file"] = pd.array([path.name] * len(keep), dtype="str")
    frame["line"] = [rows.lines[i] for i in keep]
    frame["text"] = pd.array([rows.text_of(i) for i in keep], dtype="str")
    return frame, (*rows.said, *notes)


def _columns_of(rows: Rows, where: str, named: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """Column of the file per column of the table, and what must be told of them."""
    found, notes = {}, []
    plain = {plain_name(n): n for n in reversed(rows.names)}
    with Faults() as faults:
        for one in (*COLUMNS, "partner"):
            column = named.get(one)
            if column is not None and column not in rows.names:
                faults.add(f"{where}.columns.{one}", f"no column {column!r}", ", ".join(rows.names), "Correct it.")
            if column is None:
                column = find_column(rows.names, one) if one in FIELDS else plain.get(one)
            if column is not None:
                found[one] = column
                if plain_name(column) != one:
                    notes.append(f"{column!r} read as {one}")
    size = found.get("size_cm")
    if size is not None and factor_of("size_cm", size) is None:
        notes.append(f"{size!r} tells no unit: taken as cm")
    elif size is not None and factor_of("size_cm", size) != 1.0:
        notes.append(f"{size!r} is in another unit: times {factor_of('size_cm', size):g} gives cm")
    left = [n for n in rows.names if n not in found.values()]
    if left:
        notes.append(f"columns not read: {', '.join(left)[:200]}")
    return found, notes


def _in_centimetres(text: str, column: str) -> str:
    """Size as text in cm; what is no number stays as it is, for the check of rows to tell."""
    factor = factor_of("size_cm", column)
    if factor in (None, 1.0):
        return text
    try:
        return f"{float(text) * factor:.10g}"
    except ValueError:
        return text


def _refused(rows: Rows, i: int, where: str, why: str, do: str) -> Refused:
    return Refused(where, rows.file, rows.lines[i], rows.text_of(i), why, do)


def check_stock(
    rows: pd.DataFrame, *, species: Iterable[str], gate: Gate | None = None, refused: list[Refused] | None = None
) -> pd.DataFrame:
    """Return the stock table: every row checked and passed through the size and health gate.

    Parameters
    ----------
    rows : pandas.DataFrame
        As from `read_stock`: text columns species, genet, ready [fragments], size_cm [cm], health (healthy, watch or
        refuse) are needed; source, source_region, structure, owner, health_date (ISO 8601) may be missing or empty.
        `file` and `line` name the place in messages.
    species : iterable of str
        Codes that have criteria; another code is a fault.
    gate : Gate, optional
        Size and health rules.
    refused : list of Refused, optional
        Takes the rows with faults, and the others go on; without it such rows are faults.

    Returns
    -------
    pandas.DataFrame
        The columns of the table `stock` in order; `usable` is False with a `reason`; a usable row may carry a remark in
        `reason` that begins with "note:".

    Raises
    ------
    InputFault
        With every fault of every row: missing columns, empty names, counts that are no whole numbers, sizes that are no
        positive numbers, unknown health words or dates, unknown species, a batch listed twice.
    """
    gate = gate or Gate()
    known = tuple(species)
    rows = _with_all_columns(rows)
    found: list[Fault] = []
    wrong = 0
    first_seen: dict[tuple[str, ...], str] = {}
    out = []
    for row in rows.to_dict("records"):
        faults = Faults()
        where = f"{row['file']} line {row['line']}"
        record: dict[str, object] = {name: _text(row[name]) for name in COLUMNS}
        for name in ("species", "genet"):
            if not record[name]:
                faults.add(f"{where}, {name}", "empty", "a name", "Fill it in, or delete the row.")
        if record["species"] and record["species"] not in known:
            due = "one of " + ", ".join(known) if known else "a species with criteria"
            faults.add(f"{where}, species", repr(record["species"]), due, "Add criteria for it, or correct the code.")
        record |= {n: _text(row.get(n)) for n in TOLD}
        record["ready"] = _whole_number(_text(row["ready"]), f"{where}, ready", faults)
        record["size_cm"] = _size(_text(row["size_cm"]), f"{where}, size_cm", faults)
        record["health"] = str(record["health"]).lower()
        if record["health"] not in HEALTH:
            faults.add(f"{where}, health", repr(_text(row["health"])), ", ".join(HEALTH), "Use one of these words.")
        checked = _iso_date(_text(row["health_date"]), f"{where}, health_date", faults)
        batch = tuple(str(record[n]) for n in BATCH)
        if batch in first_seen:
            faults.add(
                where,
                f"{record['species']} {record['genet']} is the same batch as in {first_seen[batch]}",
                "each batch once",
                "Add the numbers up in one row, or name the structures apart.",
            )
        if faults.found:
            wrong += 1
            found += faults.found
            if refused is not None:
                why = "; ".join(
                    f"{f.where.removeprefix(where).strip(', ')} {f.came} (due: {f.due})".strip() for f in faults.found
                )
                do = " ".join(dict.fromkeys(f.do for f in faults.found))
                refused.append(Refused("stock", str(row["file"]), int(row["line"]), _text(row.get("text")), why, do))
            continue
        first_seen.setdefault(batch, where)
        record["file"], record["line"] = row["file"], row["line"]
        out.append((record, checked))
    if found and refused is None:
        raise InputFault(*listed(found, "stock", str(rows["file"].iloc[0]), wrong))
    for record, checked in out:
        record["usable"], record["reason"] = _judged(record, checked, gate)
    order = [*COLUMNS, *TOLD, "usable", "reason", "file", "line"]
    frame = pd.DataFrame([record for record, _ in out], columns=order)
    for name in (*COLUMNS, *TOLD, "reason", "file"):
        if name not in ("ready", "size_cm"):
            frame[name] = frame[name].astype("str")
    return frame.astype({"ready": "Int64", "line": "Int64", "size_cm": "float64", "usable": "bool"})


def usable_counts(stock: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Return fragments ready to plant per (species, genet), usable rows only, in order of species and genet.

    Parameters
    ----------
    stock : pandas.DataFrame
        As from `check_stock`.

    Returns
    -------
    dict
        (species, genet) -> fragments; genets with none left out.
    """
    held: dict[tuple[str, str], int] = {}
    for species, genet, ready, usable in zip(stock.species, stock.genet, stock.ready, stock.usable, strict=True):
        if usable and int(ready):
            key = (str(species), str(genet))
            held[key] = held.get(key, 0) + int(ready)
    return dict(sorted(held.items()))


def _with_all_columns(rows: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in NEEDED if name not in rows.columns]
    with Faults() as faults:
        for name in missing:
            place = str(rows["file"].iloc[0]) if "file" in rows.columns and len(rows) else "stock"
            came = "the columns are " + ", ".join(str(c) for c in rows.columns if c not in ("file", "line"))
            faults.add(place, came, f"a column {name!r}", "Add the column, or rename the one that holds it.")
    rows = rows.copy()
    for name in COLUMNS:
        if name not in rows.columns:
            rows[name] = ""
    if "file" not in rows.columns:
        rows["file"] = "stock"
    if "line" not in rows.columns:
        rows["line"] = range(1, len(rows) + 1)
    return rows


def _text(value: object) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    return str(value).strip()


def _whole_number(text: str, where: str, faults: Faults) -> int:
    if _WHOLE.fullmatch(text) and len(text) <= 9:
        return int(float(text))
    faults.add(where, repr(text), "a whole number of fragments from 0 to 999,999,999", "Correct the count.")
    return 0


def _size(text: str, where: str, faults: Faults) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if math.isfinite(value) and 0 < value <= 1000 and "_" not in text:
        return value
    hint = "Write 4.5, not 4,5." if "," in text else "Correct the size."
    faults.add(where, repr(text), "a size in cm, above 0 and at most 1000", hint)
    return math.nan


def _iso_date(text: str, where: str, faults: Faults) -> date | None:
    if not text:
        return None
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            raise ValueError(text)
        return date.fromisoformat(text)
    except ValueError:
        faults.add(where, repr(text), "a date as 2026-03-31", "Write year-month-day, or leave it empty.")
        return None


def _judged(record: Mapping[str, object], checked: date | None, gate: Gate) -> tuple[bool, str]:
    species, size = str(record["species"]), float(str(record["size_cm"]))
    least = gate.least_size_cm.get(species, LEAST_SIZE_CM)
    refused, notes = [], []
    if size < least:
        refused.append(f"{size:g} cm is below the least size of {least:g} cm")
    elif size < gate.caution_size_cm.get(species, 0.0):
        notes.append(f"{size:g} cm is below the {gate.caution_size_cm[species]:g} cm advised for early survival")
    if record["health"] == "refuse":
        refused.append("health is 'refuse'")
    elif record["health"] == "watch":
        (notes if gate.accept_watch else refused).append("health is 'watch'")
    if gate.health_days is not None and gate.planting_date is not None:
        if checked is None:
            refused.append("no date of a health check")
        elif checked > gate.planting_date:
            refused.append(
                f"health check {checked.isoformat()} lies after planting on {gate.planting_date.isoformat()}"
            )
        elif (gate.planting_date - checked).days > gate.health_days:
            days = (gate.planting_date - checked).days
            refused.append(f"health check is {days} days old, at most {gate.health_days} count")
    if refused:
        return False, "; ".join(refused)
    return True, "note: " + "; ".join(notes) if notes else ""
