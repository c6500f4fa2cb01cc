"""The tables that decide, read again: every way in which a choice may break its rules is named, a sound one passes."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import shapely
from pyproj import CRS

from sitekit.audit import answers_kept, choice_kept
from sitekit.audit.answers_kept import audit_answers
from sitekit.audit.choice_kept import audit_choice
from sitekit.audit.written import Written
from sitekit.base.tables import build
from sitekit.season.settings import Settings, settings_from

UTM = CRS.from_epsg(32622)
WAY_M = 1852.0  # a nautical mile to the harbour: at 10 kn and 10 h a day 2 % of the day goes with it
UNITS = {"A": 30, "B": 20}


def plan(**changes: Any) -> Settings:
    said = {"who": "me", "when": datetime.date(2026, 2, 1)}
    data: dict[str, Any] = {
        "plan": {"name": "Test reef", "date": datetime.date(2026, 5, 1), "cell_m": 1.0},
        "layers": {
            "bathymetry": {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
        },
        "species": [{"code": "APAL", "name": "elkhorn", "criteria": "elkhorn"}],
        "score": {"passing": 0.6},
        "candidates": {"least_area_m2": 50.0},
        "spacing": {"separation_m": 1.0, "lay_tolerance_m": 0.2, "clearance_m": 0.5},
        "site": [{"code": c, "at": "18 N, 64 W"} for c in "ABD"],
        "nursery": {"name": "Nursery", "at": "18 N, 64 W", "depth_m": 5.0},
        "harbour": {"name": "Harbour", "at": "18 N, 64 W"},
        "question": [
            {"site": ["A"], "about": "present_before", "answer": "yes", **said},
            {"site": ["B"], "about": "present_before", "answer": "unknown", **said},
            {"site": ["D"], "about": "present_before", "answer": "no", **said},
        ],
        "budget": {
            "units": 60, "dives": 20, "boat_days": 2, "money": 3000, "units_per_dive": 5, "dives_per_site": 2,
            "dives_per_boat_day": 10, "boat_hours_per_day": 10.0, "boat_speed_kn": 10.0, "money_per_unit": 10,
            "money_per_boat_day": 500,
        },
        "choose": {
            "least_per_site": 10, "most_per_site": 40, "pilot_units": 25, "least_sites": 1, "most_sites": 3,
            "least_distance_m": 20.0, "genet_sites": 2, "force_in": ["A"], "force_out": ["D"],
            "greatest_depth_difference_m": 3.0, "greatest_to_wild_m": 50.0,
        },
        "controls": {
            "distance_m": 10.0, "greatest_distance_m": 100.0, "score_tolerance": 0.1, "depth_tolerance_m": 1.0,
        },
        "scout": {"from": "back.csv"},
        **changes,
    }  # fmt: skip
    return settings_from(data)


def box(x: float, y: float = 0.0, side: float = 10.0) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([shapely.box(573_900 + x, 1_996_100 + y, 573_900 + x + side, 1_996_100 + y + side)])


@cache
def written(alive: tuple[float, ...] | None = None) -> dict[str, pd.DataFrame]:
    """Sites A and B chosen 20 m apart, D shut; C a candidate without a code."""
    candidates = [
        {"candidate": f"C0{i + 1}", "site": s, "species": "APAL", "cells": 100, "area_m2": 100.0, "depth_min_m": 5.0,
         "depth_mean_m": 6.0, "depth_max_m": 7.0, "score_mean": score, "score_max": 0.99, "unknown_pct": 0.0,
         "scout": False}
        for i, (s, score) in enumerate((("A", 0.9), ("B", 0.8), ("D", 0.75), (None, 0.7)))
    ]  # fmt: skip
    outlines = [box(0), box(30), box(60), box(90)]
    offers = [
        {"candidate": c["candidate"], "species": "APAL", "area_m2": 100.0, "score_mean": c["score_mean"],
         "score_sum": 90.0, "separation_m": 1.0, "planned_separation_m": 1.2, "capacity": 50, "bound": 60,
         "capacity_at_d": 60, "bound_at_d": 70}
        for c in candidates
    ]  # fmt: skip
    lives = dict(zip("AB", alive or (0.0, 0.0), strict=True))
    sites, split = [], []
    for i, (code, answer, verdict) in enumerate((("A", "yes", "go"), ("B", "unknown", "pilot"), ("D", "no", "no"))):
        row: dict[str, Any] = {
            "site": code, "coded": True, "candidate": f"C0{i + 1}", "rank": i + 1, "chosen": code in UNITS,
            "reason": "test", "scouted": code == "A", "verdict": verdict, "depth_difference_m": 1.0, "wild_m": 4.0,
            "nursery_m": 100.0, "harbour_m": WAY_M,
            "answers": json.dumps({"present_before": {"answer": answer, "who": "me", "note": "", "when": "2026-02-01"}}),
        }  # fmt: skip
        if code == "A":
            row |= {"scouted_on": "2026-03-01", "observer": "you"}
        if code in UNITS:
            score, n = candidates[i]["score_mean"], UNITS[code]
            row |= {"units": n, "suitability": n * score * 0.9}
            row |= {"units_alive": n * lives[code]} if alive else {}
            split.append(
                {"site": code, "species": "APAL", "score_mean": score, "depth_match": 0.9, "capacity": 50, "units": n,
                 "survival": lives[code] if alive else None, "beyond": False}
            )  # fmt: skip
        sites.append(row)
    total = sum(r.get("suitability", 0.0) for r in sites)
    living = sum(r.get("units_alive", 0.0) for r in sites) if alive else None
    told = {"suitability": total, "units_alive": living, "gap_pct": 0.0}
    less = {"suitability": 20.0, "units_alive": 1.0 if alive else None, "units": 30, "gap_pct": 0.0}
    dives = 2 * 2 + 50 / 5
    days = dives / (10 * 0.98)
    used = {"units": 50.0, "dives": dives, "boat_days": days, "money": 500 + 500 * days}
    have = {"units": 60.0, "dives": 20.0, "boat_days": 2.0, "money": 3000.0}
    return {
        "candidates": build("candidates", candidates, outlines, UTM),
        "candidate_species": build("candidate_species", offers),
        "sites": build("sites", sites, [o.centroid for o in outlines[:3]], UTM),
        "site_species": build("site_species", split),
        "allotment": build(
            "allotment",
            [{"site": s, "species": "APAL", "genet": g, "number": n // 2} for s, n in UNITS.items() for g in ("a", "b")],
        ),
        "alternatives": build(
            "alternatives",
            [{"rank": 0, "sites": "A B", "units": 50, "loss_pct": 0.0, **told},
             {"rank": 1, "sites": "A", "loss_pct": 50.0, **less}],
        ),
        "budget_use": build(
            "budget_use",
            [{"limit": k, "unit": "x", "amount": have[k], "used": v, "used_pct": 100 * v / have[k]} for k, v in used.items()],
        ),
        "budget_curve": build(
            "budget_curve", [{"share_pct": 50.0, "sites": "A", **less}, {"share_pct": 100.0, "sites": "A B", "units": 50, **told}]
        ),
        "control_areas": build(
            "control_areas",
            [{"area": "A-C1", "site": "A", "role": "control", "area_m2": 100.0, "score_mean": 0.85, "depth_mean_m": 6.2,
              "site_score_mean": 0.9, "site_depth_mean_m": 6.0, "distance_m": 15.0}],
            [box(0, 25.0)], UTM,
        ),
        "colonies": build(
            "colonies",
            [{"sequence": 1, "site": "A", "candidate": "C01", "species": "APAL", "genet": "a", "units": 1, "fragments": 1,
              "depth_m": 6.0, "score": 0.9}],
            [box(0).centroid], UTM,
        ),
        "scouting": build(
            "scouting",
            [{"line": n, "site": s, "known": s == "A", "date": "2026-03-01", "observer": "you", "longitude_deg": -64.0,
              "latitude_deg": 18.0, "go": "go", "changed": "nothing"} for n, s in ((2, "A"), (3, "Q"))],
        ),
        "candidate_ranks": build(
            "candidate_ranks",
            [{"candidate": f"C0{r}", "species": "APAL", "rank": r, "rank_low": 1, "rank_high": 4, "rank_depth_low": 1,
              "rank_depth_high": 4, "rank_misread": 4, "share_first": 0.7 if r == 1 else 0.1,
              "share_high": 0.7 if r == 1 else 0.1, "share_best": 0.1, "fragile": r == 1,
              "holds_not_under": "weights" if r == 1 else None} for r in (1, 2, 3, 4)],
        ),
    }  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What divers brought back: A looked at, a code nobody gave, a blank line."""
    path = tmp_path_factory.mktemp("back")
    (path / "back.csv").write_text("site,date,observer,go\nA,2026-03-01,you,go\nQ,2026-03-01,you,go\nB,,,\n", "utf-8")
    return path


def broken(folder: Path, settings: Settings, tables: dict[str, pd.DataFrame]) -> dict[str, str]:
    seen = Written(folder, tables=dict(tables))
    found = [*audit_choice(settings, seen), *audit_answers(folder, settings, seen)]
    return {f.promise: f.detail for f in found if not f.ok}


def at(name: str, row: int, **values: Any) -> Callable[[dict[str, pd.DataFrame]], None]:
    def change(tables: dict[str, pd.DataFrame]) -> None:
        frame = tables[name].copy()
        for column, value in values.items():
            frame.loc[row, column] = value
        tables[name] = frame

    return change


def drop(name: str, row: int) -> Callable[[dict[str, pd.DataFrame]], None]:
    return lambda tables: tables.update({name: tables[name].drop(index=row).reset_index(drop=True)})


def test_a_sound_choice_keeps_every_promise(folder: Path) -> None:
    """A finding that breaks on sound tables would be switched off by its readers; all twelve are looked at."""
    seen = Written(folder, tables=written())
    found = [*audit_choice(plan(), seen), *audit_answers(folder, plan(), seen)]
    assert [str(f) for f in found if not f.ok] == []
    assert len(found) == 12


DAMAGE: dict[str, tuple[Callable[[dict[str, pd.DataFrame]], None], str, str]] = {
    "more units than the pilot may have": (at("sites", 1, units=26), choice_kept.PER_SITE, "a pilot has at most 25"),
    "fewer units than a site's least": (at("sites", 0, units=9), choice_kept.PER_SITE, "9 units, at least 10"),
    "more units than a site's most": (at("sites", 0, units=41), choice_kept.PER_SITE, "41 units, at most 40"),
    "more of a species than fits": (at("site_species", 0, capacity=29), choice_kept.PER_SITE, "30 APAL, only 29 fit"),
    "more units than the budget": (at("sites", 0, units=41), choice_kept.BUDGET, "units: 61 used, there is 60"),
    "use told too low": (at("budget_use", 3, used=900.0), choice_kept.BUDGET, "money: budget_use tells 900"),
    "a longer way to the harbour": (at("sites", 0, harbour_m=60_000.0), choice_kept.BUDGET, "boat_days: "),
    "a forced site left out": (at("sites", 0, chosen=False), choice_kept.SITES, "A is forced in and not chosen"),
    "a shut site taken": (at("sites", 2, chosen=True), choice_kept.SITES, "D is forced out and chosen"),
    "sites too near": (
        lambda t: t.update(candidates=t["candidates"].assign(geometry=[box(0), box(25), box(60), box(90)])),
        choice_kept.APART, "A and B: 15.0 m, due 20 m",
    ),
    "too deep for the nursery": (at("candidates", 0, depth_mean_m=9.0), choice_kept.NEAR, "A: 1.0 m off the nursery's"),
    "too far from wild colonies": (at("sites", 1, wild_m=51.0), choice_kept.NEAR, "B: 51 m from the nearest wild"),
    "a genet at one site": (drop("allotment", 3), choice_kept.GENETS, "APAL b: 15 units at 1 sites, due 2"),
    "more handed out than chosen": (at("allotment", 0, number=16), choice_kept.HANDED, "A APAL: 31 handed out, 30 chosen"),
    "a site's sum": (at("sites", 0, suitability=99.0), choice_kept.SUMS, "A: suitability 99, its species come to 24.3"),
    "a better choice told": (at("alternatives", 1, suitability=50.0), choice_kept.SUMS, "next best 1 gives 50"),
    "gain that falls": (at("budget_curve", 0, suitability=60.0), choice_kept.SUMS, "gain falls with a larger budget"),
    "other sites told": (at("alternatives", 0, sites="A D"), choice_kept.SUMS, "the choice is told as A D"),
    "an answer changed": (at("sites", 0, answers="{}"), answers_kept.ANSWERS, "A, present_before: yes in the plan, None"),
    "a no overruled": (at("sites", 2, chosen=True), answers_kept.ANSWERS, "D is chosen; present_before is answered no"),
    "an unknown taken for a go": (at("sites", 1, verdict="go"), answers_kept.ANSWERS, "a pilot is due"),
    "a form lost": (drop("scouting", 1), answers_kept.FORMS, "line 3, Q: not in the season"),
    "a site not scouted said scouted": (at("sites", 1, scouted=True), answers_kept.FORMS, "B counts as scouted"),
    "another observer": (at("sites", 0, observer="nobody"), answers_kept.FORMS, "A: looked at by you, the season says nobody"),
    "a control too near": (
        lambda t: t.update(control_areas=t["control_areas"].assign(geometry=[box(0, 19.0)])),
        answers_kept.CONTROLS, "A-C1: 9.0 m from chosen sites",
    ),
    "a control unlike its site": (at("control_areas", 0, score_mean=0.5), answers_kept.CONTROLS, "score 0.50, its site 0.90"),
    "a planted control": (
        lambda t: t.update(colonies=t["colonies"].assign(geometry=[box(0, 25.0).centroid])),
        answers_kept.CONTROLS, "1 units are planted in it",
    ),
    "ranks against scores": (
        lambda t: t.update(candidate_ranks=t["candidate_ranks"].assign(candidate=["C04", "C02", "C03", "C01"])),
        answers_kept.RANKS, "rank 2 with a mean score of 0.800, one above has 0.700",
    ),
    "a fragile one not said": (at("candidate_ranks", 0, fragile=False), answers_kept.RANKS, "fragile is False, rank 1"),
    "a rank outside its range": (at("candidate_ranks", 1, rank_depth_low=3), answers_kept.RANKS, "do not hold its rank"),
}  # fmt: skip


@pytest.mark.parametrize("kind", DAMAGE)
def test_a_choice_that_breaks_a_rule_is_named(folder: Path, kind: str) -> None:
    """A fault of the choice itself stands in every file alike; only the rules, worked out again, can tell."""
    change, promise, detail = DAMAGE[kind]
    tables = dict(written())
    change(tables)
    found = broken(folder, plan(), tables)
    assert promise in found, found
    assert detail in found[promise]


def test_a_no_go_that_is_planted_is_named(tmp_path: Path) -> None:
    """The one who looked said no; a plan that goes there all the same must not pass."""
    (tmp_path / "back.csv").write_text("site,date,observer,go\nA,2026-03-01,you,no-go\nQ,2026-03-01,you,go\n", "utf-8")
    assert "A is chosen; you said no-go" in broken(tmp_path, plan(), written())[answers_kept.FORMS]


def test_shares_alive_are_those_of_the_curve(folder: Path) -> None:
    """0.5 at a score of 0.8, 0.7 at 0.9: a share that is not on the plan's line is named, and the sums with it."""
    curve = {"points": [[0.8, 0.5], [1.0, 0.9]], "years": 1.0, "source": "plots of 2020, made up"}
    choose = plan().choose.model_dump() | {"survival": {"APAL": curve}}
    settings = plan(choose=choose)
    assert broken(folder, settings, written((0.7, 0.5))) == {}
    assert (
        "A APAL: share alive 0.8000, the plan's curve gives 0.7000"
        in broken(folder, settings, written((0.8, 0.5)))[choice_kept.SUMS]
    )
