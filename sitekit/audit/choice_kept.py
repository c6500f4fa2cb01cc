"""Whether the choice of sites keeps what the plan asks for: budget, numbers, distances, genets, forced sites.

What each site uses is worked out again from the rates in plan.toml, the units in the season and the written way to the
harbour; distances between sites from the written outlines.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.audit.promises import Finding, judged, not_looked_at
from sitekit.audit.written import Written
from sitekit.season.settings import Settings

BUDGET = "the choice keeps every limit of the budget"
PER_SITE = "no chosen site has fewer or more units than the rules allow"
SITES = "as many sites are chosen as the rules allow, forced ones in or out, none that the plan shuts"
APART = "chosen sites stand the least distance apart"
NEAR = "chosen sites keep the limits of depth and distance"
GENETS = "each genet stands at as many sites as asked for"
HANDED = "no site is handed more of a species than was chosen for it"
SUMS = "the sums of the choice are those of its sites, and no other choice told beats it"
SEASON = "out/season.gpkg"
_NAUTICAL_M = 1852.0
_SLACK = 1e-6  # of a limit: the solver's own tolerance
_MAP_SCALE = 2e-3  # how far metres of the working system may be off in the shapes' distances


def audit_choice(settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on the choice of sites, none where nothing was chosen by rules.

    Parameters
    ----------
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    names = ("sites", "site_species", "allotment", "candidates", "alternatives", "budget_use", "budget_curve")
    if settings.budget is None and not settings.choose.limits:
        return []
    if any(written.table(name) is None for name in names):
        return [not_looked_at(p, "the season cannot be read", SEASON) for p in (BUDGET, PER_SITE, SITES, APART)]
    sites = written.tables["sites"]
    chosen = sites[sites["chosen"]]
    if not len(chosen):
        return []
    units = _units(chosen, written.tables["allotment"])
    findings = [_numbers(settings, sites, chosen), _per_site(settings, written, chosen, units)]
    if settings.budget is not None:
        findings.append(_budget(settings, written, chosen, units))
    if settings.choose.least_distance_m > 0:
        findings.append(_apart(settings, written, chosen))
    findings.append(_near(settings, written, chosen))
    if settings.choose.genet_sites > 1 and len(written.tables["allotment"]):
        findings.append(_genets(settings, written.tables["allotment"]))
    if len(written.tables["site_species"]):
        if settings.spacing.mode != "fill":  # an estimate hands out what fits
            findings.append(_handed(written))
        findings.append(_sums(settings, written, chosen))
    return findings


def _units(chosen: pd.DataFrame, allotment: pd.DataFrame) -> dict[str, int]:
    """Return units per chosen site: as chosen, else, where the choice settled none, as handed out."""
    handed = allotment.groupby(allotment["site"].map(str))["number"].sum()
    return {
        str(site): int(handed.get(str(site), 0)) if pd.isna(n) else int(n)
        for site, n in zip(chosen["site"], chosen["units"], strict=True)
    }


def _budget(settings: Settings, written: Written, chosen: pd.DataFrame, units: dict[str, int]) -> Finding:
    b = settings.budget
    assert b is not None
    used = {"units": 0.0, "dives": 0.0, "boat_days": 0.0, "money": 0.0}
    for site, way in zip(chosen["site"].map(str), chosen["harbour_m"], strict=True):
        n = units[site]
        dives = b.dives_per_site + (n / b.units_per_dive if b.units_per_dive else 0.0)
        working = 1.0
        if b.boat_speed_kn is not None and b.boat_hours_per_day is not None and not pd.isna(way):
            working = 1.0 - 2.0 * float(way) / (b.boat_speed_kn * _NAUTICAL_M * b.boat_hours_per_day)
        days = 0.0
        if b.dives_per_boat_day:
            days = dives / (b.dives_per_boat_day * working) if working > 0 else math.inf
        used["units"] += n
        used["dives"] += dives
        used["boat_days"] += days
        used["money"] += (
            b.money_per_site + b.money_per_unit * n + b.money_per_dive * dives + b.money_per_boat_day * days
        )
    told = {str(r["limit"]): float(r["used"]) for r in written.tables["budget_use"].to_dict("records")}
    broken, said = [], []
    for name, amount in used.items():
        limit = getattr(b, name)
        if limit is None:
            continue
        said.append(f"{name} {amount:.4g} of {limit:g}")
        if amount > limit * (1 + _SLACK):
            broken.append(f"{name}: {amount:.6g} used, there is {limit:g}")
        if told and abs(told.get(name, math.nan) - amount) <= max(1e-6 * amount, 1e-6):
            continue
        if told:
            broken.append(f"{name}: budget_use tells {told.get(name, math.nan):.6g}, its sites come to {amount:.6g}")
    return judged(BUDGET, broken, len(said), f"{SEASON}, plan.toml", kept=", ".join(said), unit="limits")


def _per_site(settings: Settings, written: Written, chosen: pd.DataFrame, units: dict[str, int]) -> Finding:
    c = settings.choose
    split = written.tables["site_species"]
    solved = len(split) > 0
    broken = []
    for site, verdict in zip(chosen["site"].map(str), chosen["verdict"], strict=True):
        n = units[site]
        if solved and n < c.least_per_site:
            broken.append(f"{site}: {n} units, at least {c.least_per_site}")
        if c.most_per_site is not None and n > c.most_per_site:
            broken.append(f"{site}: {n} units, at most {c.most_per_site}")
        if verdict == "pilot" and c.pilot_units is not None and n > c.pilot_units:
            broken.append(f"{site}: {n} units, a pilot has at most {c.pilot_units}")
        own = int(split.loc[split["site"].map(str) == site, "units"].sum())
        if solved and own != n:
            broken.append(f"{site}: {n} units, its species come to {own}")
    for site, species, fits, n in split[["site", "species", "capacity", "units"]].itertuples(index=False):
        if n > fits:
            broken.append(f"{site}: {n} {species}, only {fits} fit")
    return judged(PER_SITE, broken, len(chosen), f"{SEASON}, plan.toml", kept="least, most, pilots, room", unit="sites")


def _numbers(settings: Settings, sites: pd.DataFrame, chosen: pd.DataFrame) -> Finding:
    c = settings.choose
    taken = set(chosen["site"].map(str))
    broken = []
    if len(taken) < c.least_sites:
        broken.append(f"{len(taken)} sites, at least {c.least_sites}")
    if c.most_sites is not None and len(taken) > c.most_sites:
        broken.append(f"{len(taken)} sites, at most {c.most_sites}")
    broken += [f"{code} is forced in and not chosen" for code in c.force_in if code not in taken]
    broken += [f"{code} is forced out and chosen" for code in c.force_out if code in taken]
    if c.only_coded and bool((sites["coded"] & sites["candidate"].notna()).any()):
        broken += [f"{s} has no site code" for s in chosen.loc[~chosen["coded"], "site"].map(str)]
    kept = f"{len(taken)} sites; {len(c.force_in)} forced in, {len(c.force_out)} out"
    return judged(SITES, broken, len(sites), f"{SEASON}, plan.toml", kept=kept, unit="sites")


def _apart(settings: Settings, written: Written, chosen: pd.DataFrame) -> Finding:
    least = settings.choose.least_distance_m
    frame = written.tables["candidates"]
    shapes: dict[str, Any] = {str(k): v for k, v in zip(frame["candidate"], frame["geometry"], strict=True)}
    places = [(str(s), shapes.get(str(c))) for s, c in zip(chosen["site"], chosen["candidate"], strict=True)]
    broken = [f"{site}: its candidate has no outline" for site, shape in places if shape is None]
    known = [(site, shape) for site, shape in places if shape is not None]
    nearest = math.inf
    for (one, a), (other, b) in itertools.combinations(known, 2):
        gap = float(shapely.distance(a, b))
        nearest = min(nearest, gap)
        if gap < least * (1 - _MAP_SCALE):
            broken.append(f"{one} and {other}: {gap:.1f} m, due {least:g} m")
    kept = f"nearest two {nearest:.1f} m, due {least:g} m" if math.isfinite(nearest) else "one site"
    return judged(APART, broken, len(known), SEASON, kept=kept, unit="sites")


def _near(settings: Settings, written: Written, chosen: pd.DataFrame) -> Finding:
    c, nursery = settings.choose, settings.nursery
    frame = written.tables["candidates"]
    depth = {str(k): float(v) for k, v in zip(frame["candidate"], frame["depth_mean_m"], strict=True)}
    limits = (
        ("depth_difference_m", c.greatest_depth_difference_m, "off the nursery's depth"),
        ("wild_m", c.greatest_to_wild_m, "from the nearest wild colony"),
        ("nursery_m", c.greatest_to_nursery_m, "from the nursery"),
        ("harbour_m", c.greatest_to_harbour_m, "from the harbour"),
    )
    broken = []
    for row in chosen.to_dict("records"):
        site = str(row["site"])
        if nursery is not None and nursery.depth_m is not None:
            due = depth.get(str(row["candidate"]), math.nan) - nursery.depth_m
            if not abs(float(row["depth_difference_m"]) - due) <= 1e-6:
                broken.append(
                    f"{site}: {row['depth_difference_m']} m off the nursery's depth is written, it is {due:.3f}"
                )
        for name, most, what in limits:
            if most is not None and not abs(float(row[name])) <= most:
                broken.append(f"{site}: {row[name]:.4g} m {what}, at most {most:g}")
        if c.least_to_wild_m > 0 and float(row["wild_m"]) < c.least_to_wild_m:
            broken.append(f"{site}: {row['wild_m']:.4g} m from a wild colony, at least {c.least_to_wild_m:g}")
        short = row["harbour_m"], row["nursery_m"]
        if any(not pd.isna(v) and float(v) < 0 for v in short):
            broken.append(f"{site}: a way below 0 m")
    return judged(NEAR, broken, len(chosen), f"{SEASON}, plan.toml", kept="as the season states them", unit="sites")


def _genets(settings: Settings, allotment: pd.DataFrame) -> Finding:
    due = settings.choose.genet_sites
    broken = []
    groups = allotment[allotment["number"] > 0].groupby(["species", "genet"])
    for (species, genet), rows in groups:
        at, units = rows["site"].nunique(), int(rows["number"].sum())
        if at < min(due, units):
            broken.append(f"{species} {genet}: {units} units at {at} sites, due {due}")
    return judged(GENETS, broken, groups.ngroups, SEASON, kept=f"at {due} sites or more", unit="genets")


def _handed(written: Written) -> Finding:
    chosen = {
        (str(r["site"]), str(r["species"])): int(r["units"]) for r in written.tables["site_species"].to_dict("records")
    }
    handed: Counter[tuple[str, str]] = Counter()
    for row in written.tables["allotment"].to_dict("records"):
        handed[str(row["site"]), str(row["species"])] += int(row["number"])
    broken = [
        f"{site} {species}: {n} handed out, {chosen.get((site, species), 0)} chosen"
        for (site, species), n in sorted(handed.items())
        if n > chosen.get((site, species), 0)
    ]
    return judged(HANDED, broken, len(handed), SEASON, kept="site by site and species by species", unit="numbers")


def _sums(settings: Settings, written: Written, chosen: pd.DataFrame) -> Finding:
    column = "units_alive" if settings.choose.survival else "suitability"
    broken = _site_sums(settings, written, chosen)
    others, curve = written.tables["alternatives"], written.tables["budget_curve"]
    own = float(chosen[column].sum())
    sets = [frozenset(str(s).split()) for s in others["sites"]]
    if len(others):
        if sets[0] != frozenset(chosen["site"].map(str)):
            broken.append(f"alternatives: the choice is told as {others['sites'].iloc[0]}")
        if not math.isclose(float(others[column].iloc[0]), own, rel_tol=1e-9, abs_tol=1e-9):
            broken.append(f"alternatives tell {others[column].iloc[0]:.6g}, the chosen sites come to {own:.6g}")
        gap = float(others["gap_pct"].iloc[0]) / 100.0
        best = own / (1.0 - gap) if gap < 1 else math.inf
        broken += [f"next best {r} gives {v:.6g}, more than {own:.6g}"
                   for r, v in zip(others["rank"], others[column], strict=True) if v > best * (1 + _SLACK)]  # fmt: skip
        broken += ["two of the choices told are the same sites"] if len(set(sets)) < len(sets) else []
    values = curve[column].to_numpy(np.float64)
    if len(values) and (np.diff(values) < -1e-9).any():
        broken.append("gain falls with a larger budget")
    at_own = curve.loc[curve["share_pct"] == 100.0, column]
    if len(at_own) and not math.isclose(float(at_own.iloc[0]), own, rel_tol=1e-9, abs_tol=1e-9):
        broken.append(f"at the plan's own budget the curve tells {at_own.iloc[0]:.6g}, the sites come to {own:.6g}")
    looked = len(chosen) + len(others) + len(curve)
    return judged(SUMS, broken, looked, SEASON, kept=f"{column.replace('_', ' ')} {own:.4g}", unit="sums")


def _site_sums(settings: Settings, written: Written, chosen: pd.DataFrame) -> list[str]:
    """Return the sites whose sums are not those of their species, and shares alive that are not the plan's curve."""
    frame, broken = written.tables["candidates"], []
    depth = {str(k): float(v) for k, v in zip(frame["candidate"], frame["depth_mean_m"], strict=True)}
    at = {str(s): str(c) for s, c in zip(chosen["site"], chosen["candidate"], strict=True)}
    suits: dict[str, float] = dict.fromkeys(at, 0.0)
    lives: dict[str, float] = dict.fromkeys(at, 0.0)
    for row in written.tables["site_species"].to_dict("records"):
        site, species = str(row["site"]), str(row["species"])
        if site not in at:
            broken.append(f"site_species names {site}, which is not chosen")
            continue
        suits[site] += row["units"] * row["score_mean"] * row["depth_match"]
        curve = settings.choose.survival.get(species)
        if curve is not None:
            value = row["score_mean"] if curve.of == "score" else depth[at[site]]
            due = float(np.interp(value, [p[0] for p in curve.points], [p[1] for p in curve.points]))
            lives[site] += row["units"] * due
            if not math.isclose(float(row["survival"]), due, abs_tol=1e-9):
                broken.append(f"{site} {species}: share alive {row['survival']:.4f}, the plan's curve gives {due:.4f}")
    for row in chosen.to_dict("records"):
        site = str(row["site"])
        pairs = [("suitability", suits[site])] + ([("units_alive", lives[site])] if settings.choose.survival else [])
        broken += [
            f"{site}: {name} {row[name]:.6g}, its species come to {due:.6g}"
            for name, due in pairs
            if not math.isclose(float(row[name]), due, rel_tol=1e-6, abs_tol=1e-6)
        ]
    return broken
