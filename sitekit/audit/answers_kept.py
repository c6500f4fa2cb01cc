"""Whether what people said is heeded: go/no-go answers, scout forms, and areas that stay unplanted."""

from __future__ import annotations

import json
import math
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.audit.looks_again import filled_forms
from sitekit.audit.promises import Finding, asked, judged, not_looked_at
from sitekit.audit.written import Written
from sitekit.season.settings import Settings

ANSWERS = "go/no-go answers stand in the season as in the plan, and none that says no is overruled"
FORMS = "every returned scout form is kept, and no site is chosen that a scout refused"
CONTROLS = "areas to compare with keep their distance, match their site and stay unplanted"
RANKS = "ranks follow the scores, ranges hold their ranks, and fragile is said where it is due"
SEASON = "out/season.gpkg"
_MAP_SCALE = 2e-3
_SCORES = 0.01  # ranks come from up to 4,096 cells of a candidate, scores from all of them


def audit_answers(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on answers, scout forms, unplanted areas and ranks.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    checks: tuple[tuple[str, Any, bool, tuple[str, ...]], ...] = (
        (ANSWERS, _answers, bool(settings.question), ("sites",)),
        (FORMS, _forms, settings.scout.from_file is not None, ("sites", "scouting")),
        (CONTROLS, _controls, settings.controls is not None, ("sites", "candidates", "control_areas", "colonies")),
        (RANKS, _ranks, True, ("candidate_ranks", "candidate_species")),
    )
    findings: list[Finding] = []
    for promise, check, due, names in checks:
        if not due:
            continue
        if any(written.table(n) is None for n in names):
            findings.append(not_looked_at(promise, "the season cannot be read", SEASON))
            continue
        findings += asked(promise, SEASON, partial(check, project, settings, written))
    return findings


def _answers(_: Path, settings: Settings, written: Written) -> Finding | None:
    sites = written.tables["sites"]
    rows = {str(r["site"]): r for r in sites.to_dict("records")}
    broken, looked = [], 0
    silent = {s.code: 0 for s in settings.site}
    for question in settings.question:
        for code in question.sites:
            row = rows.get(code)
            if row is None or not row["coded"]:
                broken.append(f"{code}: answered in the plan, not in the season")
                continue
            if pd.isna(row["candidate"]):  # lies in no candidate: nothing is decided about it
                continue
            looked += 1
            kept = (json.loads(row["answers"]) if isinstance(row["answers"], str) else {}).get(question.about, {})
            if kept.get("answer") != question.answer or kept.get("who") != question.who:
                broken.append(
                    f"{code}, {question.about}: {question.answer} in the plan, {kept.get('answer')} in the season"
                )
            if question.answer == "no" and row["chosen"]:
                broken.append(f"{code} is chosen; {question.about} is answered no")
            if question.answer == "unknown":
                silent[code] = silent.get(code, 0) + 1
    broken += [
        f"{code} is chosen as {row['verdict']}; {silent[code]} answers are unknown, a pilot is due"
        for code, row in rows.items()
        if silent.get(code) and row["chosen"] and row["verdict"] != "pilot"
    ]
    return judged(ANSWERS, broken, looked, f"{SEASON}, plan.toml", kept="answer by answer", unit="answers")


def _forms(project: Path, settings: Settings, written: Written) -> Finding | None:
    name = settings.scout.from_file
    given = filled_forms(project, settings)
    kept = {int(r["line"]): r for r in written.tables["scouting"].to_dict("records")}
    sites = {str(r["site"]): r for r in written.tables["sites"].to_dict("records")}
    codes = {s.code for s in settings.site}
    broken = []
    for line, form in given.items():
        row = kept.get(line)
        if row is None:
            broken += [] if settings.scout.accept_partial else [f"line {line}, {form['site']}: not in the season"]
            continue
        if str(row["site"]) != form["site"] or bool(row["known"]) != (form["site"] in codes):
            broken.append(f"line {line}: {form['site']} is kept as {row['site']}, known: {row['known']}")
        site = sites.get(form["site"])
        if site is None or form["site"] not in codes:
            continue
        if not site["scouted"] or str(site["observer"]) != form["observer"]:
            broken.append(f"{form['site']}: looked at by {form['observer']}, the season says {site['observer']}")
        if site["chosen"] and form["go"].lower() == "no-go":
            broken.append(f"{form['site']} is chosen; {form['observer']} said no-go")
    broken += [f"line {line} stands in the season and not in {name}" for line in kept if line not in given]
    looked = {form["site"] for form in given.values()}
    broken += [f"{s} counts as scouted without a form" for s, r in sites.items() if r["scouted"] and s not in looked]
    return judged(FORMS, broken, len(given), f"{SEASON}, {name}", kept="line by line", unit="forms")


def _controls(_: Path, settings: Settings, written: Written) -> Finding | None:
    c = settings.controls
    areas = written.tables["control_areas"]
    if c is None or not len(areas):
        return None
    sites, frame = written.tables["sites"], written.tables["candidates"]
    shapes: dict[str, Any] = {str(k): v for k, v in zip(frame["candidate"], frame["geometry"], strict=True)}
    means: dict[str, Any] = {str(r["candidate"]): r for r in frame.to_dict("records")}
    chosen = sites[sites["chosen"]]
    at = {str(s): str(k) for s, k in zip(chosen["site"], chosen["candidate"], strict=True)}
    every = shapely.union_all([shapes[k] for k in at.values()])
    planted: Any = (
        written.tables["colonies"]["geometry"].to_numpy() if len(written.tables["colonies"]) else np.array([])
    )
    broken = []
    for row in areas.to_dict("records"):
        name, site, shape = str(row["area"]), str(row["site"]), row["geometry"]
        if site not in at:
            broken.append(f"{name}: {site} is not chosen")
            continue
        gap, far = float(shapely.distance(shape, every)), float(shapely.distance(shape, shapes[at[site]]))
        if gap < c.distance_m * (1 - _MAP_SCALE) or not math.isclose(gap, row["distance_m"], abs_tol=0.01):
            broken.append(
                f"{name}: {gap:.1f} m from chosen sites, {row['distance_m']:.1f} written, due {c.distance_m:g} m"
            )
        if far > c.greatest_distance_m * (1 + _MAP_SCALE):
            broken.append(f"{name}: {far:.1f} m from {site}, at most {c.greatest_distance_m:g} m")
        score, depth = float(means[at[site]]["score_mean"]), float(means[at[site]]["depth_mean_m"])
        if not abs(row["score_mean"] - score) <= c.score_tolerance + 1e-6:
            broken.append(f"{name}: score {row['score_mean']:.2f}, its site {score:.2f}")
        if not abs(row["depth_mean_m"] - depth) <= c.depth_tolerance_m + 1e-6:
            broken.append(f"{name}: {row['depth_mean_m']:.1f} m deep, its site {depth:.1f} m")
        if row["role"] == "reference" and not row["colonies"] >= 1:
            broken.append(f"{name}: a reference without a wild colony")
        inside_it = int(shapely.intersects(shape, planted).sum()) if len(planted) else 0
        broken += [f"{name}: {inside_it} units are planted in it"] if inside_it else []
    kept = f"at least {c.distance_m:g} m from chosen sites, within the tolerances"
    return judged(CONTROLS, broken, len(areas), SEASON, kept=kept, unit="areas")


def _ranks(_: Path, settings: Settings, written: Written) -> Finding | None:
    ranks, offers = written.tables["candidate_ranks"], written.tables["candidate_species"]
    if not len(ranks):
        return None
    s = settings.sensitivity
    broken = []
    for species, rows in ranks.groupby("species"):
        own = offers[offers["species"] == species]
        score = {str(k): float(v) for k, v in zip(own["candidate"], own["score_mean"], strict=True)}
        high = max(1, math.floor(s.high_share * len(rows) + 0.5))
        order = rows.sort_values("rank", kind="stable")
        worst_above = math.inf
        for row in order.to_dict("records"):
            name = f"{species} {row['candidate']}"
            mean = score.get(str(row["candidate"]), math.nan)
            if not mean <= worst_above + _SCORES:
                broken.append(
                    f"{name}: rank {row['rank']} with a mean score of {mean:.3f}, one above has {worst_above:.3f}"
                )
            worst_above = min(worst_above, mean)
            spans = (
                row["rank_low"] <= row["rank_high"],
                row["rank_depth_low"] <= row["rank"] <= row["rank_depth_high"],
            )
            if not all(spans) or not 1 <= row["rank"] <= len(rows):
                broken.append(f"{name}: its ranges do not hold its rank")
            if any(not 0 <= row[k] <= 1 for k in ("share_first", "share_high")):
                broken.append(f"{name}: a share beyond 0 to 1")
            due = row["rank"] <= high and row["share_high"] < s.steady_share
            if bool(row["fragile"]) != due:
                broken.append(
                    f"{name}: fragile is {row['fragile']}, rank {row['rank']}, held in {row['share_high']:.0%}"
                )
            if ("weights" in str(row["holds_not_under"])) != due:
                broken.append(f"{name}: what takes its rank away is told as {row['holds_not_under']}")
        if rows["share_first"].sum() < 1 - 1e-6:
            broken.append(f"{species}: in some draws nothing ranks first")
    kept = "scores, ranges, shares and fragile"
    return judged(RANKS, broken, len(ranks), SEASON, kept=kept, unit="ranks")
