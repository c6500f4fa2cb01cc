"""What stands on the reef, asked again: units as planted beside the records, dives beside them, counts of what lives."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.audit.promises import Finding, asked, judged
from sitekit.audit.written import Written
from sitekit.season.records import read_records
from sitekit.season.settings import Settings

STANDING = "units as planted are those of the records, once each, with genet, day, fragments and last look"
AGAIN = "no dive plants a unit that stands already, and all that stands as planned is planned"
LIVING = "what lives adds up from the looks, for all units and for every group"
FILE = "out/as_planted.csv holds the units that stand"
SEASON, RECORDS = "out/season.gpkg", "records.gpkg"
CLOSE_DEG = 1e-8  # 1 mm


def audit_planted(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on what was planted and looked at; none where the records hold no planting.

    Parameters
    ----------
    project : Path
        Folder with `records.gpkg`.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    path = project / RECORDS
    if not path.exists():
        return []
    rows = read_records(path, "planted")
    units = {(str(r["site"]), int(r["sequence"])): r for r in rows.to_dict("records")}  # a later row takes its place
    units = {k: r for k, r in units.items() if r["fragments"] > 0}
    table, survival = written.table("as_planted"), written.table("survival")
    if table is None or survival is None or not (units or len(table)):
        return []
    last: dict[tuple[str, int], dict[Any, Any]] = {}
    by_day = {
        (str(r["site"]), int(r["sequence"]), str(r["date"])): r
        for r in read_records(path, "surveys").to_dict("records")
    }
    for (site, number, day), look in sorted(by_day.items(), key=lambda item: item[0]):
        key = site, number
        if key in units and day >= str(units[key]["date"]) and look["state"] != "none":  # planted anew, it begins anew
            last[key] = look
    return [
        *asked(STANDING, f"{SEASON}, {RECORDS}", lambda: _standing(units, last, table, settings)),
        *asked(AGAIN, SEASON, lambda: _again(written, table)),
        *asked(LIVING, f"{SEASON}, {RECORDS}", lambda: _living(units, last, survival)),
        *asked(FILE, "out/as_planted.csv", lambda: _listed(written.out / "as_planted.csv", table)),
    ]


def _standing(units: dict[Any, Any], last: dict[Any, Any], table: pd.DataFrame, settings: Settings) -> Finding:
    broken = []
    found = Counter((str(s), int(n)) for s, n in zip(table["site"], table["sequence"], strict=True))
    broken += [f"{s} {n} stands {k} times" for (s, n), k in sorted(found.items()) if k > 1]
    broken += [f"{s} {n} is recorded and lacks" for s, n in sorted(set(units) - set(found))]
    since = settings.survey.season_from
    for row in table.to_dict("records"):
        key = (str(row["site"]), int(row["sequence"]))
        if key not in units:
            broken.append(f"{key[0]} {key[1]} is not recorded as planted")
            continue
        unit, look = units[key], last.get(key)
        due = {
            "plot": unit["plot"], "species": unit["species"], "genet": unit["genet"], "fragments": unit["fragments"],
            "planted": unit["date"],
            "season": "earlier" if since is not None and str(unit["date"]) < since.isoformat() else "this",
            "state": look["state"] if look else "planted",
            "seen": look["date"] if look else None,
        }  # fmt: skip
        for name, value in due.items():
            if str(row[name]) != str(value) and not (value is None and pd.isna(row[name])):
                broken.append(f"{key[0]} {key[1]}: {name} {row[name]}, recorded {value}")
        if not row["as_drawn"] and max(abs(row[n] - unit[n]) for n in ("longitude_deg", "latitude_deg")) > CLOSE_DEG:
            broken.append(f"{key[0]} {key[1]} stands elsewhere than recorded")
    return judged(STANDING, broken, len(units), f"{SEASON}, {RECORDS}", kept="row by row")


def _again(written: Written, table: pd.DataFrame) -> Finding | None:
    dives, colonies, plots = written.table("dives"), written.table("colonies"), written.table("plots")
    if dives is None or colonies is None or plots is None or not len(dives):
        return None
    own = table[table["as_drawn"].astype(bool)]
    standing = {(str(p), int(n)) for p, n in zip(own["plot"], own["sequence"], strict=True)}
    dived: set[tuple[str, int]] = set()
    for dive in dives[dives["kind"] == "plant"].to_dict("records"):
        for part in str(dive["numbers"]).replace("–", "-").split(","):
            ends = [int(v) for v in part.split("-")]
            dived |= {(str(dive["plot"]), n) for n in range(ends[0], ends[-1] + 1)}
    broken = [f"{p} {n} stands and is on a dive" for p, n in sorted(standing & dived)]
    planned = {(str(p), int(n)) for p, n in zip(colonies["plot"], colonies["sequence"], strict=True)}
    broken += [f"{p} {n} is said to stand as planned and is not planned" for p, n in sorted(standing - planned)]
    return judged(AGAIN, broken, len(planned), SEASON, kept=f"{len(standing)} stand, {len(dived)} on dives")


def _living(units: dict[Any, Any], last: dict[Any, Any], survival: pd.DataFrame) -> Finding:
    due: dict[tuple[str, str], Counter[str]] = {}
    for key, unit in units.items():
        state = str(last[key]["state"]) if key in last else "not looked at"
        species = str(unit["species"])
        groups = [("all", "all units"), ("species", species), ("genet", f"{species} {unit['genet']}"),
                  ("site", str(unit["site"])), ("plot", str(unit["plot"]))]  # fmt: skip
        for group in groups:
            due.setdefault(group, Counter()).update(["planted", state])
    broken = []
    for row in survival.to_dict("records"):
        counts = due.pop((str(row["of"]), str(row["name"])), Counter())
        for name in ("planted", "alive", "dead", "missing"):
            if int(row[name]) != counts[name]:
                broken.append(f"{row['of']} {row['name']}: {row[name]} {name}, counted {counts[name]}")
        seen = counts["planted"] - counts["not looked at"]
        if int(row["looked_at"]) != seen:
            broken.append(f"{row['of']} {row['name']}: {row['looked_at']} looked at, counted {seen}")
        if seen and abs(row["alive_pct"] - 100.0 * counts["alive"] / seen) > 1e-6:
            broken.append(f"{row['of']} {row['name']}: {row['alive_pct']:g} % alive of {counts['alive']} in {seen}")
        if not pd.isna(row["survival_pct"]) and not 0.0 <= row["survival_pct"] <= 100.0:
            broken.append(f"{row['of']} {row['name']}: survival {row['survival_pct']:g} %")
    broken += [f"{of} {name} lacks" for of, name in sorted(due)]
    return judged(LIVING, broken, len(survival), f"{SEASON}, {RECORDS}", kept="counted again from the looks")


def _listed(path: Path, table: pd.DataFrame) -> Finding | None:
    if not path.is_file():
        return None
    rows = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    listed = {(r["site"], int(r["sequence"])): r for r in rows.to_dict("records")}
    broken = [] if len(listed) == len(rows) else ["a unit stands twice"]
    for row in table.to_dict("records"):
        own = listed.pop((str(row["site"]), int(row["sequence"])), None)
        if own is None:
            broken.append(f"{row['site']} {row['sequence']} lacks")
        elif max(abs(float(own[n]) - row[n]) for n in ("longitude_deg", "latitude_deg")) > CLOSE_DEG:
            broken.append(f"{row['site']} {row['sequence']} stands elsewhere")
        elif (own["state"], own["planted"]) != (row["state"], row["planted"]):
            broken.append(f"{row['site']} {row['sequence']}: {own['state']}, planted {own['planted']}")
    broken += [f"{s} {n} does not stand" for s, n in sorted(listed)]
    return judged(FILE, broken, len(table), "out/as_planted.csv", kept="row by row")
