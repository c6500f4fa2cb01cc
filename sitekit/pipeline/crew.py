"""The settings of `[fieldwork]` as rates: cylinder, table, crew, nursery, what a dive may last, ways by boat."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sitekit.errors import Fault, InputFault
from sitekit.fieldwork.bottom_time import (
    BottomTime,
    NoStopTable,
    bottom_time,
    limit_for_print,
    no_stop_table,
    within_depth_limit,
)
from sitekit.fieldwork.calendar import Window, season_dates
from sitekit.fieldwork.days import Crew, Nursery, Trip
from sitekit.fieldwork.gas import UNITS, Cylinder, breathing_rate, gas_used, to_depth_unit, turn_pressure
from sitekit.fieldwork.materials import Method
from sitekit.fieldwork.weather import Limits, WindLimit
from sitekit.fieldwork.work import DiveTimes
from sitekit.pipeline.project import Project
from sitekit.pipeline.tides import Tides, read_tides
from sitekit.season.settings_fieldwork import Fieldwork, GasSetting, OwnTable

KNOT_MS = 1852.0 / 3600.0  # exact
ONE_DIVE = (
    "One dive per diver and day: the no-stop table judges a day's first dive only, and no max_minutes_dive was typed "
    "in by the supervisor."
)


@dataclass(frozen=True)
class Rates:
    """What a dive needs and may last, from the team's figures.

    Parameters
    ----------
    cylinder : Cylinder
        Of every diver.
    rate : float
        Breathing rate at work, brought to the surface [ft³/min or L/min].
    turn_rule : str
        `reserve` or `thirds`.
    table : NoStopTable
        For first dives.
    times : DiveTimes
        Descent and way up.
    supervisor_min : float or None
        Most minutes per dive.
    """

    cylinder: Cylinder
    rate: float
    turn_rule: str
    table: NoStopTable
    times: DiveTimes
    supervisor_min: float | None

    def turn(self, depth_m: float) -> float:
        """Gauge pressure at which to leave the work, rounded up [psi or bar]."""
        depth = to_depth_unit(depth_m, self.cylinder.system)
        way_up = gas_used(self.rate, depth, self.times.ascent_min, self.cylinder.system)
        return turn_pressure(self.cylinder, way_up, "thirds" if self.turn_rule == "thirds" else "reserve")

    def gas_minutes(self, depth_m: float) -> float:
        """Bottom time until the gauge shows the turn pressure [min]; 0 or less where the gas does not reach."""
        depth = to_depth_unit(depth_m, self.cylinder.system)
        per_minute = gas_used(self.rate, depth, 1.0, self.cylinder.system)
        down_to_turn = self.cylinder.capacity * (self.cylinder.rated - self.turn(depth_m)) / self.cylinder.rated
        return down_to_turn / per_minute

    def used(self, depth_m: float, bottom_min: float) -> float:
        """Gas of one diver in a dive, way up included [ft³ or L]."""
        depth = to_depth_unit(depth_m, self.cylinder.system)
        return gas_used(self.rate, depth, bottom_min + self.times.ascent_min, self.cylinder.system)

    def allowed(self, depth_m: float, first_of_day: bool) -> BottomTime:
        """What a dive may last: the least of gas, table and supervisor.

        Raises
        ------
        InputFault
            Beyond the table, the gas, or for a later dive without the supervisor's minutes.
        """
        return bottom_time(
            self.table,
            depth_m,
            gas_min=self.gas_minutes(depth_m),
            first_of_day=first_of_day,
            supervisor_min=self.supervisor_min,
        )


def rates_of(setting: Fieldwork) -> Rates:
    """Return the rates of a plan.

    Raises
    ------
    InputFault
        Naming every figure that cannot be.
    """
    cylinder = cylinder_of(setting.gas)
    gas = setting.gas
    rate = gas.rate_ft3_min if cylinder.system == "imperial" else gas.rate_l_min
    if rate is None:
        assert gas.logged is not None  # the settings ask for one of the two
        depth = to_depth_unit(gas.logged.average_depth_m, cylinder.system)
        rate = breathing_rate(cylinder, gas.logged.used, depth, gas.logged.minutes)
    given = setting.dives.no_stop_table
    if isinstance(given, OwnTable):
        minutes = tuple(math.inf if math.isinf(v) else v for v in given.minutes)
        table = NoStopTable(given.name, tuple(given.depth_ft), minutes, given.source, "pasted by the team")
    else:
        table = no_stop_table(given)
    times = DiveTimes(setting.dives.descent_minutes, setting.dives.ascent_minutes)
    return Rates(cylinder, rate, gas.turn, table, times, setting.dives.max_minutes_dive)


def unreachable(where: str, depth_m: float, rates: Rates, work: Fieldwork) -> Fault | None:
    """Return why no dive is planned to a depth; None if one may be.

    Parameters
    ----------
    where : str
        Named in the fault.
    depth_m : float
        With tide and stated error [m].
    rates, work
        The team's figures.
    """
    if not within_depth_limit([depth_m], work.gas.greatest_depth_m)[0]:
        metres, feet = limit_for_print(work.gas.greatest_depth_m or 0.0)
        return Fault(
            where,
            f"{depth_m:.1f} m with tide and stated error",
            f"at most {metres} m ({feet} ft), the supervisor's limit",
            "No dive is planned there.",
        )
    try:
        rates.allowed(depth_m, True)
    except InputFault as error:
        first = error.faults[0]
        return Fault(where, first.came, first.due, f"No dive is planned there. {first.do}")
    return None


def nursery_depth(project: Project, tides: Tides) -> float:
    """Return the depth of the nursery for gas and table: charted, with highest tide and stated error [m]."""
    assert project.settings.nursery is not None  # asked for by the settings
    charted = float(project.settings.nursery.depth_m or 0.0)
    return charted + tides.planning_m + project.settings.layers.bathymetry.depth_error_m


def check_nursery(project: Project) -> None:
    """Refuse a harvest that no dive of the team may make: seen before the long work.

    Raises
    ------
    InputFault
        If the nursery lies beyond the supervisor's limit, the table or the gas, or a dive there leaves no time to work.
    """
    work = project.settings.fieldwork
    if work is None or work.harvest.by == "others":
        return
    rates, depth_m = rates_of(work), nursery_depth(project, read_tides(project))
    fault = unreachable("fieldwork, nursery", depth_m, rates, work)
    if fault is not None:
        raise InputFault(fault)
    minutes = rates.allowed(depth_m, True).minutes
    if minutes <= rates.times.descent_min:
        raise InputFault(
            Fault(
                "fieldwork.dives.descent_minutes",
                f"{rates.times.descent_min:g} of {minutes:g} min that a dive to the nursery may last at {depth_m:.1f} m",
                "time left to harvest",
                "Shorten the way down, take larger cylinders, or let others harvest.",
            )
        )


def cylinder_of(gas: GasSetting) -> Cylinder:
    """Return the cylinder of the settings, in its own system of units."""
    if gas.capacity_ft3 is not None:
        rated, reserve = gas.rated_psi or 0.0, gas.reserve_psi or 0.0
        return Cylinder(gas.cylinder, gas.capacity_ft3, rated, reserve, "imperial")
    return Cylinder(gas.cylinder, gas.capacity_l or 0.0, gas.rated_bar or 0.0, gas.reserve_bar or 0.0, "metric")


def crew_of(setting: Fieldwork) -> tuple[Crew, list[str]]:
    """Return the crew, and sentences on what it is held to."""
    per_day, notes = setting.dives.per_day, []
    if setting.dives.max_minutes_dive is None:
        per_day = 1
        notes.append(ONE_DIVE)
    pairs = setting.divers // 2
    if setting.divers % 2:
        notes.append(f"{setting.divers} divers make {pairs} pairs; one stays on the boat.")
    most = None if setting.gas.cylinders is None else setting.gas.cylinders // 2
    crew = Crew(
        pairs=pairs,
        dives_per_day=per_day,
        surface_min=setting.dives.surface_interval_min or 0.0,
        boat_min=60.0 * setting.boat_hours,
        transport_min=60.0 * setting.harvest.transport_hours,
        most_dives=most,
    )
    return crew, notes


def nursery_of(setting: Fieldwork, depth_m: float) -> Nursery:
    """Return the harvest's figures; `depth_m` holds tide and error of the chart."""
    harvest = setting.harvest
    most = None if harvest.deck_crates is None else harvest.deck_crates * harvest.crate_fragments
    return Nursery(
        depth_m=depth_m,
        minutes_per_fragment=harvest.minutes_per_fragment,
        by_others=harvest.by == "others",
        most_fragments=most,
        spare_pct=harvest.spare_pct,
    )


def methods_of(setting: Fieldwork) -> dict[str, Method]:
    """Return how units are attached, by the method's name."""
    return {
        name: Method(
            name,
            m.minutes_per_unit,
            m.contact_points,
            m.adhesive_ml_per_point,
            m.working_min,
            m.cure_min,
            m.nails_per_unit,
            m.ties_per_unit,
        )
        for name, m in setting.methods.items()
    }


def limits_of(setting: Fieldwork) -> Limits:
    """Return the team's weather limits."""
    weather = setting.weather
    sectors = tuple(WindLimit(w.from_deg, w.to_deg, w.most_ms) for w in weather.by_direction)
    return Limits(weather.wind_ms, sectors, weather.swell_m, weather.visibility_m)


def trips(
    places: Mapping[str, tuple[float, float]],
    speed_kn: float,
    factor: float,
    by_sea_m: Mapping[tuple[str, str], float] | None = None,
) -> Trip:
    """Return minutes under way between named places [m]: straight line × factor, or the way by sea if that is longer."""
    known = by_sea_m or {}

    def minutes(start: str, end: str) -> float:
        (ax, ay), (bx, by) = places[start], places[end]
        way = max(math.hypot(ax - bx, ay - by) * factor, known.get((start, end), 0.0))
        return way / (speed_kn * KNOT_MS) / 60.0

    return minutes


def fieldwork_rows(setting: Fieldwork | None) -> list[dict[str, Any]]:
    """Return what `check` says about `[fieldwork]`: gas, table, dives and days as they were understood.

    Parameters
    ----------
    setting : Fieldwork or None
        None gives no row.

    Raises
    ------
    InputFault
        Naming every figure that cannot be.
    """
    if setting is None:
        return []
    rates = rates_of(setting)
    crew, notes = crew_of(setting)
    volume, pressure, _ = UNITS[rates.cylinder.system]
    windows = [Window(c.first, c.last, c.reason) for c in setting.closed]
    dates = season_dates(
        setting.first_day,
        setting.last_day,
        weekdays=setting.weekdays,
        closed_months=setting.closed_months,
        windows=windows,
        lost=setting.lost_days,
    )
    said = [
        f"{sum(not d.reason for d in dates)} of {len(dates)} dates from {setting.first_day} to {setting.last_day}; leave "
        f"{setting.start}, {setting.boat_hours:g} h, {setting.boat_speed_kn:g} kn",
        f"{crew.pairs} pairs, {crew.dives_per_day} dives per diver and day",
        f"cylinder {rates.cylinder.name}: {rates.cylinder.capacity:g} {volume} at {rates.cylinder.rated:g} {pressure}, "
        f"reserve {rates.cylinder.reserve:g} {pressure}; {rates.rate:.2f} {volume}/min at the surface; {setting.gas.gas}",
        f"first dives by {rates.table.name}, to {rates.table.greatest_ft:g} ft",
        *(
            f"{code}: {name}, {setting.methods[name].minutes_per_unit:g} min per unit"
            for code, name in setting.attach.items()
        ),
        *limits_of(setting).lines(),
    ]
    return [
        {
            "layer": "fieldwork",
            "said": said,
            "source": setting.dives.supervisor or "the plan",
            "notes": [*notes, rates.table.caveat],
        }
    ]
