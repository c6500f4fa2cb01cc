"""Rows of the table `sites` and of the tables that stand behind a choice."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd

from sitekit.base.tables import build
from sitekit.pipeline.places import nearest_said, site_places
from sitekit.pipeline.project import Project
from sitekit.pipeline.ways import Ways
from sitekit.pipeline.weighing import UNITS, Weighed, gains
from sitekit.sites.alternatives import (
    SHARES,
    Step,
    at_share,
    binding,
    changed,
    gain_against_budget,
    held_back,
    next_best,
)
from sitekit.sites.problem import Choice, Problem
from sitekit.sites.scout import Returned

_MANY = 2000  # candidates above which gain against budget is asked at three shares only


def site_rows(
    project: Project, candidates: pd.DataFrame, weighed: Weighed, ways: Ways, forms: list[Returned], choice: Choice,
    reasons: list[str], tried: dict[int, float], names: list[str], *, with_units: bool,
) -> tuple[list[dict[str, Any]], list[Any]]:  # fmt: skip
    """Return a row of `sites` and a point per candidate, in the order of the candidates."""
    label = {s.code: s.name for s in project.settings.site}
    looked = {f.site: f for f in forms if f.known}
    p, costs = weighed.problem, weighed.costs
    rows: list[dict[str, Any]] = []
    points = []
    records: list[Any] = list(candidates.itertuples())
    priced = project.settings.budget is not None
    gain = gains(weighed, choice.units)
    for i, record in enumerate(records):
        coded = not pd.isna(record.site)
        verdict = weighed.verdicts.get(names[i])
        units = int(choice.units[i].sum()) if with_units and choice.taken[i] else None
        capped = p.most[i] < weighed.problem.capacity[i].sum()
        row = {
            "site": names[i],
            "coded": coded,
            "candidate": record.candidate,
            "name": label.get(names[i]) if coded else record.nearest_name,
            "rank": i + 1,
            "chosen": bool(choice.taken[i]),
            "reason": reasons[i] + (f"; {verdict.reason}" if verdict and verdict.verdict == "pilot" else ""),
            "answers": json.dumps(_answers(verdict), ensure_ascii=False, sort_keys=True),
            "verdict": verdict.verdict if verdict else None,
            "most_units": int(p.most[i]) if capped and choice.taken[i] else None,
            "without_pct": tried.get(i),
            "depth_difference_m": weighed.depth_difference_m[i],
            "wild_m": ways.wild_m[i],
            "nursery_m": ways.nursery_m[i],
            "harbour_m": ways.harbour_m[i],
            **_seen(looked.get(names[i])),
        }
        if units is not None:
            row |= {"units": units, **{name: float(each[i]) for name, each in gain.items()}}
            if priced:
                row |= {
                    "dives": float(costs.dives_per_site[i] + units * costs.dives_per_unit[i]),
                    "boat_days": float(costs.boat_days_per_site[i] + units * costs.boat_days_per_unit[i]),
                    "money": float(costs.money_per_site[i] + units * costs.money_per_unit[i]),
                }
        rows.append(row)
        points.append(record.geometry.representative_point())
    return rows, points


def _answers(verdict: Any) -> dict[str, Any]:
    if verdict is None:
        return {}
    return {a.about: {"answer": a.answer, "note": a.note, "who": a.who, "when": a.when} for a in verdict.answers}


def _seen(form: Returned | None) -> dict[str, Any]:
    if form is None:
        return {"scouted": False}
    return {"scouted": True, "scouted_on": form.date, "observer": form.observer}


def lost_sites(
    project: Project, candidates: pd.DataFrame, crs: Any, forms: list[Returned]
) -> tuple[list[dict[str, Any]], list[Any]]:
    """Return rows of sites that lie in no candidate."""
    matched = set(candidates["site"].dropna())
    looked = {f.site: f for f in forms if f.known}
    names = {s.code: s.name for s in project.settings.site}
    outlines, labels = list(candidates.geometry), candidates["candidate"].map(str).tolist()
    rows, points = [], []
    for site in site_places(project, crs):
        if site.code not in matched:
            rows.append(
                {
                    "site": site.code,
                    "coded": True,
                    "name": names.get(site.code),
                    "chosen": False,
                    "reason": "lies in no candidate; " + nearest_said(site, outlines, labels, crs),
                    "answers": json.dumps({}),
                    "verdict": None,
                    **_seen(looked.get(site.code)),
                }
            )
            points.append(site.place.representative_point())
    return rows, points


def behind_the_choice(project: Project, weighed: Weighed, choice: Choice, names: list[str]) -> dict[str, pd.DataFrame]:
    """Return the tables that stand behind a choice."""
    p, gap = weighed.problem, weighed.gap_pct

    def told(c: Choice) -> dict[str, Any]:
        return {
            "sites": " ".join(names[i] for i in np.flatnonzero(c.taken)) or None,
            **{name: float(each.sum()) for name, each in gains(weighed, c.units).items()},
            "units": int(c.units.sum()),
            "gap_pct": c.gap_pct if c.feasible else None,
        }

    others = [choice, *next_best(p, choice, project.settings.choose.alternatives, gap_pct=gap)]
    alternatives = []
    for rank, one in enumerate(others):
        added, dropped = changed(choice.taken, one.taken)
        alternatives.append(
            {
                "rank": rank,
                **told(one),
                "added": " ".join(names[i] for i in added) or None,
                "dropped": " ".join(names[i] for i in dropped) or None,
                "loss_pct": 100.0 * max(choice.value - one.value, 0.0) / choice.value if choice.value else 0.0,
                **_totals(weighed, one, priced=project.settings.budget is not None),
            }
        )
    site_species = [
        {
            "site": names[i],
            "species": code,
            "score_mean": weighed.score[i, k],
            "depth_match": float(weighed.match[i, 0]),
            "survival": None if weighed.survival is None else float(weighed.survival[i, k]),
            "beyond": bool(weighed.beyond[i, k]),
            "capacity": int(p.capacity[i, k]),
            "units": int(choice.units[i, k]),
        }
        for i in np.flatnonzero(choice.taken)
        for k, code in enumerate(weighed.species)
        if choice.units[i, k] > 0
    ]
    found = {
        "alternatives": build("alternatives", alternatives),
        "site_species": build("site_species", site_species),
    }
    if len(p.most) <= _MANY:
        held = held_back(p, choice, [("only_coded", weighed.open_to_all)] if weighed.open_to_all else (), gap_pct=gap)
        found["held_back"] = build("held_back", [{"rule": name, "gain_pct": more} for name, more in held])
    budget = project.settings.budget
    if budget is not None:
        use = []
        for limit in p.limits:
            used = limit.used(choice.taken, choice.units)
            unit = UNITS.get(limit.name, budget.currency)
            use.append(
                {
                    "limit": limit.name,
                    "unit": unit,
                    "amount": limit.amount,
                    "used": used,
                    "used_pct": 100 * used / limit.amount,
                }
            )
        steps = gain_against_budget(p, choice, SHARES if len(p.most) <= _MANY else (0.5, 1.0, 2.0), gap_pct=gap)
        found["budget_use"] = build("budget_use", use)
        found["budget_curve"] = build(
            "budget_curve", [{"share_pct": 100.0 * s.share, **told(s.choice), "binds": _binds(p, s)} for s in steps]
        )
    return found


def _binds(problem: Problem, step: Step) -> str | None:
    """Return what keeps a share of the budget from allowing anything; None where it allows something."""
    if step.choice.taken.any():
        return None
    return "; ".join(binding(at_share(problem, step.share))) or "more than two limits together"


def _totals(weighed: Weighed, c: Choice, *, priced: bool) -> dict[str, float]:
    if not priced:
        return {}
    costs, units = weighed.costs, c.units.sum(axis=1)
    t = c.taken
    return {
        "dives": float((costs.dives_per_site[t] + units[t] * costs.dives_per_unit[t]).sum()),
        "boat_days": float((costs.boat_days_per_site[t] + units[t] * costs.boat_days_per_unit[t]).sum()),
        "money": float((costs.money_per_site[t] + units[t] * costs.money_per_unit[t]).sum()),
    }


def scouting_rows(forms: list[Returned], what: dict[int, str]) -> list[dict[str, Any]]:
    """Return the rows of the table `scouting`; `what` tells by line what a form changed."""
    return [
        {
            "line": f.line,
            "site": f.site or None,
            "known": f.known,
            "date": f.date,
            "observer": f.observer,
            "longitude_deg": f.longitude_deg,
            "latitude_deg": f.latitude_deg,
            "depth_m": f.depth_m,
            "depth_time": f.depth_time or None,
            "tide_m": f.tide_m,
            "charted_depth_m": f.charted_depth_m,
            "bottom": "; ".join(f"{k} {v}" for k, v in f.bottom.items()) or None,
            "macroalgae_pct": f.macroalgae_pct,
            **{k: f.words.get(k) for k in ("predators", "disease", "current", "surge", "anchoring", "photos", "note")},
            "go": f.go,
            "changed": what.get(f.line) or ("nothing: no such site code in the plan" if not f.known else "nothing"),
        }
        for f in forms
    ]
