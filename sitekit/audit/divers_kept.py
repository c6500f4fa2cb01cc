"""What divers, skipper and leader carry, asked again: pins in receiver files, units on dives, minutes, fragments."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
from pyproj import Transformer

from sitekit.audit.promises import Finding, judged
from sitekit.audit.written import Written

PINS = "pins stand in receiver files where the plan has them"
PLOTS = "pins of the boat's list are the pins of the plots"
ONCE = "a unit is on one dive only, and each dive plants planned units"
MINUTES = "no dive is longer than gas, table and supervisor allow; later dives only with the supervisor's minutes"
PULLED = "the pull list takes the fragments that the dives plant"
SEASON = "out/season.gpkg"
CLOSE_DEG = 5e-7  # receiver files carry 9 decimals
CLOSE_M = 0.01
_GPX, _KML = "{http://www.topografix.com/GPX/1/1}", "{http://www.opengis.net/kml/2.2}"


def audit_divers(written: Written) -> list[Finding]:
    """Return the findings on pins and dives; none where a plan has no such table.

    Parameters
    ----------
    written : Written
        What was read from `out/`.
    """
    findings = []
    waypoints, plots = written.table("waypoints"), written.table("plots")
    if waypoints is not None and len(waypoints):
        findings.append(_receivers(written.out, waypoints))
        if plots is not None and written.crs is not None:
            findings.append(_pins(waypoints, plots, Transformer.from_crs(4326, written.crs, always_xy=True)))
    dives, colonies, pulls = written.table("dives"), written.table("colonies"), written.table("pull_list")
    if dives is not None and len(dives) and colonies is not None and pulls is not None:
        findings += [_once(dives, colonies), _minutes(dives), _pulled(dives, pulls)]
    return findings


def _receivers(out: Path, waypoints: pd.DataFrame) -> Finding:
    due = {
        str(n): (float(x), float(y))
        for n, x, y in zip(waypoints["name"], waypoints["longitude_deg"], waypoints["latitude_deg"], strict=True)
    }
    broken = []
    for name, read in (("waypoints.gpx", _gpx), ("waypoints.kml", _kml), ("waypoints.csv", _csv)):
        try:
            found = read(out / name)
        except (OSError, ET.ParseError, KeyError, ValueError, AttributeError) as error:
            broken.append(f"{name}: {error}")
            continue
        missing = sorted(set(due) ^ set(found))
        if missing:
            broken.append(f"{name}: {', '.join(missing[:3])} not in both")
        for pin in sorted(set(due) & set(found)):
            away = max(abs((found[pin][0] - due[pin][0] + 180) % 360 - 180), abs(found[pin][1] - due[pin][1]))
            if away > CLOSE_DEG:
                broken.append(f"{name}: {pin} is {away:.7f}° away")
    return judged(PINS, broken, len(due), "out/waypoints.gpx, .kml, .csv", kept=f"within {CLOSE_DEG:g}°")


def _gpx(path: Path) -> dict[str, tuple[float, float]]:
    root = ET.fromstring(path.read_bytes())
    return {
        str(p.findtext(f"{_GPX}name")): (float(p.attrib["lon"]), float(p.attrib["lat"]))
        for p in root.findall(f"{_GPX}wpt")
    }


def _kml(path: Path) -> dict[str, tuple[float, float]]:
    found = {}
    for mark in ET.fromstring(path.read_bytes()).iter(f"{_KML}Placemark"):
        lon, lat = str(mark.findtext(f"{_KML}Point/{_KML}coordinates")).split(",")[:2]
        found[str(mark.findtext(f"{_KML}name"))] = (float(lon), float(lat))
    return found


def _csv(path: Path) -> dict[str, tuple[float, float]]:
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    return {
        n: (float(x), float(y))
        for n, x, y in zip(frame["name"], frame["longitude_deg"], frame["latitude_deg"], strict=True)
    }


def _pins(waypoints: pd.DataFrame, plots: pd.DataFrame, turn: Transformer) -> Finding:
    x, y = turn.transform(waypoints["longitude_deg"].to_numpy(float), waypoints["latitude_deg"].to_numpy(float))
    own = plots.set_index("plot")
    broken = []
    for k, (plot, pin) in enumerate(zip(waypoints["plot"], waypoints["pin"], strict=True)):
        if plot not in own.index:
            broken.append(f"{plot} is no plot of the plan")
            continue
        before = "" if pin == 1 else "second_"
        row = own.loc[plot]
        away = float(np.hypot(x[k] - row[f"{before}pin_x_m"], y[k] - row[f"{before}pin_y_m"]))
        if not away <= CLOSE_M:
            broken.append(f"{plot} pin {pin} is {away:.2f} m from its plot's pin")
    firsts = set(waypoints["plot"][waypoints["pin"] == 1])
    broken += [f"{p} has no pin in the list" for p in sorted(set(own.index) - firsts)]
    return judged(PLOTS, broken, len(waypoints), SEASON, kept=f"within {CLOSE_M:g} m")


def _once(dives: pd.DataFrame, colonies: pd.DataFrame) -> Finding:
    planned = {(str(p), int(n)) for p, n in zip(colonies["plot"], colonies["sequence"], strict=True)}
    counted: Counter[tuple[str, int]] = Counter()
    broken = []
    for dive in dives[dives["kind"] == "plant"].to_dict("records"):
        numbers = _numbers(str(dive["numbers"]))
        if len(numbers) != dive["units"]:
            broken.append(f"{dive['dive']}: {dive['units']} units, numbers {dive['numbers']}")
        counted.update((str(dive["plot"]), n) for n in numbers)
    broken += [f"{p} {n} on {k} dives" for (p, n), k in sorted(counted.items()) if k > 1]
    broken += [f"{p} {n} is not planned" for p, n in sorted(set(counted) - planned)]
    return judged(ONCE, broken, len(counted), SEASON, kept="numbers of every dive read again")


def _numbers(text: str) -> list[int]:
    out: list[int] = []
    for part in text.replace("–", "-").split(","):
        ends = [int(v) for v in part.split("-")]
        out += range(ends[0], ends[-1] + 1)
    return out


def _minutes(dives: pd.DataFrame) -> Finding:
    broken = []
    for dive in dives.to_dict("records"):
        limits = [dive["gas_min"], dive["supervisor_min"], dive["table_min"] if dive["first_of_day"] else None]
        least = min(float(v) for v in limits if v is not None and not pd.isna(v))
        if not dive["bottom_min"] <= dive["allowed_min"] + 1e-6 <= least + 2e-6:
            broken.append(f"{dive['dive']}: {dive['bottom_min']:g} min, at most {least:g}")
        if not dive["first_of_day"] and pd.isna(dive["supervisor_min"]):
            broken.append(f"{dive['dive']}: a later dive without the supervisor's minutes")
    for (day, pair), own in dives.groupby(["day", "pair"]):
        firsts = own.sort_values("start")["first_of_day"].tolist()
        if firsts != [True] + [False] * (len(own) - 1):
            broken.append(f"day {day}, pair {pair}: first dives marked {firsts}")
    return judged(MINUTES, broken, len(dives), SEASON, kept="each dive's least limit; nursery dives count")


def _pulled(dives: pd.DataFrame, pulls: pd.DataFrame) -> Finding:
    planted = dives[dives["kind"] == "plant"].groupby("day")["fragments"].sum()
    taken = pulls.groupby("day")["take"].sum()
    broken = [
        f"day {day}: {int(planted.get(day, 0))} planted, {int(taken.get(day, 0))} pulled"
        for day in sorted(set(planted.index) | set(taken.index))
        if int(planted.get(day, 0)) != int(taken.get(day, 0))
    ]
    return judged(PULLED, broken, len(planted), SEASON, kept="day by day, spares apart")
