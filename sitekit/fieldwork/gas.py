"""What a cylinder gives at a depth, and the pressure at which to leave the bottom.

Two systems of units, never mixed in one sum: feet of sea water, cubic feet and psi, or metres of sea water, litres and
bar. 33 ft is 10.0584 m: mixing the two puts 0.6 % into a result.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sitekit.errors import Fault, Faults, InputFault

System = Literal["imperial", "metric"]
# Depth of sea water that adds one surface pressure: 33 fsw or 10 msw (NOAA Diving Manual; recalled, unverified).
DEPTH_PER_ATMOSPHERE: dict[str, float] = {"imperial": 33.0, "metric": 10.0}
METRES_PER_DEPTH_UNIT: dict[str, float] = {"imperial": 0.3048, "metric": 1.0}  # international foot, exact
TURN_STEP: dict[str, float] = {"imperial": 100.0, "metric": 10.0}  # marks of a usual gauge: 100 psi, 10 bar
UNITS: dict[str, tuple[str, str, str]] = {"imperial": ("ft³", "psi", "ft"), "metric": ("L", "bar", "m")}


@dataclass(frozen=True)
class Cylinder:
    """A cylinder, filled to its rated pressure.

    Parameters
    ----------
    name : str
        As the team says it.
    capacity : float
        Free gas at the rated pressure [ft³ or L]; the maker's figure, not volume × pressure.
    rated, reserve : float
        Rated pressure, and the pressure that stays in [psi or bar].
    system : {"imperial", "metric"}
        Of all three.

    Notes
    -----
    A name is not a content: an "80" holds 77.4 ft³ at 3000 psi (common specification, recalled). Volume × pressure as
    for an ideal gas gives 80.0 ft³, 3 % too much.

    Raises
    ------
    InputFault
        If a figure is not positive, or the reserve is not below the rated pressure.
    """

    name: str
    capacity: float
    rated: float
    reserve: float
    system: System

    def __post_init__(self) -> None:
        volume, pressure, _ = UNITS[self.system]
        where = f"cylinder {self.name!r}"
        with Faults() as faults:
            if not (math.isfinite(self.capacity) and self.capacity > 0):
                faults.add(where, f"capacity {self.capacity} {volume}", "above 0", "See the cylinder's stamp.")
            if not (math.isfinite(self.rated) and self.rated > 0):
                faults.add(where, f"rated pressure {self.rated} {pressure}", "above 0", "See the cylinder's stamp.")
            elif not 0 <= self.reserve < self.rated:
                came = f"reserve {self.reserve} {pressure}"
                faults.add(where, came, f"0 to below {self.rated:g} {pressure}", "Ask the dive supervisor.")

    @property
    def usable(self) -> float:
        """Gas above the reserve [ft³ or L]: capacity × (rated − reserve) / rated."""
        return self.capacity * (self.rated - self.reserve) / self.rated


def ambient_pressure(depth: float, system: System) -> float:
    """Return the absolute pressure at a depth in surface pressures: 1 + depth / 33 fsw, or 1 + depth / 10 msw.

    Raises
    ------
    InputFault
        If the depth is negative or not a number.
    """
    if not (math.isfinite(depth) and depth >= 0):
        raise InputFault(
            Fault("depth", f"{depth} {UNITS[system][2]}", "0 or more, positive down", "Check the sign of the depths.")
        )
    return 1.0 + depth / DEPTH_PER_ATMOSPHERE[system]


def gas_used(rate: float, depth: float, minutes: float, system: System) -> float:
    """Return the gas breathed [ft³ or L]: rate at the surface × absolute pressure × minutes.

    Parameters
    ----------
    rate : float
        Breathing rate at work, brought to the surface [ft³/min or L/min], > 0.
    depth : float
        [ft or m].
    minutes : float
        ≥ 0.
    system : {"imperial", "metric"}
        Of all.

    Raises
    ------
    InputFault
        If the rate is not positive or the time negative.
    """
    with Faults() as faults:
        if not (math.isfinite(rate) and rate > 0):
            unit = UNITS[system][0]
            faults.add("breathing rate", f"{rate} {unit}/min", "above 0", "Take it from the team's own logs.")
        if not (math.isfinite(minutes) and minutes >= 0):
            faults.add("minutes", f"{minutes}", "0 or more", "Correct it.")
    return rate * ambient_pressure(depth, system) * minutes


def gas_minutes(cylinder: Cylinder, rate: float, depth: float) -> float:
    """Return how long the gas above the reserve lasts at a depth [min].

    Parameters
    ----------
    cylinder : Cylinder
        Filled.
    rate : float
        Breathing rate at work, brought to the surface [ft³/min or L/min], > 0.
    depth : float
        In the cylinder's system [ft or m].

    Raises
    ------
    InputFault
        If the rate is not positive or the depth negative.

    Examples
    --------
    >>> eighty = Cylinder("80", 77.4, 3000, 0, "imperial")
    >>> round(gas_minutes(eighty, 0.75, 30))
    54
    """
    return cylinder.usable / gas_used(rate, depth, 1.0, cylinder.system)


def breathing_rate(cylinder: Cylinder, pressure_used: float, average_depth: float, minutes: float) -> float:
    """Return a breathing rate at the surface from one logged dive [ft³/min or L/min]: gas used / time / pressure.

    Parameters
    ----------
    cylinder : Cylinder
        That was breathed from.
    pressure_used : float
        Fall of pressure [psi or bar], > 0.
    average_depth : float
        Of the dive [ft or m].
    minutes : float
        > 0.

    Raises
    ------
    InputFault
        If a figure is not positive.
    """
    with Faults() as faults:
        for name, value in (("pressure_used", pressure_used), ("minutes", minutes)):
            if not (math.isfinite(value) and value > 0):
                faults.add(f"logged dive, {name}", f"{value}", "above 0", "Correct the log.")
    used = cylinder.capacity * pressure_used / cylinder.rated
    return used / minutes / ambient_pressure(average_depth, cylinder.system)


def turn_pressure(cylinder: Cylinder, leave_gas: float, rule: Literal["reserve", "thirds"] = "reserve") -> float:
    """Return the gauge pressure at which to leave the work, rounded **up** to the next mark of a gauge.

    Parameters
    ----------
    cylinder : Cylinder
        Filled.
    leave_gas : float
        Gas for the way up and what the team adds to it [ft³ or L], ≥ 0.
    rule : {"reserve", "thirds"}
        `reserve`: reserve + gas for the way up; `thirds`: no less than two thirds of the rated pressure.

    Returns
    -------
    float
        [psi in steps of 100, bar in steps of 10]. 200 bar by thirds reads 140, not 133.
    """
    pressure = cylinder.reserve + leave_gas / cylinder.capacity * cylinder.rated
    if rule == "thirds":
        pressure = max(pressure, cylinder.rated * 2.0 / 3.0)
    step = TURN_STEP[cylinder.system]
    return math.ceil(pressure / step - 1e-9) * step


def to_depth_unit(depth_m: float, system: System) -> float:
    """Return metres in the depth unit of a system, not rounded [ft or m]."""
    return depth_m / METRES_PER_DEPTH_UNIT[system]
