"""Visits made into one row per unit: how long it was followed, and whether it died.

The rules, each with its test:

- A unit's time starts on its planting date, day 0.
- It died if a visit did not find it alive and no later visit did; its time ends at the first such visit after it was
  last seen alive. `when="midpoint"` takes the middle between that visit and the one before that saw it alive (or
  planting): the day of the death itself is never known, only the span between two visits.
- A unit last seen alive is censored there: it was alive that long, and nothing more is said.
- A unit never visited is censored at day 0, and counted as never seen.
- A missing unit counts as dead by default. `missing="unknown"` passes such a visit over as if it had not been made; a
  unit of which there are no other visits then is never seen.
- A unit noted dead and later alive is alive: the later visit holds. It is counted as contradictory (two tags mixed up,
  or living tissue overlooked). One noted missing and later seen again is no contradiction and counted by itself.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

Missing = Literal["dead", "unknown"]
When = Literal["seen", "midpoint"]
STATES = ("alive", "dead", "missing")
SHOWN = 10
Bools = NDArray[np.bool_]
_Notes = dict[int, str]  # day after planting -> state


@dataclass(frozen=True, eq=False)
class Histories:
    """One row per unit, in the order in which the units were given.

    Parameters
    ----------
    units : ndarray of str, shape (n,)
        Keys of the units.
    days : ndarray of float64, shape (n,)
        From planting to death or to when the unit was last seen alive [days].
    died : ndarray of bool, shape (n,)
        Whether it died then.
    known_alive_days : ndarray of float64, shape (n,)
        Last day on which it was known to live, 0 for planting [days]; the death lies between this day and the visit
        that first found it dead.
    never_seen : ndarray of bool, shape (n,)
        No visit that counts.
    contradictory : ndarray of bool, shape (n,)
        Noted dead and later alive.
    found_again : ndarray of bool, shape (n,)
        Noted missing and later alive.
    only_missing : ndarray of bool, shape (n,)
        Died, and was never noted dead, only missing, since it was last seen alive.
    """

    units: NDArray[np.str_]
    days: NDArray[np.float64]
    died: Bools
    known_alive_days: NDArray[np.float64]
    never_seen: Bools
    contradictory: Bools
    found_again: Bools
    only_missing: Bools

    def part(self, rows: ArrayLike) -> Histories:
        """Return the histories of some units: a mask, or numbers of rows."""
        chosen = np.asarray(rows)
        return replace(self, **{f.name: getattr(self, f.name)[chosen] for f in fields(self)})

    def counts(self) -> dict[str, int]:
        """Return how many units there are of each kind; planted = died + last seen alive + never seen."""
        return {
            "planted": int(self.units.size),
            "died": int(self.died.sum()),
            "last_seen_alive": int((~self.died & ~self.never_seen).sum()),
            "never_seen": int(self.never_seen.sum()),
            "contradictory": int(self.contradictory.sum()),
            "found_again": int(self.found_again.sum()),
            "only_missing": int(self.only_missing.sum()),
        }


def unit_histories(
    planted: Iterable[tuple[str, datetime.date]],
    visits: Iterable[tuple[str, datetime.date, str]],
    *,
    missing: Missing = "dead",
    when: When = "seen",
) -> Histories:
    """Return one row per planted unit from the visits to it; the rules stand at the top of this file.

    Parameters
    ----------
    planted : iterable of (unit, date)
        Key of each planted unit, once, and its planting date.
    visits : iterable of (unit, date, state)
        In any order; state is "alive", "dead" or "missing". The same note twice counts once.
    missing : {"dead", "unknown"}
        What a missing unit is taken for.
    when : {"seen", "midpoint"}
        Day of a death: the visit that first found it, or the middle of the span in which it fell.

    Returns
    -------
    Histories
        Whose `days` and `died` go into `survival_curve` and `log_rank`.

    Raises
    ------
    InputFault
        All at once: no units; a unit planted twice; a date that is none; visits to unknown units or before planting;
        an unknown state; two states of a unit on one day; an unknown option.

    Notes
    -----
    A time of day is dropped. By "seen" a death comes up to one interval between visits too late, so that the curve
    lies too high; "midpoint" has no such lean if deaths fall evenly between visits. Neither is a measured day.

    Examples
    --------
    >>> day = datetime.date
    >>> found = unit_histories(
    ...     [("A", day(2027, 5, 1)), ("B", day(2027, 5, 1))],
    ...     [("A", day(2027, 6, 1), "alive"), ("A", day(2027, 8, 1), "dead"), ("B", day(2027, 6, 1), "alive")],
    ... )
    >>> found.days.tolist(), found.died.tolist()
    ([92.0, 31.0], [True, False])
    """
    with Faults() as faults:
        for name, value, due in (("missing", missing, ("dead", "unknown")), ("when", when, ("seen", "midpoint"))):
            if value not in due:
                faults.add(name, repr(value), " or ".join(map(repr, due)), "Use one of these.")
        starts = _starts(faults, planted)
        notes = _notes(faults, starts, visits)
    rows = [_row(notes[unit], missing, when) for unit in starts]
    columns = [np.asarray(column) for column in zip(*rows, strict=True)]
    return Histories(np.asarray(list(starts), np.str_), *columns)


def _row(notes: _Notes, missing: Missing, when: When) -> tuple[float, bool, float, bool, bool, bool, bool]:
    """Return days, died, known alive, never seen, contradictory, found again, only missing of one unit."""
    counted = [(day, notes[day]) for day in sorted(notes) if missing == "dead" or notes[day] != "missing"]
    alive = max((day for day, state in notes.items() if state == "alive"), default=None)
    before = {state for day, state in notes.items() if alive is not None and day < alive}
    contradictory, found_again = "dead" in before, "missing" in before
    known = 0 if alive is None else alive
    after = [(day, state) for day, state in counted if alive is None or day > alive]
    if not after:
        return float(known), False, float(known), not counted, contradictory, found_again, False
    first = after[0][0]
    only_missing = all(state == "missing" for _, state in after)
    end = float(first) if when == "seen" else (known + first) / 2.0
    return end, True, float(known), False, contradictory, found_again, only_missing


def _starts(faults: Faults, planted: Iterable[tuple[str, datetime.date]]) -> dict[str, datetime.date]:
    starts: dict[str, datetime.date] = {}
    twice, dateless = [], []
    for unit, date in planted:
        start = _plain_date(date)
        if start is None:
            dateless.append(f"{unit} ({date!r})")
        if unit in starts:
            twice.append(unit)
        starts[unit] = start or datetime.date.min
    if not starts:
        faults.add("planted", "no units", "one or more", "Record what was planted first.")
    _add(faults, "planted", "planted twice", twice, "each unit once", "Give each unit its own tag.")
    _add(faults, "planted", "without a planting date", dateless, "a date", "Write the date on which it was planted.")
    return starts


def _notes(
    faults: Faults, starts: dict[str, datetime.date], visits: Iterable[tuple[str, datetime.date, str]]
) -> dict[str, _Notes]:
    notes: dict[str, _Notes] = {unit: {} for unit in starts}
    unknown, dateless, early, states, torn = [], [], [], [], []
    for unit, when, state in visits:
        date = _plain_date(when)
        if state not in STATES:
            states.append(f"{unit} on {date} ({state!r})")
        if date is None:
            dateless.append(f"{unit} ({when!r})")
        if unit not in starts:
            unknown.append(str(unit))
        if date is None or unit not in starts or state not in STATES:
            continue
        day = (date - starts[unit]).days
        if day < 0:
            early.append(f"{unit} (visited {date}, planted {starts[unit]})")
        elif notes[unit].setdefault(day, state) != state:
            torn.append(f"{unit} on {date} ({notes[unit][day]} and {state})")
    correct = "Correct the tag, or record the planting."
    _add(faults, "visits", "visits to units that were not planted", unknown, "keys of planted units", correct)
    _add(faults, "visits", "visits without a date", dateless, "a date", "Write the date of the visit.")
    _add(
        faults, "visits", "before planting", early, "visits on or after the planting date", "Correct one of the dates."
    )
    _add(faults, "visits", "unknown states", states, ", ".join(map(repr, STATES)), "Use one of these.")
    _add(faults, "visits", "two states on one day", torn, "one state per unit and day", "Keep the one that holds.")
    return notes


def _add(faults: Faults, where: str, what: str, found: list[str], due: str, do: str) -> None:
    if found:
        distinct = list(dict.fromkeys(found))
        more = f" and {len(distinct) - SHOWN} more" if len(distinct) > SHOWN else ""
        faults.add(where, f"{what}: {', '.join(distinct[:SHOWN])}{more}", due, do)


def _plain_date(value: object) -> datetime.date | None:
    """Return a date without time of day, None for anything else (an empty cell of a table is a time unlike itself)."""
    if not isinstance(value, datetime.date) or value != value:  # noqa: PLR0124
        return None
    return value.date() if isinstance(value, datetime.datetime) else value
