"""Stage: waypoints and heads of sheets for every plan with plots; days, dives and pull lists where `[fieldwork]` says how.

Planning aid only: the dive supervisor, the team's tables, computers and manual, and local rules decide.
"""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.tables import build, table_names
from sitekit.errors import Fault
from sitekit.fieldwork.calendar import Window, season_dates
from sitekit.fieldwork.days import Queue, Trip, plan_days, queue_order
from sitekit.fieldwork.work import PlotWork
from sitekit.pipeline.crew import (
    Rates,
    check_nursery,
    crew_of,
    nursery_depth,
    nursery_of,
    rates_of,
    trips,
    unreachable,
)
from sitekit.pipeline.day_rows import Rows, clock, day_rows, spans
from sitekit.pipeline.fields import Ground, read_ground
from sitekit.pipeline.places import position_of
from sitekit.pipeline.planted import drawn_places, planted_units
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.set_pins import moved_lines
from sitekit.pipeline.sheet_facts import (
    Planned,
    letter_rows,
    pins_of,
    segment_rows,
    sheet_rows,
    visiting,
    waypoint_rows,
)
from sitekit.pipeline.shelter import shelter_rows
from sitekit.pipeline.tides import Tides, read_tides
from sitekit.pipeline.ways import legs_by_sea
from sitekit.season.records import read_records
from sitekit.season.settings_fieldwork import Fieldwork

RECORDS = "records.gpkg"


def run(project: Project, run_id: str) -> Done:
    """Write the tables of waypoints, sheets and, with `[fieldwork]`, of days, dives, harvests and materials."""
    ground = read_ground(project)
    tables = project.season()
    tables["shelter"] = shelter_rows(project, tables["sites"])
    settings = project.settings
    crs = ground.grid.crs
    plots, colonies = tables["plots"], tables["colonies"]
    figures: dict[str, Any] = {"waypoints": 0, "sheets": 0, "days": 0, "notes": []}
    shortfalls: list[Fault] = []
    if ground.scout or not len(plots):
        figures["notes"] = ["no plots: no waypoints, no sheets"]
        _write(project, tables, {}, crs)
        return Done(["season.gpkg"], figures)
    tides = read_tides(project)
    shelter = _shelter(tables)
    letter_table, letters = letter_rows(colonies)
    made: dict[str, list[dict[str, Any]]] = {"genet_letters": letter_table}
    planned: dict[str, Planned] = {}
    planted, to_plant = _planted(project, tables)
    work = settings.fieldwork
    queue_sites: list[str] = []
    if settings.spacing.mode == "fill":
        figures["notes"] = ["mode fill is an estimate of capacity: no sheets, no days"]
        work = None
    if work is not None:
        rates = rates_of(work)
        queue_sites = _queue_sites(work, tables)
        way, told = _way(project, ground, work, plots)
        past = max(planted["date"].tolist(), default="")
        left = {**tables, "colonies": to_plant}
        queue, notes, shortfalls = _queue(project, work, rates, left, tides, queue_sites, way, past)
        rows = day_rows(
            queue.days,
            work,
            rates,
            colonies=colonies,
            planted=planted,
            stock=tables["stock"],
            letters=letters,
            tides=tides,
            shelter=shelter,
            ranks=_ranks(tables),
            notes=notes,
        )
        made |= {n: getattr(rows, n) for n in ("days", "dives", "pull_list", "crates", "leftovers", "materials")}
        planned = _planned(queue, work)
        shortfalls += _short_stock(rows, bool(len(tables["stock"])))
        figures |= _figures(queue, rows, rates, work, [*notes, *told])
    pins = pins_of(plots, crs)
    order = visiting(plots, _harbour_xy(project, crs), queue_sites)
    as_set = _as_set(project)
    made["waypoints"] = waypoint_rows(
        plots,
        order,
        pins,
        name_length=settings.receiver.name_length,
        date=settings.plan.date if work is None else work.first_day,
        harbour=_harbour(project),
        shelter=shelter,
        as_set=as_set,
    )
    if settings.spacing.mode != "fill":
        made["sheets"] = sheet_rows(
            plots,
            order,
            pins,
            kind=settings.sheets.kind,
            date=settings.plan.date,
            datum=settings.layers.bathymetry.datum,
            depth_error_m=settings.layers.bathymetry.depth_error_m,
            tides=tides,
            planned=planned,
            species={str(n): " ".join(sorted(set(p["species"].astype(str)))) for n, p in colonies.groupby("plot")},
            as_set=as_set,
        )
        made["segments"] = segment_rows(plots, to_plant, settings.sheets.segment_m)
    figures["waypoints"], figures["sheets"] = len(made["waypoints"]), len(made.get("sheets", []))
    share = settings.spacing.plot.allowed_share
    figures["notes"] = [*figures["notes"], *moved_lines(plots, share)]
    if len(made["waypoints"]) > settings.receiver.max_waypoints:
        figures["notes"] = [
            *figures["notes"],
            f"{len(made['waypoints'])} waypoints, the receiver keeps {settings.receiver.max_waypoints}: load them in parts",
        ]
    _write(project, tables, made, crs)
    return Done(["season.gpkg"], figures, shortfalls)


def _write(
    project: Project, tables: dict[str, pd.DataFrame], made: Mapping[str, list[dict[str, Any]]], crs: Any
) -> None:
    known = set(table_names())
    own = (
        "waypoints", "sheets", "segments", "genet_letters", "days", "dives", "pull_list", "crates", "leftovers",
        "materials",
    )  # fmt: skip
    for name in own:
        tables[name] = build(name, made.get(name, []))
    project.write_season({n: t for n, t in tables.items() if n in known}, crs)


def _shelter(tables: Mapping[str, pd.DataFrame]) -> dict[str, list[tuple[float, str]]]:
    """Shelter words by site, from the table of the waves; empty where there is none."""
    found: dict[str, list[tuple[float, str]]] = {}
    if "shelter" in tables:
        rows = tables["shelter"]
        for site, direction, word in zip(rows["site"], rows["direction_deg"], rows["shelter"], strict=True):
            found.setdefault(str(site), []).append((float(direction), str(word)))
    return found


def _ranks(tables: Mapping[str, pd.DataFrame]) -> dict[tuple[str, float], int]:
    """Rank of each site for wind from each direction, where it is known."""
    if "shelter" not in tables:
        return {}
    rows = tables["shelter"].dropna(subset=["rank"])
    return {
        (str(s), float(d)): int(r) for s, d, r in zip(rows["site"], rows["direction_deg"], rows["rank"], strict=True)
    }


def _queue_sites(work: Fieldwork, tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """Sites in the order of the work: as typed in, then by rank; clean ones before diseased ones."""
    sites = tables["sites"]
    ranked = sites[sites["chosen"]].sort_values(["rank", "site"], kind="stable")["site"].astype(str).tolist()
    given = [s for s in work.site_order if s in ranked]
    return queue_order([*given, *ranked], dict.fromkeys(work.diseased_sites, True))


def _queue(
    project: Project,
    work: Fieldwork,
    rates: Rates,
    tables: Mapping[str, pd.DataFrame],
    tides: Tides,
    sites: Sequence[str],
    way: Trip,
    past: str,
) -> tuple[Queue, list[str], list[Fault]]:
    """Lay the plots into days; plots that no dive may reach are listed, and what is left when the days are used up.

    Days up to `past`, the last on which planting was recorded, are over.
    """
    plots, colonies = tables["plots"], tables["colonies"]
    crs = gpd.GeoDataFrame(plots).crs
    error = project.settings.layers.bathymetry.depth_error_m
    check_nursery(project)
    nursery = nursery_of(work, nursery_depth(project, tides))
    crew, notes = crew_of(work)
    if tides.highest_m is None:
        notes.append("No tide given: depths for gas and table are charted depth + stated error only.")
    if work.gas.gas.strip().lower() != "air":
        notes.append(f"Gas {work.gas.gas}: used only as the supervisor's depth limit; times are those of air.")
    faults: list[Fault] = []
    queued: list[PlotWork] = []
    place = {s: i for i, s in enumerate(sites)}
    order = sorted(
        visiting(plots, _harbour_xy(project, crs), sites),
        key=lambda k: place.get(str(plots["site"].iloc[k]), len(place)),
    )
    methods = {s: work.methods[m].minutes_per_unit for s, m in work.attach.items()}
    own = dict(iter(colonies.groupby("plot", sort=False)))
    for k in order:
        plot = plots.iloc[k]
        part = own.get(plot["plot"])
        if plot["role"] != "planted" or part is None:
            continue
        depth = float(plot["depth_max_m"]) + tides.planning_m + error
        fault = unreachable(f"fieldwork, plot {plot['plot']}", depth, rates, work)
        if fault is not None:
            faults.append(fault)
            continue
        part = part.sort_values("sequence", kind="stable")
        queued.append(
            PlotWork(
                str(plot["plot"]),
                str(plot["site"]),
                depth,
                tuple(int(n) for n in part["sequence"]),
                int(part["fragments"].max()),
                max(methods[str(s)] for s in part["species"]),
                str(plot["site"]) in work.diseased_sites,
            )
        )
    dates = season_dates(
        work.first_day,
        work.last_day,
        weekdays=work.weekdays,
        closed_months=work.closed_months,
        windows=[Window(c.first, c.last, c.reason) for c in work.closed],
        lost=work.lost_days,
    )
    free = [d.date for d in dates if not d.reason and d.date.isoformat() > past]
    if past:
        notes.append(f"Planting is recorded up to {past}: the days begin after it.")
    if not queued:
        return Queue([]), notes, faults
    memo: dict[tuple[float, bool], Any] = {}

    def allowed(depth_m: float, first: bool) -> Any:
        key = (depth_m, first)
        if key not in memo:
            memo[key] = rates.allowed(depth_m, first)
        return memo[key]

    queue = plan_days(queued, free, crew=crew, nursery=nursery, times=rates.times, allowed=allowed, trip=way)
    closed = [f"{d.date}: {d.reason}" for d in dates if d.reason]
    if queue.rest:
        left = sum(len(n) for n in queue.rest.values())
        faults += [
            Fault(
                f"fieldwork, plot {plot}",
                f"{len(numbers)} units left over (numbers {spans(numbers)})",
                f"{left} units more than {len(free)} days hold",
                "Add days, pairs or dives, choose a quicker method, or plant fewer."
                + (f" Not used: {len(closed)} closed or lost dates." if closed else ""),
            )
            for plot, numbers in queue.rest.items()
        ]
    return queue, notes, faults


def _way(project: Project, ground: Ground, work: Fieldwork, plots: pd.DataFrame) -> tuple[Trip, list[str]]:
    """Minutes under way between harbour, nursery and sites, and where land makes a way longer than the team's factor."""
    places = _places(project, plots, ground.grid.crs)
    by_sea, how = legs_by_sea(project, ground, places)
    factor, names = work.route_factor, list(places)
    pairs = list(itertools.combinations(names, 2))
    around = [p for p in pairs if by_sea.get(p, 0.0) > math.dist(places[p[0]], places[p[1]]) * factor]
    blind = [p for p in pairs if p not in by_sea]
    told = [f"Boat: straight lines × {factor:g}; {how}."]
    if around:
        shown = ", ".join(f"{a}–{b} {by_sea[(a, b)] / 1000:.1f} km" for a, b in around[:5])
        told[0] += f" Longer around land, so the way by sea counts: {shown}{' …' if len(around) > 5 else ''}."
    if blind:
        shown = ", ".join(f"{a}–{b}" for a, b in blind[:5]) + (" …" if len(blind) > 5 else "")
        told[0] += f" No way by sea known, straight line only: {shown}."
    return trips(places, work.boat_speed_kn, factor, by_sea), told


def _places(project: Project, plots: pd.DataFrame, crs: Any) -> dict[str, tuple[float, float]]:
    """Harbour, nursery and the middle of each site [m]."""
    settings = project.settings
    found = {}
    for name, place in (("harbour", settings.harbour), ("nursery", settings.nursery)):
        assert place is not None  # asked for by the settings
        lon, lat = position_of(place.at, f"{name}.at")
        x, y = transform_points([lon], [lat], WGS84, crs)
        found[name] = (float(x[0]), float(y[0]))
    for site, part in plots.groupby("site"):
        found[str(site)] = (float(part["pin_x_m"].mean()), float(part["pin_y_m"].mean()))
    return found


def _harbour(project: Project) -> tuple[str, float, float] | None:
    place = project.settings.harbour
    return None if place is None else (place.name, *position_of(place.at, "harbour.at"))


def _harbour_xy(project: Project, crs: Any) -> tuple[float, float] | None:
    found = _harbour(project)
    if found is None:
        return None
    x, y = transform_points([found[1]], [found[2]], WGS84, crs)
    return float(x[0]), float(y[0])


def _as_set(project: Project) -> dict[str, set[int]]:
    """Pins whose measured position stands in the records, by plot."""
    found: dict[str, set[int]] = {}
    for plot, pin in read_records(project.folder / RECORDS, "set_pins")[["plot", "pin"]].itertuples(index=False):
        found.setdefault(str(plot), set()).add(int(pin))
    return found


def _planted(project: Project, tables: Mapping[str, pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units recorded as planted where the plan draws them, and the plan's units that are still to be planted."""
    rows, colonies = planted_units(project), gpd.GeoDataFrame(tables["colonies"])
    drawn = drawn_places(project, rows, colonies, gpd.GeoDataFrame(tables["plots"]))
    mine = [(str(s), int(n)) in drawn for s, n in zip(rows["site"], rows["sequence"], strict=True)]
    done = [(str(s), int(n)) in drawn for s, n in zip(colonies["site"], colonies["sequence"], strict=True)]
    return rows[np.array(mine, bool)], colonies[~np.array(done, bool)]


def _planned(queue: Queue, work: Fieldwork) -> dict[str, Planned]:
    """Dates and hours of each plot."""
    dates: dict[str, list[datetime.date]] = {}
    hours: dict[str, list[tuple[str, str]]] = {}
    for day in queue.days:
        for plot in dict.fromkeys(d.plot for d in day.dives if d.plot is not None):
            dates.setdefault(plot, []).append(day.date)
            hours.setdefault(plot, []).append((work.start, clock(work.start, day.back_min)))
    return {p: Planned(tuple(dates[p]), tuple(hours[p])) for p in dates}


def _short_stock(rows: Rows, has_stock: bool) -> list[Fault]:
    if not rows.short or not has_stock:
        return []
    shown = ", ".join(f"{w.plot} {w.number}" for w in rows.short[:5])
    return [
        Fault(
            "pull list",
            f"{len(rows.short)} units without fragments on any structure ({shown}{' …' if len(rows.short) > 5 else ''})",
            "stock for every unit",
            "Correct the stock list, or the edited colonies.",
        )
    ]


def _figures(queue: Queue, rows: Rows, rates: Rates, work: Fieldwork, notes: list[str]) -> dict[str, Any]:
    return {
        "days": len(queue.days),
        "first": queue.days[0].date.isoformat() if queue.days else None,
        "last": queue.days[-1].date.isoformat() if queue.days else None,
        "dives": len(rows.dives),
        "units": sum(d.units for d in queue.days),
        "left_over": sum(len(n) for n in queue.rest.values()),
        "no_stop_table": rates.table.name,
        "table_caveat": rates.table.caveat,
        "cylinder": f"{rates.cylinder.name}, {rates.cylinder.capacity:g} at {rates.cylinder.rated:g}",
        "supervisor": work.dives.supervisor,
        "notes": notes,
    }
