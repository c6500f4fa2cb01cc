"""Everything the pages show, as finished figures: nothing is worked out by the pages."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd


@dataclass(frozen=True)
class About:
    """What stands on every page.

    Parameters
    ----------
    name : str
        Of the plan.
    date, run_id : str
        From settings; no clock.
    fictional : bool
        Stamps FICTIONAL.
    cautions : tuple of str
        In full once per set.
    line : str
        One caution for the foot of each page.
    pin_error_m, lay_tolerance_m : float
        Stated errors [m].
    """

    name: str
    date: str
    run_id: str
    fictional: bool
    cautions: tuple[str, ...]
    line: str
    pin_error_m: float
    lay_tolerance_m: float


@dataclass(frozen=True)
class Unit:
    """One outplant unit of a plot, as a diver sees it.

    Parameters
    ----------
    number : int
        Sequence number.
    letter, genet, species : str
        Genet letter and what it stands for.
    tag : str
        Planned tag, empty without.
    along_m, offset_m : float
        Tape readings; offset negative on the left. On a circle: radius, and 0.
    angle_deg : float or None
        On a circle: clockwise from the radius line.
    planted : str
        Day on which it was planted, empty if it was not.
    """

    number: int
    letter: str
    genet: str
    species: str
    tag: str
    along_m: float
    offset_m: float
    angle_deg: float | None = None
    planted: str = ""


@dataclass(frozen=True)
class Segment:
    """A stretch of tape on a guided sheet: what goes into it, letter -> number."""

    from_m: float
    to_m: float
    counts: Mapping[str, int]


@dataclass(frozen=True)
class PlotPages:
    """One plot: its row of the table `sheets`, its shape and its units in swimming order."""

    facts: Mapping[str, Any]
    site_name: str
    circle: bool
    width_m: float
    units: tuple[Unit, ...]
    segments: tuple[Segment, ...] = ()
    stick_m: float | None = None

    @property
    def name(self) -> str:
        """Plot name."""
        return str(self.facts["plot"])


@dataclass(frozen=True)
class SiteView:
    """One site on its overview: outlines and pins of its plots in the working system [m]."""

    site: str
    name: str
    plots: tuple[tuple[str, Any, tuple[float, float], tuple[float, float] | None, int], ...]
    facts: tuple[str, ...]


@dataclass(frozen=True)
class DivePack:
    """Everything in `dive_sheets.pdf`."""

    about: About
    paper: str
    plots: tuple[PlotPages, ...]
    sites: tuple[SiteView, ...]
    waypoints: pd.DataFrame
    letters: tuple[tuple[str, str, str], ...]
    tasks: tuple[str, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class DayPack:
    """Everything in `day_plan.pdf`: the tables of the day's work."""

    about: About
    paper: str
    days: pd.DataFrame
    dives: pd.DataFrame
    pull_list: pd.DataFrame
    crates: pd.DataFrame
    leftovers: pd.DataFrame
    materials: pd.DataFrame
    notes: tuple[str, ...] = ()
    rest: tuple[str, ...] = field(default_factory=tuple)


def offset_text(offset_m: float) -> tuple[str, str]:
    """Return side (`L`, `R`, empty on the tape) and distance of an offset, to 0.1 m."""
    shown = f"{abs(offset_m):.1f}"
    if float(shown) == 0.0:
        return "", shown
    return ("L" if offset_m < 0 else "R"), shown


def degrees(value: float | None, north: str = "") -> str:
    """Return a bearing as three digits, `—` without one; `north` is M or T, so that one is not taken for the other."""
    if value is None or math.isnan(value):
        return "—"
    return f"{math.floor(value + 0.5) % 360:03d}°" + north
