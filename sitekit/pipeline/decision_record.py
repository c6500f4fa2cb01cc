"""The decision record: why these sites, from the tables of the run, for somebody who was not at the meeting."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from sitekit.base.files import write_text
from sitekit.outputs.charts import GainPoint, gain_chart, rank_chart
from sitekit.outputs.decision import Rows, Section, write_decision
from sitekit.outputs.tables import write_csv
from sitekit.outputs.vector import write_geojson
from sitekit.pipeline.decision_budget import budget_section, limit_words, rule_words
from sitekit.pipeline.decision_method import (
    SHOWN,
    Tables,
    criteria_section,
    maximised,
    names_of,
    rank_ranges,
    records,
    sensitivity_section,
    sources_section,
)
from sitekit.pipeline.decision_sites import answers_section, called, chosen_section, looked_section, stock_section
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.project import Project
from sitekit.pipeline.ways import WAYS_FILE
from sitekit.pipeline.weighing import asked_questions
from sitekit.sites.questions import PILOT_LEAST_YEARS

_REASONS = 4  # reasons told at the top where no site is chosen
_REAL = (
    "suitability",
    "units_alive",
    "without_pct",
    "dives",
    "boat_days",
    "money",
    "depth_difference_m",
    "wild_m",
    "nursery_m",
    "harbour_m",
)


def write_decision_files(
    project: Project, ground: Ground, tables: Tables, run_id: str, cautions: Sequence[str]
) -> list[str]:
    """Write `decision.md` with its charts, and `sites.csv` and `allotment.csv` to start edits from; return their names.

    Parameters
    ----------
    project, ground
        With every stage before export done.
    tables : mapping of str to DataFrame
        The season.
    run_id : str
        Printed.
    cautions : sequence of str
        Printed in the head.
    """
    settings = project.settings
    files = _lists(project, tables)
    ways = json.loads(project.result(WAYS_FILE).read_text("utf-8"))
    pictures = {}
    for species in settings.species:
        ranges = rank_ranges(tables, species.code)
        if ranges:
            name = f"decision_ranks_{species.code}.svg"
            text = rank_chart(f"Ranks of candidates, {species.code}", ranges, _stamp(project, run_id))
            write_text(project.target(name), text)
            pictures[species.code] = name
            files.append(name)
    curve = tables["budget_curve"]
    gain = None
    if len(curve):
        gain = "decision_gain.svg"
        column, measure = maximised(settings)
        points = [
            GainPoint(float(r.share_pct), float(getattr(r, column)), int(r.units), _many(r.sites))
            for r in records(curve)
        ]
        measure = "summed suitability" if column == "suitability" else f"{measure} by the plan's curve"
        text = gain_chart("Gain against budget", points, _stamp(project, run_id), measure=measure)
        write_text(project.target(gain), text)
        files.append(gain)
    head = [
        f"{settings.plan.date.isoformat()}, run {run_id}"
        + (". FICTIONAL: made-up data" if settings.plan.fictional else ""),
        " ".join(cautions),
    ]
    sections = [
        _short(project, ground, tables),
        _goal(project),
        _compared(tables),
        criteria_section(project),
        sensitivity_section(project, tables, pictures),
        answers_section(project, tables),
        chosen_section(project, tables),
        budget_section(project, tables, gain),
        looked_section(tables),
        stock_section(tables),
        _unknown(project, ground, tables, ways),
        sources_section(project),
    ]
    write_decision(project.target("decision.md"), f"Decision record: {settings.plan.name}", head, sections)
    return ["decision.md", *files]


def _lists(project: Project, tables: Tables) -> list[str]:
    """Write the tables that a person may edit and name in the plan."""
    sites = tables["sites"]
    first = ["site", "chosen", "reason"]
    frame = pd.DataFrame(sites.drop(columns=["geometry", "answers"]))
    lists = {"sites.csv": frame[[*first, *(c for c in frame.columns if c not in first)]]}
    if len(tables["allotment"]):
        lists["allotment.csv"] = tables["allotment"].copy()
    for name, table in lists.items():
        if project.settings.plan.fictional:
            table = table.assign(note="FICTIONAL")
        write_csv(project.target(name), table, decimals=dict.fromkeys(_REAL, 2))
    files = list(lists)
    if len(tables["plots"]):
        plots = gpd.GeoDataFrame(tables["plots"])
        write_geojson(
            project.target("plots.geojson"), plots, id_column="plot", fictional=project.settings.plan.fictional
        )
        files.append("plots.geojson")
    return files


def _stamp(project: Project, run_id: str) -> str:
    fictional = "FICTIONAL. " if project.settings.plan.fictional else ""
    return f"{fictional}{project.settings.plan.name}, {project.settings.plan.date.isoformat()}, run {run_id}"


def _many(sites: Any) -> int:
    return 0 if sites is None or pd.isna(sites) else len(str(sites).split())


def _short(project: Project, ground: Ground, tables: Tables) -> Section:
    sites = tables["sites"]
    chosen = sites[sites["chosen"]]
    if ground.scout:
        first = set(tables["candidates"]["candidate"].iloc[:SHOWN])
        told = [f"Areas to scout, no site is chosen: {ground.scout_reason}.", *_ranking(tables, first)]
        return Section("In short", [told])
    if not len(chosen):
        why: dict[str, list[str]] = {}
        for r in records(sites[sites["coded"]]):
            why.setdefault(str(r.reason), []).append(str(r.site))
        told = ["No site is chosen; section 7 has the rest."]
        told += [f"{', '.join(codes)}: {reason}." for reason, codes in list(why.items())[:_REASONS]]
        return Section("In short", [told])
    handed = tables["allotment"].groupby("species")["number"].sum()
    codes = [s.code for s in project.settings.species]
    units = ", ".join(f"{handed[code]} {code}" for code in codes if code in handed.index)
    numbers = project.settings.spacing.numbers
    wanted = ", ".join(f"{numbers[code]} {code}" for code in codes if code in numbers)
    lines = [
        "; ".join(f"{s.code} is {s.name}" for s in project.settings.species) + ".",
        f"Chosen: {', '.join(called(r) for r in records(chosen))}. Handed out: {units or 'nothing'} units"
        + (f"; wanted: {wanted}." if wanted else "."),
    ]
    held = tables["held_back"]
    if len(held):
        lines.append(
            f"What holds the plan back most: {rule_words(held.iloc[0]['rule'])}; that lifted alone would give "
            f"{held.iloc[0]['gain_pct']:.1f} % more."
        )
    dry = [called(r) for r in records(chosen) if not r.scouted]
    lines.append("NOT SCOUTED, nobody has looked: " + ", ".join(dry) + "." if dry else "Every chosen site was scouted.")
    pilots = [called(r) for r in records(chosen) if r.verdict == "pilot"]
    if pilots:
        most = project.settings.choose.pilot_units
        lines.append(f"Pilots of at least {PILOT_LEAST_YEARS} year, at most {most} units: {', '.join(pilots)}.")
    lines += _ranking(tables, set(chosen["candidate"]))
    use = tables["budget_use"]
    if len(use):
        tightest = use.sort_values("used_pct", ascending=False, kind="stable").iloc[0]
        lines.append(
            f"Of the budget, {limit_words(tightest.limit)} come closest to their limit: {tightest.used_pct:.0f} % used."
        )
    return Section("In short", [lines])


def _ranking(tables: Tables, which: set[str]) -> list[str]:
    """Return which of some candidates are fragile, and whose high rank an error of depth or bottom takes away."""
    ranks, names = tables["candidate_ranks"], names_of(tables)
    own = ranks[ranks["candidate"].isin(which)]
    lines = []
    fragile = [f"{names[str(r.candidate)]} for {r.species}" for r in records(own[own["fragile"]])]
    if fragile:
        lines.append(f"Fragile, high in the ranking only under the chosen weights: {', '.join(fragile)}.")
    by_input: dict[str, list[str]] = {"depth": [], "bottom": []}
    for r in records(own[own["holds_not_under"].notna()]):
        for what in by_input:
            by_input[what] += [f"{names[str(r.candidate)]} for {r.species}"] if what in str(r.holds_not_under) else []
    said = {"depth": "the stated error of depth alone", "bottom": "the share of misread bottom alone"}
    lines += [f"High in the ranking, but not with {said[k]}: {', '.join(v)}." for k, v in by_input.items() if v]
    return lines


def _goal(project: Project) -> Section:
    goal = project.settings.plan.goal
    return Section("Goal", [goal or "The plan states no goal (plan.goal in plan.toml)."])


def _compared(tables: Tables) -> Section:
    candidates, offers = tables["candidates"], tables["candidate_species"]
    names = names_of(tables)
    room = {str(k): v for k, v in offers.groupby("candidate")["capacity"].sum(min_count=1).items()}
    coded = candidates["site"].notna()
    shown = candidates[coded | (np.arange(len(candidates)) < SHOWN)]
    parts: list[Any] = [
        f"{len(candidates)} patches of sea floor pass for at least one species; {int(coded.sum())} hold a site code. "
        + (
            "Those with a code and the best are shown; all stand in candidates.geojson."
            if len(shown) < len(candidates)
            else ""
        ),
        Rows(
            (
                "candidate",
                "area [m²]",
                "depth [m]",
                "mean score",
                "room [units]",
                "limited by",
                "weight unknown [%]",
                "protected areas",
            ),
            [
                (
                    names[str(r.candidate)],
                    r.area_m2,
                    f"{r.depth_min_m:.1f} to {r.depth_max_m:.1f}",
                    r.score_mean,
                    room.get(str(r.candidate)),
                    r.limiting,
                    r.unknown_pct,
                    r.protected,
                )
                for r in records(shown)
            ],
            (None, 0, None, 2, 0, None, 1, None),
        ),
    ]
    first = np.flatnonzero(coded.to_numpy())
    above = candidates["candidate"].iloc[: int(first[0])].tolist() if first.size else []
    if above:
        parts.append(
            f"{len(above)} candidates without a site code have a higher mean score than the best coded one: "
            + ", ".join(str(c) for c in above[:8])
            + (" …" if len(above) > 8 else "")
            + ". A code in plan.toml lets them in."
        )
    places = tables["place_scores"]
    if len(places):
        parts.append(
            Rows(
                (
                    "named place",
                    "kind",
                    "species",
                    "cells that pass [%]",
                    "mean score",
                    "mean depth [m]",
                    "most cells lack",
                    "candidate",
                ),
                [
                    (
                        r.name,
                        r.kind,
                        r.species,
                        r.passing_pct,
                        r.score_mean,
                        r.depth_mean_m,
                        r.limiting,
                        r.candidate
                        if not pd.isna(r.candidate)
                        else None
                        if pd.isna(r.distance_m)
                        else f"none, nearest {r.distance_m:.0f} m off",
                    )
                    for r in records(places)
                ],
                (None, None, None, 0, 2, 1, None, None),
                "Named places, scored by the same rule:",
            )
        )
    return Section("What was compared", parts)


def _unknown(project: Project, ground: Ground, tables: Tables, ways: Sequence[str]) -> Section:
    sites, settings = tables["sites"], project.settings
    chosen = sites[sites["chosen"]]
    lines = []
    for r in records(chosen):
        given = json.loads(r.answers) if r.answers else {}
        silent = [k for k, a in given.items() if a["answer"] == "unknown"]
        if silent:
            lines.append(f"{r.site}: unknown: {', '.join(asked_questions(settings)[k] for k in silent)}")
        if not r.scouted:
            lines.append(f"{r.site}: not scouted")
    shares = tables["candidates"].set_index("candidate")["unknown_pct"]
    lines += [
        f"{r.site}: {shares[r.candidate]:.1f} % of the weight rests on unknown values"
        for r in records(chosen)
        if shares[r.candidate] > 0.05
    ]
    if not settings.question:
        lines.append("no go/no-go question was answered")
    lines.append(
        f"depths: ± {settings.layers.bathymetry.depth_error_m:g} m as stated by the survey; "
        f"pins: ± {settings.spacing.pin_error_m:g} m"
    )
    if not any(c.surveyed_area for c in settings.layers.colonies):
        lines.append("no area is given in which living colonies were looked for: their absence is taken as seen")
    lines += [f"distances: {w}" for w in ways]
    if settings.choose.survival:
        lines.append(
            "survival: the plan's own curves stand for it (section 7); no place was asked whether they hold there"
        )
    else:
        lines.append("suitability is not survival: no figure here says how many units will live")
    lines += _asked_and_refused(tables)
    return Section("What is not known", [lines])


def _asked_and_refused(tables: Tables) -> list[str]:
    """Doubts about the team's lists that nobody answered, and how many rows were left out of which file."""
    doubts = tables["doubts"]["said"]
    lines = [f"asked, not answered: {d}" for d in doubts[:SHOWN]]
    if len(doubts) > SHOWN:
        lines.append(f"{len(doubts) - SHOWN} more such questions: doubts.csv")
    counts = Counter(zip(tables["refused_rows"]["file"], tables["refused_rows"]["layer"], strict=True))
    return lines + [
        f"{n} rows of {file} ({layer}) could not be used and are left out: refused_rows.csv has each"
        for (file, layer), n in counts.items()
    ]
