"""Files of wind, swell and tide: columns of a table read as numbers and times, every fault at once with its line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.errors import Fault, Faults, FileFault
from sitekit.layers.cells import Reading
from sitekit.layers.rows import series_frame

_LISTED = 5  # faulty lines named one by one per column
_EMPTY = ("", "na", "nan", "null", "-")


@dataclass(frozen=True)
class Times:
    """A series over time.

    Parameters
    ----------
    time : array of datetime64[m], shape (n,)
        Rising, in the file's own local time.
    values : dict of str to array, shape (n,)
        NaN where missing.
    notes : tuple of str
        Gaps, steps, zones.
    """

    time: NDArray[np.datetime64]
    values: dict[str, NDArray[np.float64]]
    notes: tuple[str, ...]


def read_numbers(
    path: Path, columns: Sequence[str], where: str, reading: Reading | None = None
) -> tuple[dict[str, NDArray[np.float64]], tuple[str, ...]]:
    """Return columns of a table as numbers, and how it was understood; every cell must hold one.

    Parameters
    ----------
    path : Path
        A table of any kind that `read_rows` takes.
    columns : sequence of str
        Names due; others are left alone.
    where : str
        Settings key, for messages.
    reading : Reading, optional
        Sheet, header line, encoding.

    Raises
    ------
    FileFault
        If the file cannot be read, lacks columns or rows, or cells are empty or no numbers.
    """
    table, said = series_frame(path, columns, where, reading)
    out = {}
    with Faults(FileFault) as faults:
        for name in columns:
            out[name], empty = _numbers(table, name, path, where, faults)
            for row in np.flatnonzero(empty)[:_LISTED]:
                at = f"{where}, {path.name} line {table.index[row]}, {name}"
                faults.add(at, "empty", "a number", "Fill it in.")
    return out, said


def read_times(path: Path, time: str, columns: Sequence[str], where: str, reading: Reading | None = None) -> Times:
    """Return a table over time, its steps made even: missing times are put in as gaps, and told.

    Parameters
    ----------
    path, where, reading
        As `read_numbers`.
    time : str
        Column of times such as 2026-05-04T06:00 or 2026-05-04T06:00-03:00; the clock of the file is kept.
    columns : sequence of str
        Columns of numbers; empty cells are gaps.

    Raises
    ------
    FileFault
        If the file cannot be read, lacks columns, holds unreadable or doubled times, mixes zones, or has under two rows.
    """
    table, said = series_frame(path, [time, *columns], where, reading)
    text = table[time].str.strip()
    zones = sorted(set(text.str.extract(r"(Z|[+-]\d\d:?\d\d)$", expand=False).fillna("")))
    clock = text.str.replace(r"(Z|[+-]\d\d:?\d\d)$", "", regex=True)
    when = pd.to_datetime(clock, format="ISO8601", errors="coerce")
    values = {}
    with Faults(FileFault) as faults:
        for row in np.flatnonzero(when.isna())[:_LISTED]:
            faults.add(
                f"{where}, {path.name} line {table.index[row]}, {time}",
                repr(text.iloc[row]),
                "a time such as 2026-05-04T06:00",
                "Correct it.",
            )
        if len(zones) > 1:
            shown = ", ".join(z or "none" for z in zones)
            faults.add(f"{where}, {path.name}", f"zones {shown}", "one zone", "Give all times on one clock.")
        if len(table) < 2:
            faults.add(f"{where}, {path.name}", f"{len(table)} rows", "at least two", "Check the file.")
        for name in columns:
            values[name], _ = _numbers(table, name, path, where, faults)
    minutes = when.to_numpy().astype("datetime64[m]")
    order = np.argsort(minutes, kind="stable")
    steps = np.diff(minutes[order]).astype(np.int64)
    with Faults(FileFault) as faults:
        for at in np.flatnonzero(steps == 0)[:_LISTED]:
            faults.add(
                f"{where}, {path.name} line {table.index[order[at + 1]]}", f"{minutes[order][at]} twice", "once",
                "Remove one.",
            )  # fmt: skip
    found, times = np.unique(steps, return_counts=True)
    usual = int(found[np.argmax(times)])
    place = np.concatenate([[0], np.cumsum(np.maximum(np.rint(steps / usual).astype(np.int64), 1))])
    notes = [f"{len(table)} rows in steps of {usual} min, {minutes[order][0]} to {minutes[order][-1]}{_zone(zones)}"]
    missing = int(place[-1]) + 1 - len(table)
    if missing:
        notes.append(f"{missing} times are missing; the longest gap is {int(steps.max() / 60)} h. Gaps stay gaps.")
    size = int(place[-1]) + 1
    if size > 50 * len(table):
        raise FileFault(
            Fault(f"{where}, {path.name}", f"a gap of {int(steps.max() / 1440)} days", "one period", "Split the file.")
        )
    even = {}
    for name in columns:
        even[name] = np.full(size, np.nan)
        even[name][place] = values[name][order]
        empty = int(np.isnan(values[name]).sum())
        if empty:
            notes.append(f"{empty} values of {name} are empty. Gaps stay gaps.")
    at_time = minutes[order][0] + (np.arange(size) * usual).astype("timedelta64[m]")
    at_time[place] = minutes[order]
    return Times(at_time, even, (*notes, *said))


def _zone(zones: list[str]) -> str:
    zone = zones[0] if zones else ""
    return f", zone {zone}" if zone else ", no zone stated"


def _numbers(
    table: pd.DataFrame, name: str, path: Path, where: str, faults: Faults
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    text = table[name].str.strip()
    empty = text.str.lower().isin(_EMPTY).to_numpy()
    number = pd.to_numeric(text.mask(empty), errors="coerce").to_numpy(np.float64)
    wrong = np.isnan(number) & ~empty
    for row in np.flatnonzero(wrong)[:_LISTED]:
        faults.add(
            f"{where}, {path.name} line {table.index[row]}, {name}", repr(text.iloc[row]), "a number", "Correct it."
        )
    if wrong.sum() > _LISTED:
        faults.add(f"{where}, {path.name}, {name}", f"{int(wrong.sum())} such cells", "numbers", "Correct them all.")
    return number, empty
