"""Which dates may be worked on, and the height of tide on them; predictions are pasted by the team, never made here."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class Window:
    """Dates on which no coral is moved.

    Parameters
    ----------
    first, last : datetime.date
        Both closed.
    reason : str
        E.g. spawning, yearly peak of heat, storm season.
    """

    first: datetime.date
    last: datetime.date
    reason: str


@dataclass(frozen=True)
class Date:
    """One date and whether it may be worked on; `reason` says why not, empty if it may."""

    date: datetime.date
    reason: str = ""


def season_dates(
    first: datetime.date,
    last: datetime.date,
    *,
    weekdays: Collection[str] = DAYS,
    closed_months: Collection[int] = (),
    windows: Sequence[Window] = (),
    lost: Collection[datetime.date] = (),
) -> list[Date]:
    """Return every date from first to last with the reason for which it is closed, if it is.

    Parameters
    ----------
    first, last : datetime.date
        Of the season, both in it.
    weekdays : collection of str
        On which the boat goes out: Mon … Sun.
    closed_months : collection of int
        1–12.
    windows : sequence of Window
        Spawning, heat and others.
    lost : collection of datetime.date
        Days lost to weather or repair.

    Raises
    ------
    InputFault
        If the season or a window ends before it starts, a month or weekday does not exist, or more than 400 days
        are asked for.
    """
    with Faults() as faults:
        if last < first:
            faults.add("fieldwork.last_day", f"{last} is before {first}", "a date not before first_day", "Correct it.")
        elif (last - first).days > 400:
            faults.add("fieldwork.last_day", f"{(last - first).days} days", "one season, at most 400 days", "Shorten.")
        for window in windows:
            if window.last < window.first:
                came = f"{window.reason}: {window.last} is before {window.first}"
                faults.add("fieldwork.closed", came, "a window that ends after it starts", "Correct it.")
        for month in sorted(set(closed_months)):
            if not 1 <= month <= 12:
                faults.add("fieldwork.closed_months", str(month), "1 to 12", "Correct it.")
        for day in sorted(set(weekdays) - set(DAYS)):
            faults.add("fieldwork.weekdays", repr(day), ", ".join(DAYS), "Use one of these.")
    found = []
    for offset in range((last - first).days + 1):
        date = first + datetime.timedelta(days=offset)
        reasons = [f"{w.reason} ({w.first} to {w.last})" for w in windows if w.first <= date <= w.last]
        if date.month in closed_months:
            reasons.append(f"month {date.month} is closed")
        if DAYS[date.weekday()] not in weekdays:
            reasons.append(f"no boat on {DAYS[date.weekday()]}")
        if date in lost:
            reasons.append("lost")
        found.append(Date(date, "; ".join(reasons)))
    return found


def tide_range(
    times: NDArray[np.datetime64], height_m: ArrayLike, start: np.datetime64, end: np.datetime64
) -> tuple[float, float] | None:
    """Return the lowest and the highest tide between two times [m], None where predictions do not cover them.

    Parameters
    ----------
    times : ndarray of datetime64, shape (n,)
        Rising, local time.
    height_m : array_like, shape (n,)
        Above the datum of the depths [m].
    start, end : datetime64
        Both in local time.

    Notes
    -----
    Straight lines between predictions; with hourly ones that is at most about 1 % of the range off at a turn
    (1 − cos 15°, for a half-daily tide).
    """
    if times.size < 2 or start < times[0] or end > times[-1] or end < start:
        return None
    unit = "datetime64[s]"
    t = times.astype(unit).astype(np.int64)
    a, b = (int(np.datetime64(v).astype(unit).astype(np.int64)) for v in (start, end))
    inside = (t > a) & (t < b)
    heights = np.asarray(height_m, np.float64)
    values = np.concatenate([np.interp([a, b], t, heights), heights[inside]])
    return float(values.min()), float(values.max())


def tide_windows(
    times: NDArray[np.datetime64],
    height_m: ArrayLike,
    start: np.datetime64,
    end: np.datetime64,
    *,
    least_m: float | None = None,
    greatest_m: float | None = None,
) -> list[tuple[np.datetime64, np.datetime64]] | None:
    """Return the spans, to the minute, in which the tide stands within the team's limits; None without predictions.

    Parameters
    ----------
    times, height_m, start, end
        As for `tide_range`.
    least_m, greatest_m : float, optional
        Limits of the height of tide [m].
    """
    if tide_range(times, height_m, start, end) is None:
        return None
    minute = np.arange(start.astype("datetime64[m]"), end.astype("datetime64[m]") + 1)
    t = times.astype("datetime64[s]").astype(np.int64)
    height = np.interp(minute.astype("datetime64[s]").astype(np.int64), t, np.asarray(height_m, np.float64))
    good = np.ones(minute.size, bool)
    if least_m is not None:
        good &= height >= least_m - 1e-9
    if greatest_m is not None:
        good &= height <= greatest_m + 1e-9
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    return [(minute[a], minute[b - 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
