"""Candidates, stock, budget, answers and rules as a problem to solve; what rules a candidate out beforehand, and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.errors import Faults
from sitekit.pipeline.bottoms import planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.plotting import plot_pattern
from sitekit.pipeline.project import Project
from sitekit.pipeline.stocks import read_stock_rows, units_to_plant, usable_units
from sitekit.pipeline.ways import Ways
from sitekit.season.settings import Settings
from sitekit.season.settings_decide import BUILT_IN_QUESTIONS, Budget
from sitekit.season.settings_method import Spacing
from sitekit.sites.allocate import ROOM_OF_SEVERAL
from sitekit.sites.cost import Costs, Rates, site_costs
from sitekit.sites.problem import Flags, Floats, Ints, Limit, Problem
from sitekit.sites.questions import Answered, Verdict, verdicts
from sitekit.sites.scout import Returned
from sitekit.sites.spread import near_outlines
from sitekit.sites.survival import beyond, share_alive

SMALL = 500  # up to so many candidates the best possible choice is found; above, one within GAP_PCT of it
GAP_PCT = 0.5
UNITS = {"units": "units", "dives": "dives", "boat_days": "days"}


@dataclass(frozen=True)
class Weighed:
    """The candidates as the choice sees them, in the order of the table `candidates`.

    Parameters
    ----------
    species : list of str
        Columns of the arrays.
    problem : Problem
        Ready to solve.
    costs : Costs
        Of each candidate.
    against : list of str or None
        Why a candidate cannot be chosen; None where nothing speaks against it.
    depth_difference_m : ndarray
        Mean depth less the nursery's; NaN where that is not given.
    score, match : ndarray, shape (n, s)
        Mean score where a species passes, and the depth match; their product is the problem's value, unless the plan
        brings a survival curve.
    survival : ndarray, shape (n, s), or None
        Share of units alive by the plan's curve: then the problem's value.
    beyond : ndarray of bool, shape (n, s)
        Where that share is taken from outside the points of the curve.
    verdicts : dict of str to Verdict
        By site code; empty where no question is asked.
    gap_pct : float
        To solve to.
    open_to_all : Problem or None
        The problem with candidates without a site code let in; None where they are in already.
    """

    species: list[str]
    problem: Problem
    costs: Costs
    against: list[str | None]
    depth_difference_m: Floats
    score: Floats
    match: Floats
    survival: Floats | None
    beyond: Flags
    verdicts: dict[str, Verdict]
    gap_pct: float
    open_to_all: Problem | None


def weigh(
    project: Project, ground: Ground, tables: Mapping[str, pd.DataFrame], ways: Ways, forms: list[Returned]
) -> Weighed:
    """Return the problem of a plan.

    Raises
    ------
    InputFault
        Naming every site of `force_in` that a rule speaks against.
    """
    settings = project.settings
    candidates = tables["candidates"]
    codes = [s.code for s in settings.species]
    n = len(candidates)
    score, capacity, separate = _offers(tables, codes)
    difference = _depth_difference(settings, candidates)
    match = _depth_match(settings, difference)
    survival, outside = _survival(settings, candidates, score)
    stock, genets = _stock(project, codes, capacity)
    costs = site_costs(_rates(settings.budget), ways.harbour_m)
    answered = _verdicts(settings)
    most = _most(settings, candidates, answered, capacity)
    facts = (project, candidates, ways, forms, answered, difference, capacity, costs)
    against = _against(*facts, only_coded=settings.choose.only_coded)
    sites = [None if pd.isna(s) else str(s) for s in candidates["site"]]
    choose = settings.choose
    forced_in = np.array([s in choose.force_in for s in sites], bool)
    with Faults() as faults:
        for code in choose.force_in:
            if code not in sites:
                faults.add(f"choose.force_in {code}", "lies in no candidate", "a site that passes", "Move or drop it.")
        for i in np.flatnonzero(forced_in):
            if against[i] is not None:
                faults.add(
                    f"choose.force_in {sites[i]}", f"cannot be taken: {against[i]}", "a site that keeps every rule",
                    "Drop it from force_in, or change the rule.",
                )  # fmt: skip
    problem = Problem(
        value=np.nan_to_num(score * match if survival is None else survival),
        capacity=capacity,
        # whole plots are rounded up already
        room=np.where(separate | (settings.spacing.mode == "plots"), 1.0, ROOM_OF_SEVERAL),
        stock=stock,
        least=np.full(n, choose.least_per_site, np.int64),
        most=most,
        pairs=near_outlines(list(candidates.geometry), choose.least_distance_m),
        limits=_limits(settings.budget, costs, len(codes), n),
        forced_in=forced_in,
        forced_out=np.array([a is not None for a in against], bool),
        least_sites=choose.least_sites,
        most_sites=choose.most_sites or n,
        genets=genets,
        genet_sites=choose.genet_sites,
        slots=np.array([_slots(project, ground, code) for code in codes], np.int64),
    )
    gap = choose.gap_pct if choose.gap_pct is not None else (0.0 if n <= SMALL else GAP_PCT)
    open_to_all = None
    if choose.only_coded and any(s is not None for s in sites):
        others = np.array([a is not None for a in _against(*facts, only_coded=False)], bool)
        open_to_all = replace(problem, forced_out=others)
    return Weighed(
        codes, problem, costs, against, difference, score, match, survival, outside, answered, gap, open_to_all
    )


def gains(weighed: Weighed, units: Ints) -> dict[str, Floats]:
    """Return what units, shape (n, s), give at each candidate, whatever is maximised: suitability, and units alive.

    `units_alive` stands there only where the plan brings a survival curve.
    """
    found = {"suitability": (np.nan_to_num(weighed.score * weighed.match) * units).sum(axis=1)}
    if weighed.survival is not None:
        found["units_alive"] = (np.nan_to_num(weighed.survival) * units).sum(axis=1)
    return found


def asked_questions(settings: Settings) -> dict[str, str]:
    """Return the questions asked of every site: key -> in words."""
    return {**BUILT_IN_QUESTIONS, **settings.choose.own_questions}


def given_answers(settings: Settings) -> list[Answered]:
    """Return the answers of the plan."""
    return [
        Answered(site, q.about, q.answer, q.note or "", q.who, q.when.isoformat())
        for q in settings.question
        for site in q.sites
    ]


def _verdicts(settings: Settings) -> dict[str, Verdict]:
    if not settings.question and settings.choose.pilot_units is None:
        return {}
    return verdicts([s.code for s in settings.site], asked_questions(settings), given_answers(settings))


def _offers(tables: Mapping[str, pd.DataFrame], codes: list[str]) -> tuple[Floats, Ints, Flags]:
    """Return mean scores, capacities, and where only one species fits, per candidate and species."""
    candidates = tables["candidates"]
    row = {str(c): i for i, c in enumerate(candidates["candidate"])}
    score = np.zeros((len(candidates), len(codes)))
    capacity = np.zeros((len(candidates), len(codes)), np.int64)
    offers: list[Any] = list(tables["candidate_species"].itertuples())
    for offer in offers:
        i, k = row[str(offer.candidate)], codes.index(str(offer.species))
        score[i, k] = offer.score_mean
        capacity[i, k] = 0 if pd.isna(offer.capacity) else int(offer.capacity)
    return score, capacity, (capacity > 0).sum(axis=1) <= 1


def _depth_difference(settings: Settings, candidates: pd.DataFrame) -> Floats:
    nursery = settings.nursery
    if nursery is None or nursery.depth_m is None:
        return np.full(len(candidates), np.nan)
    return candidates["depth_mean_m"].to_numpy(np.float64) - nursery.depth_m


def _depth_match(settings: Settings, difference: Floats) -> Floats:
    """Return 1 at the nursery's depth, falling in a line to 0 at `depth_fall_off_m`; 1 where that is not set.

    "Site depth similar to nursery depth", no number given: Johnson et al. 2011 [source key: johnson-2011-siting].
    """
    fall = settings.choose.depth_fall_off_m
    if fall is None:
        return np.ones((difference.size, 1))
    return np.nan_to_num(np.clip(1.0 - np.abs(difference) / fall, 0.0, 1.0), nan=1.0)[:, None]


def _survival(settings: Settings, candidates: pd.DataFrame, score: Floats) -> tuple[Floats | None, Flags]:
    """Return the share alive per candidate and species by the plan's curves, and where it lies outside their points."""
    outside = np.zeros(score.shape, bool)
    if not settings.choose.survival:
        return None, outside
    found = np.zeros(score.shape)
    for k, species in enumerate(settings.species):
        curve = settings.choose.survival[species.code]
        value = score[:, k] if curve.of == "score" else candidates["depth_mean_m"].to_numpy(np.float64)
        found[:, k] = share_alive(curve.points, value)
        outside[:, k] = beyond(curve.points, value)
    return found, outside


def _stock(project: Project, codes: list[str], capacity: Ints) -> tuple[Ints, Ints]:
    if project.settings.spacing.mode == "fill":
        return capacity.sum(axis=0), np.ones(len(codes), np.int64)
    units = usable_units(project, read_stock_rows(project))
    plant = units_to_plant(project, units)
    genets = [sum(n > 0 for (species, _), n in units.items() if species == code) for code in codes]
    return np.array([plant[c] for c in codes], np.int64), np.array(genets, np.int64)


def _slots(project: Project, ground: Ground, code: str) -> int:
    """Return the units of a full plot, 0 in modes without plots."""
    if project.settings.spacing.mode != "plots":
        return 0
    return int(plot_pattern(project, planned_separation(project, ground, code)).along_m.size)


def _rates(budget: Budget | None) -> Rates:
    if budget is None:
        return Rates()
    return Rates(
        budget.units_per_dive or math.inf,
        budget.dives_per_site,
        budget.dives_per_boat_day or math.inf,
        budget.boat_hours_per_day,
        budget.boat_speed_kn,
        budget.money_per_site,
        budget.money_per_unit,
        budget.money_per_dive,
        budget.money_per_boat_day,
    )


def _limits(budget: Budget | None, costs: Costs, species: int, n: int) -> tuple[Limit, ...]:
    if budget is None:
        return ()
    parts = {
        "units": (np.zeros(n), np.ones(n)),
        "dives": (costs.dives_per_site, costs.dives_per_unit),
        "boat_days": (costs.boat_days_per_site, costs.boat_days_per_unit),
        "money": (costs.money_per_site, costs.money_per_unit),
    }
    found = []
    for name, (site, unit) in parts.items():
        amount = getattr(budget, name)
        if amount is not None:
            # sites out of a boat's reach are ruled out elsewhere; a row needs finite numbers
            site, unit = np.nan_to_num(site, posinf=0.0), np.nan_to_num(unit, posinf=0.0)
            found.append(Limit(name, float(amount), site, np.repeat(unit[:, None], species, axis=1)))
    return tuple(found)


def _most(settings: Settings, candidates: pd.DataFrame, answered: dict[str, Verdict], capacity: Ints) -> Ints:
    choose = settings.choose
    most = capacity.sum(axis=1)
    if choose.most_per_site is not None:
        most = np.minimum(most, choose.most_per_site)
    pilot = np.array([s in answered and answered[s].verdict == "pilot" for s in candidates["site"]], bool)
    if choose.pilot_units is not None:
        most = np.where(pilot, np.minimum(most, choose.pilot_units), most)
    return np.asarray(most, np.int64)


def _against(
    project: Project,
    candidates: pd.DataFrame,
    ways: Ways,
    forms: list[Returned],
    answered: dict[str, Verdict],
    difference: Floats,
    capacity: Ints,
    costs: Costs,
    *,
    only_coded: bool,
) -> list[str | None]:
    """Return the first thing that speaks against each candidate, None where nothing does."""
    choose = project.settings.choose
    any_coded = bool(candidates["site"].notna().any())
    looked = {f.site: f for f in forms if f.known}
    budget = project.settings.budget
    travels = budget is not None and (budget.boat_days is not None or budget.money_per_boat_day > 0)
    found: list[str | None] = []
    records: list[Any] = list(candidates.itertuples())
    for i, row in enumerate(records):
        site = None if pd.isna(row.site) else str(row.site)
        said: str | None = None
        if row.scout:
            said = f"area to scout: {row.note}"
        elif only_coded and any_coded and site is None:
            said = "no site code: only coded sites are open to the choice (choose.only_coded)"
        elif site in choose.force_out:
            said = "left out by the plan (choose.force_out)"
        elif site in answered and answered[site].verdict == "no":
            said = answered[site].reason
        elif site in looked and looked[site].go == "no-go":
            said = f"no-go when scouted on {looked[site].date} by {looked[site].observer}" + _remark(looked[site])
        elif capacity[i].sum() == 0:
            said = _no_room(project.settings.spacing)
        else:
            said = _too_far(choose, ways, difference, i)
            if said is None and travels and not np.isfinite(costs.boat_days_per_unit[i]):
                said = "travel alone fills a boat day, or no water leads there"
        found.append(said)
    return found


def _no_room(spacing: Spacing) -> str:
    """Return why a candidate without capacity holds nothing: in plots it is the plot that finds no place."""
    if spacing.mode != "plots":
        return "no unit fits at the planned separation"
    return (
        f"no {spacing.plot.said} fits: {100 * spacing.plot.allowed_share:g} % of it must be passing bottom, clear of living "
        "colonies (spacing.plot, spacing.clearance_m)"
    )


def _remark(form: Returned) -> str:
    return f": {form.words['note']}" if "note" in form.words else ""


def _too_far(choose: Any, ways: Ways, difference: NDArray[np.float64], i: int) -> str | None:
    limits = [
        (abs(difference[i]), choose.greatest_depth_difference_m, "m from the nursery's depth"),
        (ways.wild_m[i], choose.greatest_to_wild_m, "m from the nearest wild colony"),
        (ways.nursery_m[i], choose.greatest_to_nursery_m, "m by sea from the nursery"),
        (ways.harbour_m[i], choose.greatest_to_harbour_m, "m by sea from the harbour"),
    ]
    for value, most, what in limits:
        if most is None:
            continue
        if np.isnan(value):
            return f"distance not known: {what.removeprefix('m ')}; at most {most:g} m is asked for"
        if value > most:
            return (
                f"{value:.4g} {what}, more than {most:g} m"
                if np.isfinite(value)
                else f"no water leads there ({what[2:]})"
            )
    if choose.least_to_wild_m > 0 and ways.wild_m[i] < choose.least_to_wild_m:
        return f"{ways.wild_m[i]:.4g} m from the nearest wild colony, less than {choose.least_to_wild_m:g} m"
    return None
