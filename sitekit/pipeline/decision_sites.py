"""Sections of the decision record about sites: answers, chosen and rejected, scouting, stock."""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from sitekit.base.wording import length_text, retell, retell_parts, say
from sitekit.outputs.decision import Rows, Section, heads
from sitekit.pipeline.decision_method import Tables, far, records, source_line
from sitekit.pipeline.project import Project
from sitekit.pipeline.weighing import asked_questions
from sitekit.season.settings import Settings
from sitekit.sites.questions import PILOT_LEAST_YEARS

_LISTED = 40  # rejected candidates named per reason; all stand in sites.csv


def called(row: Any) -> str:
    """Return a site as people call it; one without a code says so."""
    name = "" if row.name is None or pd.isna(row.name) else f" ({row.name})"
    site = f"{row.site}{name}"
    return site if row.coded else say("record.no_code", site=site)


def _seen(row: Any) -> str:
    return f"{row.scouted_on}, {row.observer}" if row.scouted else say("record.not_scouted")


def answers_section(project: Project, tables: Tables) -> Section:
    """Return the go/no-go questions and answers of every coded site, and what they come to."""
    asked = asked_questions(project.settings)
    sites = tables["sites"]
    rule = say("record.answer_rule", years=PILOT_LEAST_YEARS, source=source_line("course-deciding"))
    if not project.settings.question:
        return Section(
            say("record.questions"),
            [
                say("record.no_answers", questions=" ".join(retell(q, typed=True) for q in asked.values())),
                rule,
                say("record.no_cap")
                if project.settings.choose.pilot_units is None
                else say("record.all_pilots", units=project.settings.choose.pilot_units),
            ],
        )
    rows = []
    for r in records(sites[sites["coded"]]):
        given = json.loads(r.answers) if r.answers else {}
        for key, words in asked.items():
            a = given.get(key, {})
            said = retell(a.get("answer", "unknown"))
            rows.append(
                (
                    r.site,
                    retell(words, typed=True),
                    said if a.get("who") else say("record.unanswered", answer=said),
                    a.get("who") or None,
                    a.get("when") or None,
                    a.get("note") or None,
                )
            )
    verdicts = [f"{r.site}: {retell(r.verdict)}" for r in records(sites[sites["coded"]]) if not pd.isna(r.verdict)]
    return Section(
        say("record.questions"),
        [
            rule,
            Rows(heads("site", "question", "answer", "who", "when", "note"), rows, (None,) * 6),
            say("record.verdicts", verdicts=", ".join(verdicts)),
        ],
    )


def chosen_section(project: Project, tables: Tables) -> Section:
    """Return chosen and rejected sites with reasons, and the areas to compare with."""
    sites = tables["sites"]
    chosen, rejected = sites[sites["chosen"]], sites[~sites["chosen"]]
    parts: list[Any] = [
        _maximised(project.settings),
        say("record.rules", rules="; ".join(_rules(project.settings))),
    ]
    alive = bool(project.settings.choose.survival)
    parts.append(
        Rows(
            heads(
                "site",
                "why",
                "units",
                "suitability",
                *(["alive"] if alive else []),
                "deeper_m",
                "wild_m",
                "nursery_m",
                "harbour_m",
                "scouted",
            ),
            [
                (
                    called(r),
                    retell_parts(r.reason),
                    r.units,
                    r.suitability,
                    *([r.units_alive] if alive else []),
                    far(r.depth_difference_m),
                    far(r.wild_m),
                    far(r.nursery_m),
                    far(r.harbour_m),
                    _seen(r),
                )
                for r in records(chosen)
            ],
            (None, None, 0, 1, *([1] if alive else []), 1, 0, 0, 0, None),
            say("record.chosen_above"),
        )
    )
    parts += _per_species(project.settings, tables)
    coded = rejected[rejected["coded"]]
    parts.append(
        Rows(
            heads("site", "why_not", "scouted"),
            [(called(r), retell_parts(r.reason), _seen(r)) for r in records(coded)],
            (None, None, None),
            say("record.rejected_coded"),
        )
    )
    others = rejected[~rejected["coded"]].groupby("reason", sort=True)["site"].apply(list)
    parts.append(
        Rows(
            heads("candidates", "why_not"),
            [(say("record.counted", number=len(v), names=_listed(v)), retell_parts(str(k))) for k, v in others.items()],
            (None, None),
            say("record.rejected"),
        )
    )
    areas = tables["control_areas"]
    if len(areas):
        parts.append(
            Rows(
                heads("zone", "role", "size", "score_site", "depth_site_m", "from_m", "wild", "also"),
                [
                    (
                        r.area,
                        say(f"permit.role_{r.role}"),
                        r.area_m2,
                        f"{r.score_mean:.2f} ({r.site_score_mean:.2f})",
                        f"{far(r.depth_mean_m):.1f} ({far(r.site_depth_mean_m):.1f})",
                        far(r.distance_m),
                        r.colonies,
                        r.also_for,
                    )
                    for r in records(areas)
                ],
                (None, None, 0, None, None, 0, 0, None),
                say("record.compare"),
            )
        )
    return Section(say("record.chosen_rejected"), parts)


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:_LISTED])
    return say("record.more", names=shown, number=len(names) - _LISTED) if len(names) > _LISTED else shown


def _maximised(settings: Settings) -> str:
    """Return what the choice makes as large as it can, in words."""
    if settings.budget is None and not settings.choose.limits:
        return say("record.max_none")
    if not settings.choose.survival:
        return say("record.max_depth" if settings.choose.depth_fall_off_m else "record.max_suitability")
    curves = [
        say(
            "record.curve_score" if one.of == "score" else "record.curve_depth",
            species=code,
            points=", ".join(
                say("record.at", response=f"{share:g}", value=f"{value:g}") for value, share in one.points
            ),
            source=source_line(one.source),
        )
        for code, one in settings.choose.survival.items()
    ]
    years = next(iter(settings.choose.survival.values())).years
    year = say("record.year" if years == 1 else "record.years")
    return say("record.max_alive", years=f"{years:g}", year=year, curves="; ".join(curves))


def _rules(settings: Settings) -> list[str]:
    """Return every rule of the choice that the plan sets, in words."""
    c = settings.choose
    rules = [say("record.r_coded" if c.only_coded else "record.r_open")]
    for key, number, set_ in (
        ("record.r_least", c.least_per_site, c.least_per_site > 1),
        ("record.r_most", c.most_per_site, c.most_per_site),
        ("record.r_pilot", c.pilot_units, c.pilot_units),
        ("record.r_least_sites", c.least_sites, c.least_sites),
        ("record.r_most_sites", c.most_sites, c.most_sites),
    ):
        rules += [say(key, number=number)] if set_ else []
    rules += [say("record.r_apart", length=length_text(c.least_distance_m))] if c.least_distance_m else []
    rules += [say("record.r_genet", number=c.genet_sites)] if c.genet_sites > 1 else []
    rules += [say("record.r_in", sites=", ".join(c.force_in))] if c.force_in else []
    rules += [say("record.r_out", sites=", ".join(c.force_out))] if c.force_out else []
    for key, most in (
        ("record.r_off_depth", c.greatest_depth_difference_m),
        ("record.r_to_wild", c.greatest_to_wild_m),
        ("record.r_nursery", c.greatest_to_nursery_m),
        ("record.r_harbour", c.greatest_to_harbour_m),
    ):
        rules += [say(key, length=length_text(most))] if most is not None else []
    rules += [say("record.r_off_wild", length=length_text(c.least_to_wild_m))] if c.least_to_wild_m else []
    if c.depth_fall_off_m:
        source = source_line("johnson-2011-siting")
        rules.append(say("record.r_match", length=length_text(c.depth_fall_off_m), source=source))
    return rules


def _per_species(settings: Settings, tables: Tables) -> list[Any]:
    """Return what each species gives at each chosen site, so that the sums can be followed."""
    offers = tables["site_species"]
    if not len(offers):
        return []
    alive = bool(settings.choose.survival)
    rows, outside = [], []
    for r in records(offers):
        by = r.survival if alive else r.depth_match
        rows.append((r.site, r.species, r.units, r.score_mean, by, r.units * by * (1.0 if alive else r.score_mean)))
        outside += [say("record.species_at", species=r.species, site=r.site)] if r.beyond else []
    parts: list[Any] = [
        Rows(
            heads("site", "species", "units", "score_passing", *_factors(alive)),
            rows,
            (None, None, 0, 3, 3, 1),
            say("record.sums_alive" if alive else "record.sums"),
        )
    ]
    if outside:
        parts.append(say("record.beyond", places=", ".join(outside)))
    return parts


def _factors(alive: bool) -> tuple[str, str]:
    return ("share_alive", "alive") if alive else ("depth_match", "suitability")


def looked_section(tables: Tables) -> Section:
    """Return what scouts brought back."""
    forms = tables["scouting"]
    if not len(forms):
        return Section(
            say("record.scouting"),
            [say("record.no_forms")],
        )
    rows = [
        (
            r.site,
            r.date,
            r.observer,
            far(r.charted_depth_m),
            r.bottom,
            r.macroalgae_pct,
            r.go,
            r.changed,
            _also_seen(r),
        )
        for r in records(forms)
    ]
    parts: list[Any] = [
        Rows(
            heads("site", "date", "observer", "below_m", "bottom", "macroalgae", "go", "layers", "seen"),
            rows,
            (None, None, None, 1, None, 0, None, None, None),
        )
    ]
    wrong = forms[~forms["known"]]
    if len(wrong):
        parts.append(
            say(
                "record.wrong_forms",
                forms=", ".join(
                    say("record.wrong_form", line=r.line, site=r.site or say("record.code_missing"))
                    for r in records(wrong)
                ),
            )
        )
    return Section(say("record.scouting"), parts)


def _also_seen(form: Any) -> str | None:
    """Return what a form says in words, each with its heading."""
    kept = ("predators", "disease", "current", "surge", "anchoring", "photos", "note")
    found = [say(f"record.seen_{name}", text=getattr(form, name)) for name in kept if not pd.isna(getattr(form, name))]
    return "; ".join(found) or None


def stock_section(tables: Tables) -> Section:
    """Return what was handed out, what is left over, and what was asked for and not planned."""
    handed, left = tables["allotment"], tables["unallotted"]
    by_site = (
        handed.groupby(["site", "species"], sort=False)
        .agg(units=("number", "sum"), genets=("genet", "nunique"))
        .reset_index()
    )
    parts: list[Any] = [
        Rows(
            heads("site", "species", "units", "genets"),
            [(r.site, r.species, r.units, r.genets) for r in records(by_site)],
            (None, None, 0, 0),
            say("record.handed_above"),
        )
    ]
    if len(left):
        groups = (
            left.groupby(["species", "goes", "reason"], sort=True)
            .agg(units=("number", "sum"), fragments=("fragments", "sum"), genets=("genet", "nunique"))
            .reset_index()
        )
        parts.append(
            Rows(
                heads("species", "units", "fragments", "genets", "goes", "why"),
                [
                    (r.species, r.units, r.fragments, r.genets, retell(r.goes), retell(r.reason))
                    for r in records(groups)
                ],
                (None, 0, 0, 0, None, None),
                say("record.left_above"),
            )
        )
    short = tables["unplaced"]
    if len(short):
        groups = short.groupby(["site", "species", "reason"], dropna=False, sort=True)["number"].sum().reset_index()
        parts.append(
            Rows(
                heads("site", "species", "units", "why"),
                [(r.site, r.species, r.number, retell(r.reason)) for r in records(groups)],
                (None, None, 0, None),
                say("record.short_above"),
            )
        )
    return Section(say("record.stock"), parts)
