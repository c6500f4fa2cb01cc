"""What a plot asks for: its greatest depth with tide and error, its units in swimming order, cut into dives."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from sitekit.errors import Fault, InputFault
from sitekit.fieldwork.bottom_time import BottomTime


@dataclass(frozen=True)
class PlotWork:
    """The planting of one plot.

    Parameters
    ----------
    plot, site : str
        Names.
    depth_m : float
        For gas and table: greatest charted depth + highest tide + error of the chart [m].
    numbers : tuple of int
        Sequence numbers as the diver swims.
    fragments : int
        Per unit.
    minutes_per_unit : float
        Of a pair, by the team's own method [min].
    diseased : bool
        Whether the site shows disease: worked last, then everything is disinfected.
    """

    plot: str
    site: str
    depth_m: float
    numbers: tuple[int, ...]
    fragments: int
    minutes_per_unit: float
    diseased: bool = False


@dataclass(frozen=True)
class DiveTimes:
    """What a team takes off the bottom time.

    Parameters
    ----------
    descent_min : float
        From leaving the surface to the first unit, laying the tape included [min].
    ascent_min : float
        From leaving the bottom to the surface, stops the team adds included; breathed at full depth in the sums [min].
    """

    descent_min: float
    ascent_min: float


Allowed = Callable[[float, bool], BottomTime]  # (depth_m, first of the day) -> what a dive may last


def work_minutes(allowed: BottomTime, times: DiveTimes) -> float:
    """Return the minutes left for work: planned bottom time − descent and laying of the tape, not below 0."""
    return max(0.0, allowed.minutes - times.descent_min)


def units_per_dive(allowed: BottomTime, times: DiveTimes, minutes_per_unit: float, where: str) -> int:
    """Return how many whole units a pair attaches in one dive.

    Parameters
    ----------
    allowed : BottomTime
        Of this dive.
    times : DiveTimes
        The team's.
    minutes_per_unit : float
        > 0.
    where : str
        Named in the fault.

    Raises
    ------
    InputFault
        If not even one unit fits, or the minutes are not positive.
    """
    if not (math.isfinite(minutes_per_unit) and minutes_per_unit > 0):
        raise InputFault(
            Fault("fieldwork.minutes_per_unit", f"{minutes_per_unit}", "above 0", "Take it from the team's own logs.")
        )
    units = math.floor(work_minutes(allowed, times) / minutes_per_unit + 1e-9)
    if units < 1:
        raise InputFault(
            Fault(
                where,
                f"{work_minutes(allowed, times):g} min of work do not hold one unit of {minutes_per_unit:g} min",
                "time for at least one unit",
                "Use a quicker method, a shallower site, or larger cylinders.",
            )
        )
    return units
