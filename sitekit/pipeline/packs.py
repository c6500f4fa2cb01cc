"""The season's tables as what divers, leader and boat carry: finished figures for the pages, nothing drawn here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd

from sitekit.base.sources import cite
from sitekit.base.wording import depth_texts, retell, say
from sitekit.outputs.dive_pdf.scene import About, DayPack, DivePack, PlotPages, Segment, SiteView, Unit
from sitekit.pipeline.bottoms import planned_separation
from sitekit.pipeline.crew import rates_of
from sitekit.pipeline.day_rows import numbers_in, spans
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.planted import planted_on, to_plant
from sitekit.pipeline.project import Project

LINE = (
    "Planning aid only: dive supervisor, the team's tables, computers and manual, and local rules decide. "
    "Not for navigation."
)
# Workshop slides of 2015 (`outplanting-slides-2015`): scrub, keep away from living things, flush and tight, photograph.
TASKS = ("task.pin", "task.spot", "task.keep_off", "task.attach", "task.tag", "task.photo", "task.write")  # labels
# How divers judge a unit: common practice without a source.
SURVEY_TASKS = ("look.pins", "look.find", "look.state", "look.live", "look.cause", "task.photo")
FIELD_CAUTIONS = (
    "No decompression or repetitive-dive advice is computed. The no-stop table judges a day's first dive only.",
    "Fragments travel shaded, in fresh sea water, less than 4 hours from nursery to reef.",
    "Close to living corals and at depth, safety comes before the plan: leave out what cannot be done well.",
)


def about_of(project: Project, run_id: str, cautions: Sequence[str]) -> About:
    """Return what stands on every page."""
    settings = project.settings
    return About(
        settings.plan.name,
        settings.plan.date.isoformat(),
        run_id,
        settings.plan.fictional,
        (*cautions, *FIELD_CAUTIONS),
        LINE,
        settings.spacing.pin_error_m,
        settings.spacing.lay_tolerance_m,
    )


def dive_pack(
    project: Project, ground: Ground, tables: Mapping[str, pd.DataFrame], run_id: str, cautions: Sequence[str]
) -> DivePack:
    """Return everything in `dive_sheets.pdf`.

    Parameters
    ----------
    project, ground
        Of the run.
    tables : mapping of str to DataFrame
        The season.
    run_id : str
        Printed on every page.
    cautions : sequence of str
        Printed once per set.
    """
    sheets, colonies = tables["sheets"], tables["colonies"]
    plots = gpd.GeoDataFrame(tables["plots"])
    letters = {
        (str(s), str(g)): str(v)
        for v, s, g in tables["genet_letters"][["letter", "species", "genet"]].itertuples(index=False)
    }
    names = {str(s): str(n) if isinstance(n, str) else "" for s, n in tables["sites"][["site", "name"]].values.tolist()}
    units = _units(colonies, letters, planted_on(tables))
    row_of = {str(p): i for i, p in enumerate(plots["plot"])}
    stretches = _stretches(tables["segments"], letters)
    pages = []
    for facts in sheets.sort_values("order", kind="stable").to_dict("records"):
        name = str(facts["plot"])
        k = row_of[name]
        circle = str(plots["shape"].iloc[k]) == "circle"
        pages.append(
            PlotPages(
                {str(a): (None if _missing(v) else v) for a, v in facts.items()},
                names.get(str(facts["site"]), ""),
                circle,
                float(plots["width_m"].iloc[k]),
                tuple(units[name]),
                tuple(stretches.get(name, ())),
                max(planned_separation(project, ground, s) for s in str(facts["species"]).split()),
            )
        )
    rows = [(str(r[0]), str(r[1]), str(r[2])) for r in tables["genet_letters"].values.tolist()]
    return DivePack(
        about=about_of(project, run_id, cautions),
        paper=project.settings.sheets.paper,
        plots=tuple(pages),
        sites=tuple(_site(site, names.get(site, ""), plots, sheets) for site in dict.fromkeys(_ordered_sites(sheets))),
        waypoints=tables["waypoints"],
        letters=tuple(rows),
        tasks=tuple(say(t) for t in TASKS),
        notes=_notes(project),
    )


def survey_pack(
    project: Project, ground: Ground, tables: Mapping[str, pd.DataFrame], run_id: str, cautions: Sequence[str]
) -> DivePack:
    """Return everything in `survey_sheets.pdf`: the plots with units that stand where the plan draws them, as planted."""
    pack = dive_pack(project, ground, tables, run_id, cautions)
    letters = {(s, g): letter for letter, s, g in pack.letters}
    planted = tables["as_planted"]
    own = planted[planted["as_drawn"].astype(bool) & (planted["state"] != "dead")]
    units = _units(own, letters, {})
    plots = tuple(replace(p, units=tuple(units[p.name])) for p in pack.plots if p.name in units)
    ways = pack.waypoints[pack.waypoints["plot"].isin([p.name for p in plots])]
    return replace(
        pack,
        plots=plots,
        sites=tuple(_site_of(s, plots) for s in pack.sites if s.site in {str(p.facts["site"]) for p in plots}),
        waypoints=ways,
        tasks=tuple(say(t) for t in SURVEY_TASKS),
    )


def _site_of(site: SiteView, plots: Sequence[PlotPages]) -> SiteView:
    """An overview with the plots that are to be looked at."""
    own = {p.name: p for p in plots if str(p.facts["site"]) == site.site}
    depths = [float(p.facts[n]) for p in own.values() for n in ("depth_min_m", "depth_max_m")]
    depth = ", ".join(depth_texts(min(depths), max(depths)))
    facts = say("site.facts", plots=len(own), units=sum(len(p.units) for p in own.values()), depth=depth)
    return replace(site, plots=tuple(row for row in site.plots if row[0] in own), facts=(facts,))


def day_pack(project: Project, tables: Mapping[str, pd.DataFrame], run_id: str, cautions: Sequence[str]) -> DayPack:
    """Return everything in `day_plan.pdf`."""
    paper = "letter" if project.settings.sheets.paper in ("half letter", "letter") else "A4"
    named = ("days", "dives", "pull_list", "crates", "leftovers", "materials")
    return DayPack(
        about=about_of(project, run_id, cautions),
        paper=paper,
        **{n: tables[n] for n in named},
        notes=_notes(project),
        rest=tuple(_rest(tables)),
    )


def _rest(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """Say which numbers of which plot stand in no dive."""
    done: dict[str, set[int]] = {}
    for plot, text in tables["dives"][["plot", "numbers"]].dropna().itertuples(index=False):
        done.setdefault(str(plot), set()).update(numbers_in(str(text)))
    lines = []
    for name, part in to_plant(tables).groupby("plot", sort=False):
        plot = str(name)
        left = sorted(set(part["sequence"].astype(int)) - done.get(plot, set()))
        if left:
            lines.append(say("days.rest_line", plot=plot, number=len(left), numbers=spans(left)))
    return lines


def _notes(project: Project) -> tuple[str, ...]:
    """Sentences on the gas, the table and who typed in what, with their sources."""
    work = project.settings.fieldwork
    if work is None:
        return (say("notes.no_fieldwork"),)
    rates = rates_of(work)
    unit, pressure = ("ft³", "psi") if rates.cylinder.system == "imperial" else ("L", "bar")
    table = rates.table
    notes = [
        say(
            "notes.gas",
            name=rates.cylinder.name,
            capacity=f"{rates.cylinder.capacity:g}",
            unit=unit,
            rated=f"{rates.cylinder.rated:g}",
            pressure=pressure,
            reserve=f"{rates.cylinder.reserve:g}",
            rate=f"{rates.rate:.2f}",
            gas=retell(work.gas.gas),
        ),
        say("notes.table", name=table.name, caveat=table.caveat),
        say("notes.formulas", source=cite("noaa-diving-formulas").line()),
    ]
    if work.dives.max_minutes_dive is not None:
        notes.append(
            say(
                "notes.supervisor",
                minutes=f"{work.dives.max_minutes_dive:g}",
                who=work.dives.supervisor,
                interval=f"{work.dives.surface_interval_min or 0:g}",
            )
        )
    else:
        notes.append(say("notes.one_dive"))
    return tuple(notes)


def _stretches(table: pd.DataFrame, letters: Mapping[tuple[str, str], str]) -> dict[str, list[Segment]]:
    counts: dict[tuple[str, float, float], dict[str, int]] = {}
    for r in table.to_dict("records"):
        key = (str(r["plot"]), float(r["from_m"]), float(r["to_m"]))
        counts.setdefault(key, {})[letters[(str(r["species"]), str(r["genet"]))]] = int(r["number"])
    found: dict[str, list[Segment]] = {}
    for (plot, low, high), own in counts.items():
        found.setdefault(plot, []).append(Segment(low, high, own))
    return found


def _units(
    colonies: pd.DataFrame, letters: Mapping[tuple[str, str], str], planted: Mapping[tuple[str, int], str]
) -> dict[str, list[Unit]]:
    """Units of each plot in swimming order; on circles with the angle from the radius line."""
    columns = ["plot", "sequence", "species", "genet", "tag", "along_m", "offset_m", "angle_deg"]
    rows = pd.DataFrame(colonies)[columns].sort_values("sequence", kind="stable")
    out: dict[str, list[Unit]] = {}
    for plot, number, species, genet, tag, along, offset, angle in zip(
        *(rows[c].tolist() for c in columns), strict=True
    ):
        unit = Unit(
            int(number),
            letters.get((str(species), str(genet)), "?"),  # planted in place of another, or its label was lost
            str(genet),
            str(species),
            "" if _missing(tag) else str(tag),
            0.0 if _missing(along) else float(along),
            0.0 if _missing(offset) else float(offset),
            None if _missing(angle) else float(angle),
            planted.get((str(plot), int(number)), ""),
        )
        out.setdefault(str(plot), []).append(unit)
    return out


def _ordered_sites(sheets: pd.DataFrame) -> list[str]:
    return sheets.sort_values("order", kind="stable")["site"].astype(str).tolist()


def _site(site: str, name: str, plots: gpd.GeoDataFrame, sheets: pd.DataFrame) -> SiteView:
    order = dict(zip(sheets["plot"].astype(str), sheets["order"].astype(int), strict=True))
    own = plots[(plots["site"] == site) & plots["plot"].isin(list(order))]
    rows = [
        (
            str(r["plot"]),
            r["geometry"],
            (float(r["pin_x_m"]), float(r["pin_y_m"])),
            None if _missing(r["second_pin_x_m"]) else (float(r["second_pin_x_m"]), float(r["second_pin_y_m"])),
            order[str(r["plot"])],
        )
        for r in own.to_dict("records")
    ]
    rows.sort(key=lambda r: r[4])
    dated = sheets[sheets["site"] == site]["dates"].dropna()
    days = sorted({d for text in dated for d in str(text).split(", ")})
    depth = ", ".join(depth_texts(float(own["depth_min_m"].min()), float(own["depth_max_m"].max())))
    facts = [
        say("site.facts", plots=len(own), units=int(own["units"].sum()), depth=depth),
        say("site.planned", days=", ".join(days) if days else say("site.no_day")),
    ]
    return SiteView(site, name, tuple(rows), tuple(facts))


def _missing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))
