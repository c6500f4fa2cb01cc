"""Section of the decision record about the budget: what is used, next-best choices, what holds back, gain."""

from __future__ import annotations

from typing import Any

import pandas as pd

from sitekit.outputs.decision import Picture, Rows, Section
from sitekit.pipeline.decision_method import Tables, maximised, records
from sitekit.pipeline.project import Project
from sitekit.season.settings_decide import Budget
from sitekit.sites.cost import published_ranges

_FULL_PCT = 99.5  # from so much on a limit counts as used in full

_RULES = {
    "least_per_site": "the least number at a site (least_per_site)",
    "most_per_site or pilot_units": "the most at a site, or at a pilot (most_per_site, pilot_units)",
    "least_sites": "the least number of sites (least_sites)",
    "most_sites": "the most sites (most_sites)",
    "least_distance_m": "the distance between sites (least_distance_m)",
    "genet_sites": "each genet at several sites (genet_sites)",
    "force_in": "sites forced in (force_in)",
    "only_coded": "candidates without a site code stay out (only_coded)",
    "stock": "the units wanted or in stock (spacing.numbers, the stock list)",
    "units": "units of the budget",
    "dives": "dives of the budget",
    "boat_days": "boat days of the budget",
    "money": "money of the budget",
}


def limit_words(name: str) -> str:
    """Return a limit of the budget in words."""
    return {"boat_days": "boat days"}.get(name, name)


def rule_words(rule: str) -> str:
    """Return a limit or rule of the choice in words."""
    return _RULES.get(rule, rule)


def budget_section(project: Project, tables: Tables, gain: str | None) -> Section:
    """Return the budget with what is published beside it, the next-best choices, and gain against budget."""
    budget = project.settings.budget
    title = "Budget and alternatives"
    parts: list[Any] = []
    if budget is None:
        if not len(tables["alternatives"]):
            return Section(title, [_without(project, tables)])
        parts.append(_without(project, tables))
    else:
        parts += [
            "Estimates are linear, from rates the team typed; the day plan has the exact figures.",
            *_used(budget, tables),
            Rows(
                ("published", "value", "unit", "context", "source"),
                [(r["quantity"], r["value"], r["unit"], r["context"], r["source"]) for r in published_ranges()],
                (None,) * 5,
                f"Beside the team's rates ({_rates(project)}), what is published:",
            ),
        ]
    parts += _alternatives(project, tables)
    if gain:
        parts += _gain(project, tables, gain)
    return Section(title, parts)


def _used(budget: Budget, tables: Tables) -> list[Any]:
    """Return what each limit has, what the estimate uses of it, and what the day plan comes to."""
    exact = _by_day_plan(budget, tables)
    use = records(tables["budget_use"])
    parts: list[Any] = [
        Rows(
            ("limit", "there is", "used, estimate", "used [%]", "by the day plan", "unit"),
            [(limit_words(r.limit), r.amount, r.used, r.used_pct, exact.get(r.limit), r.unit) for r in use],
            (None, 1, 1, 0, 1, None),
        )
    ]
    over = [
        f"{limit_words(r.limit)}, {exact[r.limit]:,.6g} of {r.amount:,.6g} {r.unit}"
        for r in use
        if exact.get(r.limit, 0.0) > r.amount * (1 + 1e-9)
    ]
    if over:
        parts.append(
            f"The day plan needs more than the budget has: {'; '.join(over)}. The rates in [budget] promise too much: "
            "lower units_per_dive or dives_per_boat_day until the estimate agrees, and run again."
        )
    if exact:
        parts.append(
            "Dives of the day plan are of one diver each, two per dive of a pair, harvest in the nursery included."
        )
    return parts


def _by_day_plan(budget: Budget, tables: Tables) -> dict[str, float]:
    """Return what the day plan comes to per limit; empty where there is none."""
    dives, days = tables["dives"], tables["days"]
    if not len(dives):
        return {}
    sites = tables["sites"]
    units = float(dives["units"].sum())
    found = {"units": units, "dives": 2.0 * len(dives), "boat_days": float(len(days))}
    found["money"] = (
        budget.money_per_site * float(sites["chosen"].sum())
        + budget.money_per_unit * units
        + budget.money_per_dive * found["dives"]
        + budget.money_per_boat_day * found["boat_days"]
    )
    return found


def _without(project: Project, tables: Tables) -> str:
    if not tables["sites"]["chosen"].any():
        return "The plan has no [budget]. No site is chosen; section 7 says why."
    if project.settings.choose.limits:
        return "The plan has no [budget]: sites were chosen by the rules of section 7 alone."
    return "The plan has no [budget]: every site that may be planted is taken, best first."


def _alternatives(project: Project, tables: Tables) -> list[Any]:
    others = tables["alternatives"]
    if not len(others):
        return []
    budget = project.settings.budget
    alive = bool(project.settings.choose.survival)
    heads = ["plan", "sites", "instead", "without", "suitability", *(["units alive"] if alive else []), "less by [%]"]
    decimals: list[int | None] = [None, None, None, None, 1, *([1] if alive else []), 1]
    heads.append("units")
    decimals.append(0)
    if budget is not None:
        heads += ["dives", "boat days", f"money [{budget.currency}]"]
        decimals += [0, 1, 0]
    rows = []
    for r in records(others):
        row = ["chosen" if r.rank == 0 else f"next best {r.rank}", r.sites, r.added, r.dropped, r.suitability]
        row += [r.units_alive] if alive else []
        row += [r.loss_pct, r.units]
        rows.append(row + ([r.dives, r.boat_days, r.money] if budget is not None else []))
    gap = others.iloc[0]["gap_pct"]
    parts: list[Any] = [
        f"The choice is at most {gap:.2f} % below the best that these numbers allow (proven by the solver, HiGHS).",
        Rows(tuple(heads), rows, tuple(decimals), "The choice and the next-best ones, each another set of sites:"),
    ]
    if len(others) == 1:
        parts.append("No other set of sites keeps every rule.")
    return parts + _held_back(tables)


def _held_back(tables: Tables) -> list[Any]:
    """Return what holds the choice back, one limit or rule lifted at a time."""
    rows = tables["held_back"]
    if not len(rows):
        return [
            "No single limit or rule holds the plan back: where one is used in full, another stands at the same place."
        ]
    parts: list[Any] = [
        Rows(
            ("limit or rule", "the plan would give more by [%]"),
            [(rule_words(str(r.rule)), r.gain_pct) for r in records(rows)],
            (None, 1),
            "What holds the plan back, each lifted alone:",
        )
    ]
    use = tables["budget_use"]
    full = [limit_words(r.limit) for r in records(use) if r.used_pct >= _FULL_PCT and r.limit not in set(rows["rule"])]
    if full:
        parts.append(
            f"Used in full, yet not among them: {', '.join(full)}. Lifted alone it gives nothing, because another limit, "
            "such as the units wanted or in stock, stands at the same place."
        )
    return parts


def _gain(project: Project, tables: Tables, gain: str) -> list[Any]:
    curve = tables["budget_curve"]
    column, name = maximised(project.settings)
    rows = []
    for r in records(curve):
        lacking = "" if pd.isna(r.binds) else f"; what would open it if lifted: {_listed(str(r.binds))}"
        sites = r.sites if not pd.isna(r.sites) else f"nothing fits{lacking}"
        rows.append((r.share_pct, getattr(r, column), r.units, sites))
    parts: list[Any] = [
        Picture(gain, "Gain against budget; the table below has the figures"),
        Rows(
            ("share of every limit of the budget [%]", name, "units", "sites"),
            rows,
            (0, 1, 0, None),
            "The best choice if every limit of the budget were smaller or larger by the same share:",
        ),
    ]
    own = curve[curve["share_pct"] == 100.0]
    more = curve[curve["share_pct"] > 100.0]
    if len(own) and len(more) and not (more[column] > own[column].iloc[0] * (1 + 1e-6)).any():
        parts.append(
            "A larger budget alone gives nothing more: the rules, the room, or the units wanted hold the plan."
        )
    return parts


def _listed(binds: str) -> str:
    return ", ".join(" and ".join(rule_words(part) for part in one.split(" and ")) for one in binds.split("; "))


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
