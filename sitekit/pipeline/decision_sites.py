"""Sections of the decision record about sites: answers, chosen and rejected, scouting, stock."""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from sitekit.outputs.decision import Rows, Section
from sitekit.pipeline.decision_method import Tables, records, source_line
from sitekit.pipeline.project import Project
from sitekit.pipeline.weighing import asked_questions
from sitekit.season.settings import Settings
from sitekit.sites.questions import PILOT_LEAST_YEARS

_LISTED = 40  # rejected candidates named per reason; all stand in sites.csv


def called(row: Any) -> str:
    """Return a site as people call it; one without a code says so."""
    name = "" if row.name is None or pd.isna(row.name) else f" ({row.name})"
    return f"{row.site}{name}" + ("" if row.coded else ", no site code")


def _seen(row: Any) -> str:
    return f"{row.scouted_on}, {row.observer}" if row.scouted else "NOT SCOUTED"


def answers_section(project: Project, tables: Tables) -> Section:
    """Return the go/no-go questions and answers of every coded site, and what they come to."""
    asked = asked_questions(project.settings)
    sites = tables["sites"]
    rule = (
        f"No excludes a site. Unknown, or no answer, asks for a pilot of at least {PILOT_LEAST_YEARS} year and caps the number "
        f"({source_line('course-deciding')}; the cap is the team's)."
    )
    if not project.settings.question:
        return Section(
            "Go/no-go questions",
            [
                "No question was answered in the plan, so everything they ask is unknown: " + " ".join(asked.values()),
                rule,
                "No number for pilots is set (choose.pilot_units), so nothing is capped."
                if project.settings.choose.pilot_units is None
                else f"So every site is a pilot of at most {project.settings.choose.pilot_units} units.",
            ],
        )
    rows = []
    for r in records(sites[sites["coded"]]):
        given = json.loads(r.answers) if r.answers else {}
        for key, words in asked.items():
            a = given.get(key, {})
            said = a.get("answer", "unknown")
            rows.append(
                (
                    r.site,
                    words,
                    said if a.get("who") else f"{said} (not answered)",
                    a.get("who") or None,
                    a.get("when") or None,
                    a.get("note") or None,
                )
            )
    verdicts = [f"{r.site}: {r.verdict}" for r in records(sites[sites["coded"]]) if not pd.isna(r.verdict)]
    return Section(
        "Go/no-go questions",
        [
            rule,
            Rows(("site", "question", "answer", "who", "when", "note"), rows, (None,) * 6),
            "The answers come to: " + ", ".join(verdicts) + ".",
        ],
    )


def chosen_section(project: Project, tables: Tables) -> Section:
    """Return chosen and rejected sites with reasons, and the areas to compare with."""
    sites = tables["sites"]
    chosen, rejected = sites[sites["chosen"]], sites[~sites["chosen"]]
    parts: list[Any] = [
        _maximised(project.settings),
        "Rules of the choice: " + "; ".join(_rules(project.settings)) + ".",
    ]
    alive = bool(project.settings.choose.survival)
    parts.append(
        Rows(
            (
                "site",
                "why",
                "units",
                "suitability",
                *(["units alive"] if alive else []),
                "deeper than the nursery by [m]",
                "nearest wild colony [m]",
                "nursery by sea [m]",
                "harbour by sea [m]",
                "scouted",
            ),
            [
                (
                    called(r),
                    r.reason,
                    r.units,
                    r.suitability,
                    *([r.units_alive] if alive else []),
                    r.depth_difference_m,
                    r.wild_m,
                    r.nursery_m,
                    r.harbour_m,
                    _seen(r),
                )
                for r in records(chosen)
            ],
            (None, None, 0, 1, *([1] if alive else []), 1, 0, 0, 0, None),
            "Chosen:",
        )
    )
    parts += _per_species(project.settings, tables)
    coded = rejected[rejected["coded"]]
    parts.append(
        Rows(
            ("site", "why not", "scouted"),
            [(called(r), r.reason, _seen(r)) for r in records(coded)],
            (None, None, None),
            "Rejected, with a site code:",
        )
    )
    others = rejected[~rejected["coded"]].groupby("reason", sort=True)["site"].apply(list)
    parts.append(
        Rows(
            ("candidates", "why not"),
            [(f"{len(v)}: " + ", ".join(v[:_LISTED]) + _more(v), k) for k, v in others.items()],
            (None, None),
            "Rejected, without a site code:",
        )
    )
    areas = tables["control_areas"]
    if len(areas):
        parts.append(
            Rows(
                (
                    "area",
                    "role",
                    "size [m²]",
                    "score (site's)",
                    "depth [m] (site's)",
                    "from chosen sites [m]",
                    "wild colonies",
                    "serves also",
                ),
                [
                    (
                        r.area,
                        r.role,
                        r.area_m2,
                        f"{r.score_mean:.2f} ({r.site_score_mean:.2f})",
                        f"{r.depth_mean_m:.1f} ({r.site_depth_mean_m:.1f})",
                        r.distance_m,
                        r.colonies,
                        r.also_for,
                    )
                    for r in records(areas)
                ],
                (None, None, 0, None, None, 0, 0, None),
                "Areas to compare with, to stay unplanted:",
            )
        )
    return Section("Chosen and rejected", parts)


def _more(names: list[str]) -> str:
    return f" and {len(names) - _LISTED} more, in sites.csv" if len(names) > _LISTED else ""


def _maximised(settings: Settings) -> str:
    """Return what the choice makes as large as it can, in words."""
    if settings.budget is None and not settings.choose.limits:
        return (
            "No budget and no rule is set: every site that may be planted is taken, best first; nothing is maximised."
        )
    if not settings.choose.survival:
        match = " × depth match" if settings.choose.depth_fall_off_m else ""
        return f"Maximised: summed suitability, the sum of units × mean score of their species at the site{match}."
    curves = [
        f"{code}, of the candidate's mean {'score' if one.of == 'score' else 'depth [m]'}: "
        + ", ".join(f"{share:g} at {value:g}" for value, share in one.points)
        + f" (source: {source_line(one.source)})"
        for code, one in settings.choose.survival.items()
    ]
    years = next(iter(settings.choose.survival.values())).years
    return (
        f"Maximised: units alive after {years:g} {'year' if years == 1 else 'years'}, the sum of units × share alive by the "
        f"curves that the team gives, straight between their points and level beyond. {'; '.join(curves)}. The figure is as good "
        "as these sources; nothing in sitekit turns suitability into survival."
    )


def _rules(settings: Settings) -> list[str]:
    """Return every rule of the choice that the plan sets, in words."""
    c = settings.choose
    rules = (
        ["only sites with a code, where any has one"] if c.only_coded else ["candidates without a code are open too"]
    )
    rules += [f"at least {c.least_per_site} units at a site"] if c.least_per_site > 1 else []
    rules += [f"at most {c.most_per_site} units at a site"] if c.most_per_site else []
    rules += [f"a pilot has at most {c.pilot_units} units"] if c.pilot_units else []
    rules += [f"at least {c.least_sites} sites"] if c.least_sites else []
    rules += [f"at most {c.most_sites} sites"] if c.most_sites else []
    rules += [f"chosen sites at least {c.least_distance_m:g} m apart, edge to edge"] if c.least_distance_m else []
    rules += [f"each genet at {c.genet_sites} sites or more"] if c.genet_sites > 1 else []
    rules += [f"forced in: {', '.join(c.force_in)}"] if c.force_in else []
    rules += [f"forced out: {', '.join(c.force_out)}"] if c.force_out else []
    for most, what in (
        (c.greatest_depth_difference_m, "off the nursery's depth"),
        (c.greatest_to_wild_m, "from the nearest wild colony"),
        (c.greatest_to_nursery_m, "by sea from the nursery"),
        (c.greatest_to_harbour_m, "by sea from the harbour"),
    ):
        rules += [f"at most {most:g} m {what}"] if most is not None else []
    rules += [f"at least {c.least_to_wild_m:g} m from the nearest wild colony"] if c.least_to_wild_m else []
    if c.depth_fall_off_m:
        rules.append(
            f"depth match is 1 at the nursery's depth and falls in a line to 0 at {c.depth_fall_off_m:g} m from it "
            f"({source_line('johnson-2011-siting')}; the distance is the team's)"
        )
    return rules


def _per_species(settings: Settings, tables: Tables) -> list[Any]:
    """Return what each species gives at each chosen site, so that the sums can be followed."""
    offers = tables["site_species"]
    if not len(offers):
        return []
    alive = bool(settings.choose.survival)
    last = "units alive" if alive else "suitability"
    factor = "share alive" if alive else "depth match"
    rows, outside = [], []
    for r in records(offers):
        by = r.survival if alive else r.depth_match
        rows.append((r.site, r.species, r.units, r.score_mean, by, r.units * by * (1.0 if alive else r.score_mean)))
        outside += [f"{r.species} at {r.site}"] if r.beyond else []
    parts: list[Any] = [
        Rows(
            ("site", "species", "units", "mean score where it passes", factor, last),
            rows,
            (None, None, 0, 3, 3, 1),
            f"How the sums come about ({last} = units × {'share alive' if alive else 'mean score × depth match'}):",
        )
    ]
    if outside:
        parts.append(f"Beyond the points of the survival curve, whose last share is taken: {', '.join(outside)}.")
    return parts


def looked_section(tables: Tables) -> Section:
    """Return what scouts brought back."""
    forms = tables["scouting"]
    if not len(forms):
        return Section(
            "Scouting",
            ["Nobody has returned a scout form: every site stands on maps alone. sitekit scout writes the forms."],
        )
    rows = [
        (r.site, r.date, r.observer, r.charted_depth_m, r.bottom, r.macroalgae_pct, r.go, r.changed, _also_seen(r))
        for r in records(forms)
    ]
    parts: list[Any] = [
        Rows(
            (
                "site",
                "date",
                "observer",
                "depth below datum [m]",
                "bottom",
                "macroalgae [%]",
                "go",
                "changed in the layers",
                "also seen",
            ),
            rows,
            (None, None, None, 1, None, 0, None, None, None),
        )
    ]
    wrong = forms[~forms["known"]]
    if len(wrong):
        parts.append(
            "Forms with a code the plan does not have, kept and not used: "
            + ", ".join(f"line {r.line}, {r.site or 'no code'}" for r in records(wrong))
            + "."
        )
    return Section("Scouting", parts)


def _also_seen(form: Any) -> str | None:
    """Return what a form says in words, each with its heading."""
    kept = ("predators", "disease", "current", "surge", "anchoring", "photos", "note")
    found = [f"{name}: {getattr(form, name)}" for name in kept if not pd.isna(getattr(form, name))]
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
            ("site", "species", "units", "genets"),
            [(r.site, r.species, r.units, r.genets) for r in records(by_site)],
            (None, None, 0, 0),
            "Handed out (allotment.csv has every genet):",
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
                ("species", "units", "fragments", "genets", "goes", "why"),
                [(r.species, r.units, r.fragments, r.genets, r.goes, r.reason) for r in records(groups)],
                (None, 0, 0, 0, None, None),
                "Left over:",
            )
        )
    short = tables["unplaced"]
    if len(short):
        groups = short.groupby(["site", "species", "reason"], dropna=False, sort=True)["number"].sum().reset_index()
        parts.append(
            Rows(
                ("site", "species", "units", "why"),
                [(r.site, r.species, r.number, r.reason) for r in records(groups)],
                (None, None, 0, None),
                "Asked for and not planned:",
            )
        )
    return Section("Stock", parts)
