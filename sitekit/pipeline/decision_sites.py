"""Sections of the decision record about sites: answers, chosen and rejected, budget, scouting, stock."""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from sitekit.outputs.decision import Picture, Rows, Section
from sitekit.pipeline.decision_method import Tables, records, source_line
from sitekit.pipeline.project import Project
from sitekit.pipeline.weighing import asked_questions
from sitekit.sites.cost import published_ranges
from sitekit.sites.questions import PILOT_LEAST_YEARS


def called(row: Any) -> str:
    """Return a site as people call it; one without a code says so."""
    name = "" if row.name is None or pd.isna(row.name) else f" ({row.name})"
    return f"{row.site}{name}" + ("" if row.coded else ", no site code")


def _seen(row: Any) -> str:
    return f"{row.scouted_on}, {row.observer}" if row.scouted else "NOT SCOUTED"


def limit_words(name: str) -> str:
    """Return a limit of the budget in words."""
    return {"boat_days": "boat days"}.get(name, name)


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
            "Comes to: " + ", ".join(verdicts) + ".",
        ],
    )


def chosen_section(project: Project, tables: Tables) -> Section:
    """Return chosen and rejected sites with reasons, and the areas to compare with."""
    sites = tables["sites"]
    chosen, rejected = sites[sites["chosen"]], sites[~sites["chosen"]]
    choose = project.settings.choose
    rules = [f"at least {choose.least_per_site} units at a site"]
    rules += [f"at most {choose.most_per_site}"] if choose.most_per_site else []
    rules += (
        [f"chosen sites at least {choose.least_distance_m:g} m apart, edge to edge"] if choose.least_distance_m else []
    )
    rules += [f"each genet at {choose.genet_sites} sites or more"] if choose.genet_sites > 1 else []
    rules += [f"forced in: {', '.join(choose.force_in)}"] if choose.force_in else []
    rules += [f"forced out: {', '.join(choose.force_out)}"] if choose.force_out else []
    if choose.depth_fall_off_m:
        rules.append(
            f"suitability counts in full at the nursery's depth and not at all {choose.depth_fall_off_m:g} m from it "
            f"({source_line('johnson-2011-siting')}; the distance is the team's)"
        )
    parts: list[Any] = ["Rules of the choice: " + "; ".join(rules) + "."]
    parts.append(
        Rows(
            (
                "site",
                "why",
                "units",
                "suitability",
                "depth off the nursery's [m]",
                "wild colony [m]",
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
                    r.depth_difference_m,
                    r.wild_m,
                    r.nursery_m,
                    r.harbour_m,
                    _seen(r),
                )
                for r in records(chosen)
            ],
            (None, None, 0, 1, 1, 0, 0, 0, None),
            "Chosen:",
        )
    )
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
            [(f"{len(v)}: " + ", ".join(v[:12]) + (" …" if len(v) > 12 else ""), k) for k, v in others.items()],
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


def budget_section(project: Project, tables: Tables, gain: str | None) -> Section:
    """Return the budget with what is published beside it, the next-best choices, and gain against budget."""
    budget = project.settings.budget
    if budget is None:
        return Section(
            "Budget and alternatives",
            [
                "The plan has no [budget]: "
                + (
                    "sites were chosen by the rules above alone."
                    if project.settings.choose.limits
                    else "every site that may be planted is taken, best first."
                )
            ],
        )
    parts: list[Any] = [
        "Estimates are linear, from rates the team typed; the day plan has the exact figures.",
        Rows(
            ("limit", "there is", "used", "used [%]", "unit"),
            [
                (limit_words(r.limit), f"{r.amount:,.6g}", f"{r.used:,.1f}", r.used_pct, r.unit)
                for r in records(tables["budget_use"])
            ],
            (None, None, None, 0, None),
        ),
        Rows(
            ("published", "value", "unit", "context", "source"),
            [(r["quantity"], r["value"], r["unit"], r["context"], r["source"]) for r in published_ranges()],
            (None,) * 5,
            f"Beside the team's rates ({_rates(project)}), what is published:",
        ),
    ]
    others = tables["alternatives"]
    if len(others):
        gap = others.iloc[0]["gap_pct"]
        parts.append(
            f"The choice is at most {gap:.2f} % below the best that these numbers allow (proven by the solver, HiGHS)."
        )
        parts.append(
            Rows(
                (
                    "plan",
                    "sites",
                    "instead",
                    "without",
                    "suitability",
                    "less by [%]",
                    "units",
                    "dives",
                    "boat days",
                    f"money [{budget.currency}]",
                ),
                [
                    (
                        "chosen" if r.rank == 0 else f"next best {r.rank}",
                        r.sites,
                        r.added,
                        r.dropped,
                        r.suitability,
                        r.loss_pct,
                        r.units,
                        r.dives,
                        r.boat_days,
                        r.money,
                    )
                    for r in records(others)
                ],
                (None, None, None, None, 1, 1, 0, 0, 1, 0),
                "The choice and the next-best ones, each another set of sites:",
            )
        )
        if len(others) == 1:
            parts.append("No other set of sites keeps every rule.")
        parts += _held_back(tables)
    curve = tables["budget_curve"]
    if gain:
        parts.append(Picture(gain, "Gain against budget; the table below has the figures"))
        parts.append(
            Rows(
                ("share of the budget [%]", "suitability", "units", "sites"),
                [
                    (r.share_pct, r.suitability, r.units, r.sites if not pd.isna(r.sites) else "nothing fits")
                    for r in records(curve)
                ],
                (0, 1, 0, None),
            )
        )
    return Section("Budget and alternatives", parts)


_RULES = {
    "least_per_site": "the least number at a site (least_per_site)",
    "most_per_site or pilot_units": "the most at a site, or at a pilot (most_per_site, pilot_units)",
    "least_sites": "the least number of sites (least_sites)",
    "most_sites": "the most sites (most_sites)",
    "least_distance_m": "the distance between sites (least_distance_m)",
    "genet_sites": "each genet at several sites (genet_sites)",
    "force_in": "sites forced in (force_in)",
    "only_coded": "candidates without a site code stay out (only_coded)",
    "units": "units of the budget",
    "dives": "dives of the budget",
    "boat_days": "boat days of the budget",
    "money": "money of the budget",
}


def rule_words(rule: str) -> str:
    """Return a limit or rule of the choice in words."""
    return _RULES.get(rule, rule)


def _held_back(tables: Tables) -> list[Any]:
    """Return what holds the choice back, one limit or rule lifted at a time."""
    rows = tables["held_back"]
    if not len(rows):
        return [
            "No single limit or rule holds the plan back: what is left is the stock, the numbers wanted, or the room."
        ]
    return [
        Rows(
            ("limit or rule", "the plan would give more by [%]"),
            [(rule_words(str(r.rule)), r.gain_pct) for r in records(rows)],
            (None, 1),
            "What holds the plan back, each lifted alone:",
        )
    ]


def _rates(project: Project) -> str:
    b = project.settings.budget
    if b is None:
        return "none"
    said = [f"{b.units_per_dive:g} units per dive"] if b.units_per_dive else []
    said += [f"{b.dives_per_site:g} dives per site beside planting"] if b.dives_per_site else []
    said += [f"{b.dives_per_boat_day:g} dives per boat day"] if b.dives_per_boat_day else []
    said += [f"{b.boat_hours_per_day:g} h a day at {b.boat_speed_kn:g} kn"] if b.boat_speed_kn else []
    for key, what in (("site", "site"), ("unit", "unit"), ("dive", "dive"), ("boat_day", "boat day")):
        price = getattr(b, f"money_per_{key}")
        said += [f"{b.currency} {price:g} per {what}"] if price else []
    return ", ".join(said) or "none"


def looked_section(tables: Tables) -> Section:
    """Return what scouts brought back."""
    forms = tables["scouting"]
    if not len(forms):
        return Section(
            "Scouting",
            ["Nobody has returned a scout form: every site stands on maps alone. sitekit scout writes the forms."],
        )
    rows = [
        (r.site, r.date, r.observer, r.charted_depth_m, r.bottom, r.macroalgae_pct, r.go, r.changed, r.note)
        for r in records(forms)
    ]
    parts: list[Any] = [
        Rows(
            ("site", "date", "observer", "depth below datum [m]", "bottom", "macroalgae [%]", "go", "changed", "note"),
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
