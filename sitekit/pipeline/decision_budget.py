"""Section of the decision record about the budget: what is used, next-best choices, what holds back, gain."""

from __future__ import annotations

from functools import reduce
from typing import Any

import pandas as pd

from sitekit.base.wording import retell, say
from sitekit.outputs.decision import Picture, Rows, Section, heads
from sitekit.pipeline.decision_method import Tables, maximised, records
from sitekit.pipeline.project import Project
from sitekit.season.settings_decide import Budget
from sitekit.sites.cost import published_ranges

_FULL_PCT = 99.5  # from so much on a limit counts as used in full

_RULES = {
    "least_per_site": "record.b_least_per_site",
    "most_per_site or pilot_units": "record.b_most_per_site",
    "least_sites": "record.b_least_sites",
    "most_sites": "record.b_most_sites",
    "least_distance_m": "record.b_distance",
    "genet_sites": "record.b_genet",
    "force_in": "record.b_force_in",
    "only_coded": "record.b_only_coded",
    "stock": "record.b_stock",
    "units": "record.b_units",
    "dives": "record.b_dives",
    "boat_days": "record.b_boat_days",
    "money": "record.b_money",
}


def limit_words(name: str) -> str:
    """Return a limit of the budget in words."""
    return say(f"record.limit_{name}")


def rule_words(rule: str) -> str:
    """Return a limit or rule of the choice in words."""
    return say(_RULES[rule]) if rule in _RULES else retell(rule)


def budget_section(project: Project, tables: Tables, gain: str | None) -> Section:
    """Return the budget with what is published beside it, the next-best choices, and gain against budget."""
    budget = project.settings.budget
    title = say("record.budget")
    parts: list[Any] = []
    if budget is None:
        if not len(tables["alternatives"]):
            return Section(title, [_without(project, tables)])
        parts.append(_without(project, tables))
    else:
        parts += [
            say("record.linear"),
            *_used(budget, tables),
            Rows(
                heads("published", "value", "unit", "context", "source"),
                [(r["quantity"], r["value"], r["unit"], r["context"], r["source"]) for r in published_ranges()],
                (None,) * 5,
                say("record.beside_rates", rates=_rates(project)),
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
            heads("limit", "there_is", "used", "used_pct", "day_plan", "unit"),
            [(limit_words(r.limit), r.amount, r.used, r.used_pct, exact.get(r.limit), _unit(r.unit)) for r in use],
            (None, 1, 1, 0, 1, None),
        )
    ]
    over = [
        say(
            "record.over_one",
            limit=limit_words(r.limit),
            used=f"{exact[r.limit]:,.6g}",
            amount=f"{r.amount:,.6g}",
            unit=_unit(r.unit),
        )
        for r in use
        if exact.get(r.limit, 0.0) > r.amount * (1 + 1e-9)
    ]
    if over:
        parts.append(say("record.over", limits="; ".join(over)))
    if exact:
        parts.append(say("record.dives_each"))
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
        return say("record.without_none")
    if project.settings.choose.limits:
        return say("record.without_rules")
    return say("record.without")


def _alternatives(project: Project, tables: Tables) -> list[Any]:
    others = tables["alternatives"]
    if not len(others):
        return []
    budget = project.settings.budget
    alive = bool(project.settings.choose.survival)
    titles = list(
        heads("plan", "sites", "instead", "without", "suitability", *(["alive"] if alive else []), "less", "units")
    )
    decimals: list[int | None] = [None, None, None, None, 1, *([1] if alive else []), 1]
    decimals.append(0)
    if budget is not None:
        titles += [*heads("dives", "boat_days"), *heads("money", currency=budget.currency)]
        decimals += [0, 1, 0]
    rows = []
    for r in records(others):
        row = [
            say("record.plan_chosen") if r.rank == 0 else say("record.plan_next", rank=r.rank),
            r.sites,
            r.added,
            r.dropped,
            r.suitability,
        ]
        row += [r.units_alive] if alive else []
        row += [r.loss_pct, r.units]
        rows.append(row + ([r.dives, r.boat_days, r.money] if budget is not None else []))
    gap = others.iloc[0]["gap_pct"]
    parts: list[Any] = [
        say("record.gap", gap=f"{gap:.2f}"),
        Rows(tuple(titles), rows, tuple(decimals), say("record.next_best")),
    ]
    if len(others) == 1:
        parts.append(say("record.no_other"))
    return parts + _held_back(tables)


def _held_back(tables: Tables) -> list[Any]:
    """Return what holds the choice back, one limit or rule lifted at a time."""
    rows = tables["held_back"]
    if not len(rows):
        return [say("record.nothing_holds")]
    parts: list[Any] = [
        Rows(
            heads("rule", "gain"),
            [(rule_words(str(r.rule)), r.gain_pct) for r in records(rows)],
            (None, 1),
            say("record.holds_back"),
        )
    ]
    use = tables["budget_use"]
    full = [limit_words(r.limit) for r in records(use) if r.used_pct >= _FULL_PCT and r.limit not in set(rows["rule"])]
    if full:
        parts.append(say("record.used_full", limits=", ".join(full)))
    return parts


def _gain(project: Project, tables: Tables, gain: str) -> list[Any]:
    curve = tables["budget_curve"]
    column, name = maximised(project.settings)
    rows = []
    for r in records(curve):
        lacking = say("record.nothing_fits") if pd.isna(r.binds) else say("record.opens", rules=_listed(str(r.binds)))
        sites = r.sites if not pd.isna(r.sites) else lacking
        rows.append((r.share_pct, getattr(r, column), r.units, sites))
    parts: list[Any] = [
        Picture(gain, say("record.gain_picture")),
        Rows(
            (*heads("share"), name, *heads("units", "sites")),
            rows,
            (0, 1, 0, None),
            say("record.shares"),
        ),
    ]
    own = curve[curve["share_pct"] == 100.0]
    more = curve[curve["share_pct"] > 100.0]
    if len(own) and len(more) and not (more[column] > own[column].iloc[0] * (1 + 1e-6)).any():
        parts.append(say("record.no_more"))
    return parts


def _listed(binds: str) -> str:
    found = []
    for one in binds.split("; "):
        parts = [rule_words(part) for part in one.split(" and ")]
        found.append(reduce(lambda a, b: say("record.and", one=a, other=b), parts))
    return ", ".join(found)


def _unit(name: str) -> str:
    """Unit of a limit; a currency stands as it is."""
    known = {"units": "record.limit_units", "dives": "record.limit_dives", "days": "record.unit_days"}
    return say(known[name]) if name in known else name


def _rates(project: Project) -> str:
    b = project.settings.budget
    if b is None:
        return say("record.no_rates")
    said = [say("record.rate_dive", number=f"{b.units_per_dive:g}")] if b.units_per_dive else []
    said += [say("record.rate_site", number=f"{b.dives_per_site:g}")] if b.dives_per_site else []
    said += [say("record.rate_boat", number=f"{b.dives_per_boat_day:g}")] if b.dives_per_boat_day else []
    if b.boat_speed_kn:
        said.append(say("record.rate_hours", hours=f"{b.boat_hours_per_day:g}", speed=f"{b.boat_speed_kn:g}"))
    for key in ("site", "unit", "dive", "boat_day"):
        price = getattr(b, f"money_per_{key}")
        said += [say(f"record.price_{key}", price=f"{b.currency} {price:g}")] if price else []
    return ", ".join(said) or say("record.no_rates")
