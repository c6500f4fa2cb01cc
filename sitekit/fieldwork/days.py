"""A queue of plots laid into days: who dives when and where, how many units, within boat hours and the clock on deck.

One site after the other in the order of the queue; a site that shows disease comes last. Each day begins with the
harvest of what that day plants. Sums only: weather is judged on the morning, by people.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sitekit.errors import Fault, InputFault
from sitekit.fieldwork.bottom_time import BottomTime
from sitekit.fieldwork.harvest import spare_fragments
from sitekit.fieldwork.work import Allowed, DiveTimes, PlotWork, units_per_dive, work_minutes

HARVEST = "harvest"
PLANT = "plant"


@dataclass(frozen=True)
class Crew:
    """Who dives, and for how long the boat is out.

    Parameters
    ----------
    pairs : int
        Pairs of divers, ≥ 1.
    dives_per_day : int
        Per diver; above 1 only with a supervisor's minutes.
    surface_min : float
        Between two dives of a diver, as given by the supervisor [min].
    boat_min : float
        From leaving the harbour to being back [min].
    transport_min : float
        Most time from the first fragment out of the nursery to the last attached [min].
    most_dives : int, optional
        Pair dives that the cylinders on board allow.
    """

    pairs: int
    dives_per_day: int
    surface_min: float
    boat_min: float
    transport_min: float
    most_dives: int | None = None


@dataclass(frozen=True)
class Nursery:
    """The harvest.

    Parameters
    ----------
    depth_m : float
        For gas and table [m].
    minutes_per_fragment : float
        Of a pair [min], > 0.
    by_others : bool
        Whether another team brings the fragments: no harvest dive of this crew.
    most_fragments : int, optional
        What the crates on deck hold.
    spare_pct : float
        Spares that are pulled too [%].
    """

    depth_m: float
    minutes_per_fragment: float
    by_others: bool = False
    most_fragments: int | None = None
    spare_pct: float = 0.0


@dataclass(frozen=True)
class Dive:
    """One dive of a pair; times in minutes from leaving the harbour."""

    round: int
    pair: int
    kind: str
    site: str
    plot: str | None
    numbers: tuple[int, ...]
    fragments: int
    depth_m: float
    first_of_day: bool
    allowed: BottomTime
    bottom_min: float
    work_min: float
    start_min: float
    end_min: float


@dataclass(frozen=True)
class Day:
    """One day of the queue."""

    number: int
    date: datetime.date
    dives: tuple[Dive, ...]
    back_min: float
    clock_min: float | None
    note: str = ""

    @property
    def sites(self) -> list[str]:
        """Sites planted on, in order."""
        return list(dict.fromkeys(d.site for d in self.dives if d.kind == PLANT))

    @property
    def units(self) -> int:
        """Units planted."""
        return sum(len(d.numbers) for d in self.dives)


@dataclass(frozen=True)
class Queue:
    """Days with work, and what is left when the dates are used up."""

    days: list[Day]
    rest: dict[str, tuple[int, ...]] = field(default_factory=dict)


Trip = Callable[[str, str], float]  # (from, to) -> minutes under way; places are site codes, "harbour", "nursery"


def queue_order(sites: Sequence[str], diseased: Mapping[str, bool]) -> list[str]:
    """Return sites in the order given, clean ones before diseased ones."""
    return sorted(dict.fromkeys(sites), key=lambda s: bool(diseased.get(s)))


def plan_days(
    work: Sequence[PlotWork],
    dates: Sequence[datetime.date],
    *,
    crew: Crew,
    nursery: Nursery,
    times: DiveTimes,
    allowed: Allowed,
    trip: Trip,
) -> Queue:
    """Lay the plots of a queue into days.

    Parameters
    ----------
    work : sequence of PlotWork
        In the order in which they are to be done; diseased sites last.
    dates : sequence of datetime.date
        On which work may be done, in order.
    crew, nursery, times
        The team's figures.
    allowed : callable
        (depth [m], first dive of the day) -> BottomTime.
    trip : callable
        Minutes under way between two places.

    Raises
    ------
    InputFault
        If nothing can be planted on a day: gas, table, boat hours, the clock on deck or the crew do not allow it.
    """
    left = {w.plot: list(w.numbers) for w in work if w.numbers}
    days: list[Day] = []
    for date in dates:
        if not any(left.values()):
            break
        day = _best_day(work, left, len(days) + 1, date, crew, nursery, times, allowed, trip)
        for dive in day.dives:
            if dive.plot is not None:
                done = set(dive.numbers)
                left[dive.plot] = [n for n in left[dive.plot] if n not in done]
        days.append(day)
    return Queue(days, {plot: tuple(numbers) for plot, numbers in left.items() if numbers})


def _best_day(
    work: Sequence[PlotWork],
    left: Mapping[str, Sequence[int]],
    number: int,
    date: datetime.date,
    crew: Crew,
    nursery: Nursery,
    times: DiveTimes,
    allowed: Allowed,
    trip: Trip,
) -> Day:
    """Try every number of harvesting pairs and of rounds; keep the day that plants most, then the shortest."""
    best: tuple[tuple[int, int, float], Day] | None = None
    why: list[str] = []
    for harvesters in [0] if nursery.by_others else range(1, crew.pairs + 1):
        for rounds in range(1, crew.dives_per_day + 1):
            tried = _try_day(work, left, harvesters, rounds, crew, nursery, times, allowed, trip)
            if isinstance(tried, str):
                why.append(tried)
                continue
            day = replace(tried, number=number, date=date)
            rank = (-day.units, harvesters, day.back_min)
            if best is None or rank < best[0]:
                best = (rank, day)
    if best is None:
        site = next(w.site for w in work if left.get(w.plot))
        raise InputFault(
            Fault(
                f"fieldwork, site {site}",
                "no day can be laid out: " + "; ".join(dict.fromkeys(why)),
                "a harvest, the way and at least one unit within a day",
                "Add a pair or dives, let others harvest, or lengthen boat_hours.",
            )
        )
    return best[1]


def _try_day(
    work: Sequence[PlotWork],
    left: Mapping[str, Sequence[int]],
    harvesters: int,
    rounds: int,
    crew: Crew,
    nursery: Nursery,
    times: DiveTimes,
    allowed: Allowed,
    trip: Trip,
) -> Day | str:
    most = math.inf if nursery.most_fragments is None else float(nursery.most_fragments)
    harvest_limit: BottomTime | None = None
    if harvesters:
        harvest_limit = allowed(nursery.depth_m, True)
        most = min(
            most, harvesters * math.floor(work_minutes(harvest_limit, times) / nursery.minutes_per_fragment + 1e-9)
        )
    most_planted = math.floor(most / (1.0 + nursery.spare_pct / 100.0) + 1e-9) if math.isfinite(most) else most
    planned = _rounds(work, left, harvesters, rounds, crew, times, allowed, most_planted)
    if not planned:
        if harvesters == crew.pairs and crew.dives_per_day == 1:
            return "all pairs harvest and each diver dives once a day"
        return "the harvest of one dive or the deck holds no unit" if most_planted < 1 else "no pair is left to plant"
    fragments = sum(d.fragments for group in planned for d in group)
    dives: list[Dive] = []
    first_out: float | None = None
    if harvesters and harvest_limit is not None:
        at_nursery = trip("harbour", "nursery")
        total = fragments + spare_fragments(fragments, nursery.spare_pct)
        pulled = [total // harvesters + (k < total % harvesters) for k in range(harvesters)]
        for pair, n in enumerate(pulled):
            minutes = n * nursery.minutes_per_fragment
            bottom = min(times.descent_min + minutes, harvest_limit.minutes)
            end = at_nursery + bottom + times.ascent_min
            dives.append(
                Dive(
                    0, pair, HARVEST, "nursery", None, (), n, nursery.depth_m, True, harvest_limit,
                    bottom, minutes, at_nursery, end,
                )
            )  # fmt: skip
        now, place = max(d.end_min for d in dives), "nursery"
        first_out = at_nursery
    else:
        now, place = 0.0, "harbour"
    last_attached = now
    for group in planned:
        site = group[0].site
        now += trip(place, site)
        place = site
        rested = [d.end_min + crew.surface_min for d in dives if d.pair in {g.pair for g in group}]
        now = max([now, *rested])
        group = [replace(d, start_min=now, end_min=now + d.bottom_min + times.ascent_min) for d in group]
        dives += group
        last_attached = now + max(d.bottom_min for d in group)
        now = max(d.end_min for d in group)
    back = now + trip(place, "harbour")
    if back > crew.boat_min + 1e-9:
        return f"the boat would be out {back:.0f} min of {crew.boat_min:.0f}"
    clock = None if first_out is None else last_attached - first_out
    if clock is not None and clock >= crew.transport_min - 1e-9:
        return f"fragments would wait {clock:.0f} min, less than {crew.transport_min:.0f} allowed"
    if crew.most_dives is not None and len(dives) > crew.most_dives:
        return f"{len(dives)} dives of pairs, cylinders on board for {crew.most_dives}"
    return Day(0, datetime.date.min, tuple(dives), back, clock)


def _rounds(
    work: Sequence[PlotWork],
    left: Mapping[str, Sequence[int]],
    harvesters: int,
    rounds: int,
    crew: Crew,
    times: DiveTimes,
    allowed: Allowed,
    most: float,
) -> list[list[Dive]]:
    """Planting dives round by round, without their times; a pair keeps to its plot until that is done."""
    open_now = {w.plot: list(left[w.plot]) for w in work if left.get(w.plot)}
    by_name = {w.plot: w for w in work}
    made = [1 if p < harvesters else 0 for p in range(crew.pairs)]
    held: dict[int, str] = {}
    out: list[list[Dive]] = []
    for number in range(1, rounds + 1):
        site = next((w.site for w in work if open_now.get(w.plot)), None)
        if site is None:
            break
        group: list[Dive] = []
        for pair in range(crew.pairs):
            if made[pair] >= crew.dives_per_day:
                continue
            plot = _plot_for(pair, work, open_now, site, held)
            if plot is None:
                continue
            one = by_name[plot]
            limit = allowed(one.depth_m, made[pair] == 0)
            units = min(
                units_per_dive(limit, times, one.minutes_per_unit, f"plot {plot}"),
                len(open_now[plot]),
                math.floor(most / one.fragments) if math.isfinite(most) else len(open_now[plot]),
            )
            if units < 1:
                continue
            held[pair] = plot
            numbers, open_now[plot] = open_now[plot][:units], open_now[plot][units:]
            most -= units * one.fragments
            minutes = units * one.minutes_per_unit
            bottom = times.descent_min + minutes
            group.append(
                Dive(
                    number, pair, PLANT, site, plot, tuple(numbers), units * one.fragments, one.depth_m,
                    made[pair] == 0, limit, bottom, minutes, 0.0, 0.0,
                )
            )  # fmt: skip
            made[pair] += 1
        if not group:
            break
        out.append(group)
    return out


def _plot_for(
    pair: int, work: Sequence[PlotWork], open_now: Mapping[str, Sequence[int]], site: str, held: Mapping[int, str]
) -> str | None:
    """The plot a pair goes on with, else the next one nobody works on, else the one with most left."""
    own = held.get(pair)
    if own is not None and open_now.get(own):
        return own
    free = [w.plot for w in work if w.site == site and open_now.get(w.plot)]
    others = {plot for p, plot in held.items() if p != pair}
    for plot in free:
        if plot not in others:
            return plot
    return max(free, key=lambda p: (len(open_now[p]), -free.index(p))) if free else None
