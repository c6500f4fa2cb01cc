"""When visits are due after planting: an early one for what comes loose, then by months."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Sequence
from typing import NamedTuple

from sitekit.errors import Faults

# "After first month, then quarterly to 18 months" (Johnson et al. 2011, Box 7 and 'Methodology', e-paper p.33)
# [source key: johnson-2011] can be read two ways: quarters of the year since planting, or three months after the first.
MONTHS = (1, 3, 6, 9, 12, 15, 18)
MONTHS_FROM_THE_FIRST = (1, 4, 7, 10, 13, 16)
# A visit 1-2 weeks after planting catches what came loose and what was eaten (workshop slides, 2 Mar 2015, slides 3-9)
# [source key: workshop-2015-outplanting].
EARLY_DAYS = (7, 14)
MOST_MONTHS = 600  # 50 years: beyond that a number of months is a slip of the pen


class DueVisit(NamedTuple):
    """One visit that is due.

    Parameters
    ----------
    first, last : datetime.date
        It falls from one to the other; both the same where a single day is due.
    label : str
        "7-14 days", "1 month", "3 months" after planting.
    """

    first: datetime.date
    last: datetime.date
    label: str


def due_dates(
    planted: datetime.date, *, months: Sequence[int] = MONTHS, early_days: tuple[int, int] | None = EARLY_DAYS
) -> list[DueVisit]:
    """Return the visits due after a planting, earliest first.

    Parameters
    ----------
    planted : datetime.date
        When the units were planted.
    months : sequence of int
        Months after planting, each once, 1 to 600; may be empty.
    early_days : (int, int), optional
        First and last day after planting of the early visit, 0 or more [days]; None for no early visit.

    Returns
    -------
    list of DueVisit
        The early visit is a span of days, the others are single days; the source gives them no tolerance.

    Raises
    ------
    InputFault
        If a number of months is no whole number from 1 to 600 or stands twice, the early days do not rise, nothing
        is asked for, or a visit falls after the year 9999.

    Notes
    -----
    A month after a date is the same day of the later month, or that month's last day where it has no such day: a month
    after 31 January is 28 or 29 February. Every visit counts from the planting, so that days lost at the end of a short
    month do not add up.

    References
    ----------
    Johnson et al. 2011; workshop slides *Coral Outplanting Best Practices* Part II, 2015.

    Examples
    --------
    >>> [str(visit.first) for visit in due_dates(datetime.date(2027, 8, 31), months=(1, 6), early_days=None)]
    ['2027-09-30', '2028-02-29']
    """
    with Faults() as faults:
        if not months and early_days is None:
            faults.add("visits", "none asked for", "months after planting, an early visit, or both", "Give some.")
        for month in months:
            if not (isinstance(month, int) and 1 <= month <= MOST_MONTHS):
                faults.add("months", f"{month}", f"whole numbers from 1 to {MOST_MONTHS}", "Correct it.")
            elif planted.year + (planted.month - 1 + month) // 12 > datetime.MAXYEAR:
                faults.add("months", f"{month} after {planted}", "a visit before the year 10000", "Correct the date.")
        for month in sorted({m for m in months if list(months).count(m) > 1}):
            faults.add("months", f"{month} stands {list(months).count(month)} times", "each once", "Leave one.")
        if early_days is not None:
            first, last = early_days
            if not 0 <= first <= last:
                due = "0 or more, the first not after the last"
                faults.add("early days", f"{first} to {last} days", due, "Correct them.")
            elif last > (datetime.date.max - planted).days:
                faults.add("early days", f"{last} after {planted}", "a visit before the year 10000", "Correct them.")
    found = [DueVisit(day := _months_after(planted, m), day, f"{m} month{'s'[: m > 1]}") for m in months]
    if early_days is not None:
        first, last = early_days
        days = [planted + datetime.timedelta(days=n) for n in (first, last)]
        found.append(DueVisit(days[0], days[1], f"{first}-{last} days"))
    return sorted(found, key=lambda visit: (visit.first, visit.last))


def _months_after(date: datetime.date, months: int) -> datetime.date:
    years, month = divmod(date.month - 1 + months, 12)
    year = date.year + years
    return datetime.date(year, month + 1, min(date.day, calendar.monthrange(year, month + 1)[1]))
