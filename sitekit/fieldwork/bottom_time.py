"""How long a dive may last: the shorter of what gas, a published no-stop table and the supervisor allow.

A no-stop table answers for a diver's **first dive of the day** only. What a second dive may last depends on the first,
and that is never computed here: the supervisor types it in, or there is no second dive.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from sitekit.base.sources import shared_file
from sitekit.errors import Fault, Faults, InputFault

FT_PER_M = 1 / 0.3048  # international foot, exact


@dataclass(frozen=True)
class NoStopTable:
    """A published no-stop table for single air dives.

    Parameters
    ----------
    name : str
        With its edition.
    depth_ft : tuple of float
        Rows, rising [ft of sea water].
    minutes : tuple of float
        Bottom time without stops, infinity where unlimited, never rising with depth.
    source, caveat : str
        Who published it, and what must be checked.

    Raises
    ------
    InputFault
        If rows do not rise, times rise with depth, or the two differ in length.
    """

    name: str
    depth_ft: tuple[float, ...]
    minutes: tuple[float, ...]
    source: str
    caveat: str = ""

    def __post_init__(self) -> None:
        where = f"no-stop table {self.name!r}"
        with Faults() as faults:
            if len(self.depth_ft) != len(self.minutes) or not self.depth_ft:
                came = f"{len(self.depth_ft)} depths, {len(self.minutes)} times"
                faults.add(where, came, "one time per depth", "Copy the table again.")
            pairs = list(zip(self.depth_ft, self.depth_ft[1:], strict=False))
            if any(not a < b for a, b in pairs) or min(self.depth_ft, default=1) <= 0:
                faults.add(where, f"depths {list(self.depth_ft)}", "rising, above 0", "Copy the table again.")
            times = list(zip(self.minutes, self.minutes[1:], strict=False))
            if any(a < b for a, b in times) or min(self.minutes, default=1) <= 0:
                faults.add(where, f"times {list(self.minutes)}", "not rising with depth", "Copy the table again.")

    @property
    def greatest_ft(self) -> float:
        """Deepest row [ft]."""
        return self.depth_ft[-1]

    def look_up(self, depth_m: float) -> tuple[float, float]:
        """Return the row [ft] and the time [min] for a depth: a depth between two rows takes the deeper one.

        Parameters
        ----------
        depth_m : float
            Greatest depth of the dive, with tide and error of the chart [m].

        Raises
        ------
        InputFault
            Beyond the deepest row: no figure is made up.
        """
        depth_ft = depth_m * FT_PER_M
        if not (math.isfinite(depth_m) and depth_m >= 0):
            raise InputFault(Fault("depth", f"{depth_m} m", "0 m or more", "Check the sign of the depths."))
        for row, minutes in zip(self.depth_ft, self.minutes, strict=True):
            if depth_ft <= row + 1e-9:
                return row, minutes
        raise InputFault(
            Fault(
                "depth",
                f"{depth_m:.1f} m ({depth_ft:.0f} ft) is deeper than {self.name}",
                f"at most {self.greatest_ft:g} ft ({self.greatest_ft / FT_PER_M:.1f} m)",
                "Leave this work to a plan of the dive supervisor's own.",
            )
        )


@cache
def published_tables() -> dict[str, NoStopTable]:
    """Return the no-stop tables that ship with sitekit, by key, from `shared/no_stop_tables.json`."""
    rows = json.loads(shared_file("no_stop_tables.json").read_text("utf-8"))
    return {
        key: NoStopTable(
            row["name"],
            tuple(float(v) for v in row["depth_fsw"]),
            tuple(math.inf if v == "unlimited" else float(v) for v in row["no_stop_min"]),
            row["source"],
            row["caveat"],
        )
        for key, row in rows.items()
    }


def no_stop_table(key: str) -> NoStopTable:
    """Return a shipped table.

    Raises
    ------
    InputFault
        If there is none of that name.
    """
    tables = published_tables()
    if key not in tables:
        raise InputFault(
            Fault("fieldwork.no_stop_table", repr(key), ", ".join(tables), "Name one, or paste the team's own.")
        )
    return tables[key]


@dataclass(frozen=True)
class BottomTime:
    """What limits one dive.

    Parameters
    ----------
    minutes : float
        Planned bottom time: the least of those below, whole minutes, rounded down.
    limited_by : str
        `gas`, `table` or `supervisor`.
    gas_min, table_min, supervisor_min : float or None
        What each allows; None where it does not apply.
    table_row_ft : float or None
        Row of the table that was read.
    """

    minutes: float
    limited_by: str
    gas_min: float
    table_min: float | None
    supervisor_min: float | None
    table_row_ft: float | None


def bottom_time(
    table: NoStopTable, depth_m: float, *, gas_min: float, first_of_day: bool, supervisor_min: float | None
) -> BottomTime:
    """Return the planned bottom time of one dive: the least of gas, table and supervisor.

    Parameters
    ----------
    table : NoStopTable
        Read for the day's first dive only.
    depth_m : float
        Greatest depth, with tide and error of the chart [m].
    gas_min : float
        Minutes the gas allows on the bottom, way up and reserve taken off [min].
    first_of_day : bool
        Whether the diver has not dived that day; nursery dives count.
    supervisor_min : float, optional
        Most minutes per dive, typed in by the supervisor.

    Raises
    ------
    InputFault
        Beyond the table's deepest row; for a later dive without a supervisor's figure; if no minute is left.
    """
    row, table_min = table.look_up(depth_m)
    if not first_of_day and supervisor_min is None:
        raise InputFault(
            Fault(
                "fieldwork.max_minutes_dive",
                "nothing, for a diver's second dive of the day",
                "minutes, typed in by the dive supervisor",
                f"{table.name} answers for a day's first dive only; leave out later dives, or ask the supervisor.",
            )
        )
    limits = {"gas": gas_min}
    if first_of_day:
        limits["table"] = table_min
    if supervisor_min is not None:
        limits["supervisor"] = supervisor_min
    limited_by = min(limits, key=lambda k: (limits[k], k))
    minutes = math.floor(limits[limited_by] + 1e-9)
    if minutes < 1:
        raise InputFault(
            Fault(
                "fieldwork",
                f"{limited_by} leaves no minute at {depth_m:.1f} m",
                "a minute or more on the bottom",
                "Use larger cylinders, a shallower site, or the supervisor's own plan.",
            )
        )
    return BottomTime(
        float(minutes),
        limited_by,
        gas_min,
        table_min if first_of_day else None,
        supervisor_min,
        row if first_of_day else None,
    )


def within_depth_limit(depths_m: Sequence[float], limit_m: float | None) -> list[bool]:
    """Return for each depth whether it is within the supervisor's limit; all are without one."""
    return [limit_m is None or d <= limit_m + 1e-9 for d in depths_m]


def limit_for_print(limit_m: float) -> tuple[int, int]:
    """Return a depth limit in whole metres and feet, rounded **down**: 33.75 m prints 33 m, 110 ft."""
    return math.floor(limit_m + 1e-9), math.floor(limit_m * FT_PER_M + 1e-9)
