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
from sitekit.base.wording import caution, length_text, length_unit, retell, retell_parts, say, wording
from sitekit.outputs.charts import GainPoint, gain_chart, rank_chart
from sitekit.outputs.decision import Rows, Section, heads, write_decision
from sitekit.outputs.tables import write_csv
from sitekit.outputs.vector import write_geojson
from sitekit.pipeline.decision_budget import budget_section, limit_words, rule_words
from sitekit.pipeline.decision_method import (
    SHOWN,
    Tables,
    criteria_section,
    far,
    maximised,
    names_of,
    rank_ranges,
    records,
    sensitivity_section,
    sources_section,
    span,
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
            text = rank_chart(say("record.ranks_chart", species=species.code), ranges, _stamp(project, run_id))
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
        measure = say("record.suitability_sum") if column == "suitability" else say("record.by_curve", measure=measure)
        text = gain_chart(say("record.gain_chart"), points, _stamp(project, run_id), measure=measure)
        write_text(project.target(gain), text)
        files.append(gain)
    head = [
        say("record.head", date=settings.plan.date.isoformat(), run=run_id)
        + (say("record.made_up") if settings.plan.fictional else ""),
        *([] if wording().reviewed else [f"{say('unreviewed').capitalize()}."]),
        " ".join(caution(c) for c in cautions),
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
    write_decision(project.target("decision.md"), say("record.title", name=settings.plan.name), head, sections)
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
    fictional = f"{say('fictional')}. " if project.settings.plan.fictional else ""
    plan = project.settings.plan
    return fictional + say("record.stamp", name=plan.name, date=plan.date.isoformat(), run=run_id)


def _many(sites: Any) -> int:
    return 0 if sites is None or pd.isna(sites) else len(str(sites).split())


def _short(project: Project, ground: Ground, tables: Tables) -> Section:
    sites = tables["sites"]
    chosen = sites[sites["chosen"]]
    if ground.scout:
        first = set(tables["candidates"]["candidate"].iloc[:SHOWN])
        told = [say("record.scout_short", reason=retell(ground.scout_reason)), *_ranking(tables, first)]
        return Section(say("record.short"), [told])
    if not len(chosen):
        why: dict[str, list[str]] = {}
        for r in records(sites[sites["coded"]]):
            why.setdefault(str(r.reason), []).append(str(r.site))
        told = [say("record.no_site")]
        told += [
            say("record.codes_reason", codes=", ".join(codes), reason=retell_parts(reason))
            for reason, codes in list(why.items())[:_REASONS]
        ]
        return Section(say("record.short"), [told])
    handed = tables["allotment"].groupby("species")["number"].sum()
    codes = [s.code for s in project.settings.species]
    units = ", ".join(f"{handed[code]} {code}" for code in codes if code in handed.index)
    numbers = project.settings.spacing.numbers
    wanted = ", ".join(f"{numbers[code]} {code}" for code in codes if code in numbers)
    lines = [
        "; ".join(say("record.species_is", code=s.code, name=s.name) for s in project.settings.species) + ".",
        say(
            "record.handed",
            sites=", ".join(called(r) for r in records(chosen)),
            units=units or say("record.nothing"),
        )
        + (say("record.wanted", wanted=wanted) if wanted else "."),
    ]
    held = tables["held_back"]
    if len(held):
        lines.append(
            say(
                "record.held_most",
                rule=rule_words(held.iloc[0]["rule"]),
                gain=f"{held.iloc[0]['gain_pct']:.1f}",
            )
        )
    dry = [called(r) for r in records(chosen) if not r.scouted]
    lines.append(say("record.dry", sites=", ".join(dry)) if dry else say("record.all_scouted"))
    pilots = [called(r) for r in records(chosen) if r.verdict == "pilot"]
    if pilots:
        most = project.settings.choose.pilot_units
        lines.append(say("record.pilots", years=PILOT_LEAST_YEARS, most=most, sites=", ".join(pilots)))
    lines += _ranking(tables, set(chosen["candidate"]))
    use = tables["budget_use"]
    if len(use):
        tightest = use.sort_values("used_pct", ascending=False, kind="stable").iloc[0]
        lines.append(say("record.tightest", limit=limit_words(tightest.limit), used=f"{tightest.used_pct:.0f}"))
    return Section(say("record.short"), [lines])


def _ranking(tables: Tables, which: set[str]) -> list[str]:
    """Return which of some candidates are fragile, and whose high rank an error of depth or bottom takes away."""
    ranks, names = tables["candidate_ranks"], names_of(tables)
    own = ranks[ranks["candidate"].isin(which)]
    lines = []
    fragile = [
        say("record.for_species", candidate=names[str(r.candidate)], species=r.species)
        for r in records(own[own["fragile"]])
    ]
    if fragile:
        lines.append(say("record.fragile", candidates=", ".join(fragile)))
    by_input: dict[str, list[str]] = {"depth": [], "bottom": []}
    for r in records(own[own["holds_not_under"].notna()]):
        for what, named in by_input.items():
            if what in str(r.holds_not_under):
                named.append(say("record.for_species", candidate=names[str(r.candidate)], species=r.species))
    lines += [say(f"record.not_with_{k}", candidates=", ".join(v)) for k, v in by_input.items() if v]
    return lines


def _goal(project: Project) -> Section:
    goal = project.settings.plan.goal
    return Section(say("record.goal"), [goal or say("record.no_goal")])


def _compared(tables: Tables) -> Section:
    candidates, offers = tables["candidates"], tables["candidate_species"]
    names = names_of(tables)
    room = {str(k): v for k, v in offers.groupby("candidate")["capacity"].sum(min_count=1).items()}
    coded = candidates["site"].notna()
    shown = candidates[coded | (np.arange(len(candidates)) < SHOWN)]
    parts: list[Any] = [
        say("record.patches", number=len(candidates), coded=int(coded.sum()))
        + (say("record.shown") if len(shown) < len(candidates) else ""),
        Rows(
            heads("candidate", "area", "depth_m", "score", "room", "limited", "unknown", "protected"),
            [
                (
                    names[str(r.candidate)],
                    r.area_m2,
                    span(f"{far(r.depth_min_m):.1f}", f"{far(r.depth_max_m):.1f}"),
                    r.score_mean,
                    room.get(str(r.candidate)),
                    _retold(r.limiting),
                    r.unknown_pct,
                    _retold(r.protected),
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
            say(
                "record.above",
                number=len(above),
                candidates=", ".join(str(c) for c in above[:8]) + (" …" if len(above) > 8 else ""),
            )
        )
    places = tables["place_scores"]
    if len(places):
        parts.append(
            Rows(
                heads("place", "kind", "species", "passing", "score", "mean_depth_m", "lack", "candidate"),
                [
                    (
                        r.name,
                        r.kind,
                        r.species,
                        r.passing_pct,
                        r.score_mean,
                        far(r.depth_mean_m),
                        _retold(r.limiting),
                        r.candidate
                        if not pd.isna(r.candidate)
                        else None
                        if pd.isna(r.distance_m)
                        else say("record.none_near", distance=f"{far(r.distance_m):.0f} {length_unit()[0]}"),
                    )
                    for r in records(places)
                ],
                (None, None, None, 0, 2, 1, None, None),
                say("record.named_places"),
            )
        )
    return Section(say("record.compared"), parts)


def _retold(text: Any) -> str | None:
    return None if text is None or pd.isna(text) else retell_parts(str(text), typed=True)


def _unknown(project: Project, ground: Ground, tables: Tables, ways: Sequence[str]) -> Section:
    sites, settings = tables["sites"], project.settings
    chosen = sites[sites["chosen"]]
    lines = []
    for r in records(chosen):
        given = json.loads(r.answers) if r.answers else {}
        silent = [k for k, a in given.items() if a["answer"] == "unknown"]
        if silent:
            questions = ", ".join(retell(asked_questions(settings)[k], typed=True) for k in silent)
            lines.append(say("record.u_questions", site=r.site, questions=questions))
        if not r.scouted:
            lines.append(say("record.u_not_scouted", site=r.site))
    shares = tables["candidates"].set_index("candidate")["unknown_pct"]
    lines += [
        say("record.u_weight", site=r.site, share=f"{shares[r.candidate]:.1f}")
        for r in records(chosen)
        if shares[r.candidate] > 0.05
    ]
    if not settings.question:
        lines.append(say("record.u_no_question"))
    lines.append(
        say(
            "record.u_depths",
            error=length_text(settings.layers.bathymetry.depth_error_m),
            pins=length_text(settings.spacing.pin_error_m),
        )
    )
    if not any(c.surveyed_area for c in settings.layers.colonies):
        lines.append(say("record.u_no_survey"))
    lines += [say("record.u_distances", said=retell(w)) for w in ways]
    if settings.choose.survival:
        lines.append(say("record.u_curves"))
    else:
        lines.append(say("record.u_survival"))
    lines += _asked_and_refused(tables)
    return Section(say("record.unknown"), [lines])


def _asked_and_refused(tables: Tables) -> list[str]:
    """Doubts about the team's lists that nobody answered, and how many rows were left out of which file."""
    doubts = tables["doubts"]["said"]
    lines = [say("record.u_asked", said=_doubt(d)) for d in doubts[:SHOWN]]
    if len(doubts) > SHOWN:
        lines.append(say("record.u_more", number=len(doubts) - SHOWN))
    counts = Counter(zip(tables["refused_rows"]["file"], tables["refused_rows"]["layer"], strict=True))
    return lines + [say("record.u_refused", number=n, file=file, layer=layer) for (file, layer), n in counts.items()]


def _doubt(said: str) -> str:
    """Return a doubt in the language in force; it may begin with a species."""
    head, colon, rest = said.partition(": ")
    return f"{head}: {retell(rest)}" if colon and " " not in head else retell(said)
