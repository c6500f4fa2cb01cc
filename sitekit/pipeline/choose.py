"""Stage: which sites to work at: the best the budget allows, or without budget and limits all coded sites, best first."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from sitekit.base.files import write_json
from sitekit.base.tables import build
from sitekit.errors import Fault, InputFault
from sitekit.pipeline.control_areas import control_areas
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.given import given_sites
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.scout import applied, returned_forms
from sitekit.pipeline.site_rows import behind_the_choice, lost_sites, scouting_rows, site_rows
from sitekit.pipeline.ways import WAYS_FILE, ways_of
from sitekit.pipeline.weighing import Weighed, gains, weigh
from sitekit.sites.alternatives import binding, clashes, if_decided
from sitekit.sites.choose import choose
from sitekit.sites.problem import Choice

BEHIND = ("site_species", "alternatives", "budget_use", "budget_curve", "held_back")  # tables of a solved choice
_MANY = "more than two limits together"
_TRIED = 30  # sites looked at one by one for what leaving out or taking them costs


def run(project: Project, run_id: str) -> Done:
    """Write the table `sites` and what stands behind it: alternatives, budget, gain, control areas, scouting."""
    settings = project.settings
    ground = read_ground(project)
    crs = ground.grid.crs
    tables = project.season()
    for own in BEHIND:  # of an earlier run
        tables[own] = build(own, [])
    candidates = tables["candidates"]
    forms = returned_forms(project)
    ways = ways_of(project, ground, list(candidates.geometry))
    weighed = weigh(project, ground, tables, ways, forms)
    solved = settings.budget is not None or settings.choose.limits
    edited = given_sites(project, candidates)
    names = [str(c) if pd.isna(s) else str(s) for s, c in zip(candidates["site"], candidates["candidate"], strict=True)]
    shortfalls: list[Fault] = []
    figures: dict[str, Any] = {"ways": list(ways.notes), "solved": solved, "edited": edited is not None}
    if edited is not None:
        choice, reasons, tried = _edited(weighed, edited, names)
    elif solved:
        _refuse_clashes(weighed, names)
        choice = choose(weighed.problem, gap_pct=weighed.gap_pct)
        reasons, tried, lacking = _reasons(weighed, choice, names)
        if lacking:
            shortfalls.append(_nothing(lacking))
        figures |= {"gap_pct": round(choice.gap_pct, 3) if choice.feasible else None}
        figures |= {name: float(each.sum()) for name, each in gains(weighed, choice.units).items()}
    else:
        choice, reasons, tried = _best_first(weighed, candidates)
    rows, points = site_rows(
        project, candidates, weighed, ways, forms, choice, reasons, tried, names, with_units=solved and edited is None
    )
    lost, lost_points = lost_sites(project, candidates, crs, forms)
    tables["sites"] = build("sites", rows + lost, points + lost_points, crs)
    if solved and edited is None and choice.feasible and choice.taken.any():
        tables |= behind_the_choice(project, weighed, choice, names)
    tables["scouting"] = build("scouting", scouting_rows(forms, applied(project)))
    tables["control_areas"], missing = control_areas(project, ground, tables)
    shortfalls += missing
    keep = ("candidates", "candidate_species", "candidate_ranks", "influence", "place_scores", "sites", "site_species",
            "alternatives", "budget_use", "budget_curve", "held_back", "scouting", "control_areas")  # fmt: skip
    project.write_season({n: tables[n] for n in keep}, crs)
    everything = rows + lost
    figures |= {
        "chosen": [r["site"] for r in everything if r["chosen"]],
        "rejected": sum(not r["chosen"] for r in everything),
        "unscouted": [r["site"] for r in everything if r["chosen"] and not r["scouted"]],
        "pilots": [r["site"] for r in everything if r["chosen"] and r["verdict"] == "pilot"],
        "unknown_forms": [f.site or "(no code)" for f in forms if not f.known],
        "no_answers": not weighed.verdicts,
        "unanswered": {s: list(v.unanswered) for s, v in weighed.verdicts.items() if v.unanswered},
    }
    write_json(project.target(WAYS_FILE), list(ways.notes))
    return Done(["season.gpkg", WAYS_FILE], figures, shortfalls)


def _best_first(weighed: Weighed, candidates: pd.DataFrame) -> tuple[Choice, list[str], dict[int, float]]:
    any_coded = bool(candidates["site"].notna().any())
    said = "all candidates, best first" if not any_coded else "coded site, best first"
    taken = np.array([a is None for a in weighed.against], bool)
    none = Choice(taken, np.zeros(weighed.problem.value.shape, np.int64), 0.0, 0.0, True)
    return none, [a or said for a in weighed.against], {}


def _edited(
    weighed: Weighed, edited: dict[str, tuple[bool, str]], names: list[str]
) -> tuple[Choice, list[str], dict[int, float]]:
    """Return the choice that a person made; sites that a rule speaks against are refused."""
    taken = np.array([edited.get(n, (False, ""))[0] for n in names], bool)
    wrong = [
        Fault("sites.from", f"{names[i]} is chosen", f"a site that keeps every rule; {weighed.against[i]}",
              "Set chosen to false, or change the rule in plan.toml.")
        for i in np.flatnonzero(taken)
        if weighed.against[i] is not None
    ]  # fmt: skip
    if wrong:
        raise InputFault(*wrong)
    reasons = [edited[n][1] if n in edited else "not in the edited sites" for n in names]
    return Choice(taken, np.zeros(weighed.problem.value.shape, np.int64), 0.0, 0.0, True), reasons, {}


def _refuse_clashes(weighed: Weighed, names: list[str]) -> None:
    wrong = [
        Fault("choose.force_in", f"{names[i]} and {names[j]} lie nearer than choose.least_distance_m",
              "forced sites that keep the rule", "Drop one, or lower the distance.")
        for i, j in clashes(weighed.problem)
    ]  # fmt: skip
    if wrong:
        raise InputFault(*wrong)


def _reasons(weighed: Weighed, choice: Choice, names: list[str]) -> tuple[list[str], dict[int, float], list[str]]:
    """Return why each candidate was taken or not, what the plan loses without it or with it [%], and what binds."""
    p = weighed.problem
    reasons: list[str] = [a or "" for a in weighed.against]
    tried: dict[int, float] = {}
    free = [i for i, a in enumerate(weighed.against) if a is None]
    if not choice.feasible or not choice.taken.any():
        lacking = binding(p) or [_MANY]
        for i in free:
            reasons[i] = "the limits and rules allow no plan; what would open one if lifted: " + ", ".join(lacking)
        return reasons, tried, lacking
    few = len(free) <= _TRIED
    for i in free:
        if choice.taken[i]:
            share = 100.0 * float((p.value[i] * choice.units[i]).sum()) / choice.value if choice.value else 0.0
            of = "summed suitability" if weighed.survival is None else "units alive"
            reasons[i] = f"chosen: {int(choice.units[i].sum())} units, {share:.1f} % of the {of}"
            if p.forced_in[i]:
                reasons[i] += "; forced in by the plan"
            elif few:
                other = if_decided(p, i, taken=False, gap_pct=weighed.gap_pct)
                if other.feasible and other.taken.any():
                    tried[i] = 100.0 * max(choice.value - other.value, 0.0) / choice.value
                    reasons[i] += f"; without it the best plan gives {tried[i]:.1f} % less"
                else:
                    reasons[i] += "; no plan keeps every rule without it"
        elif few:
            other = if_decided(p, i, taken=True, gap_pct=weighed.gap_pct)
            loss = 100.0 * max(choice.value - other.value, 0.0) / choice.value
            reasons[i] = (
                f"not chosen: taking it would give {loss:.1f} % less" if other.feasible
                else "not chosen: with it some limit or rule breaks"
            ) + _near(p.pairs, i, choice, names)  # fmt: skip
        else:
            reasons[i] = "not chosen: others give more within the limits" + _near(p.pairs, i, choice, names)
    return reasons, tried, []


def _near(pairs: Any, i: int, choice: Choice, names: list[str]) -> str:
    near = [names[int(b if a == i else a)] for a, b in pairs if i in (a, b) and choice.taken[b if a == i else a]]
    return f"; too near {', '.join(near)}" if near else ""


def _nothing(lacking: list[str]) -> Fault:
    return Fault(
        "choose",
        "the limits allow no site",
        "a budget and rules that some site keeps",
        f"Each of these alone, if lifted, would allow a plan: {', '.join(lacking)}."
        if lacking != [_MANY]
        else "No one or two limits are to blame: raise several.",
    )
