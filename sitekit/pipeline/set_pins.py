"""Pins as they were set: read from the team's file, checked against the plan, appended to records.gpkg."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import inverse
from sitekit.base.notation import Axis
from sitekit.base.positions import read_angle, read_position
from sitekit.errors import Fault, Faults, FileFault, InputFault
from sitekit.layers.cells import DATE, point
from sitekit.layers.columns import find_column
from sitekit.layers.rows import read_rows
from sitekit.pipeline.project import Project, open_project
from sitekit.season.plan_tables import read_table
from sitekit.season.records import append_records, read_records

RECORDS = "records.gpkg"
FARTHEST_M = 200.0  # from the planned place; farther away a pin is taken for a slip of the pen, not for a pin
_AXES: tuple[tuple[Axis, str], ...] = (("lat", "latitude"), ("lon", "longitude"))
_PINS = {"1": 1, "A": 1, "2": 2, "B": 2}


def record_pins(
    plan: Path, file: Path, *, date: str | None = None, error_m: float | None = None
) -> list[dict[str, Any]]:
    """Append as-set pins to `records.gpkg`, all or none; return what each does to the plan.

    Parameters
    ----------
    plan : Path
        The `plan.toml`, with a finished run.
    file : Path
        A table (CSV, XLSX) or GPX.
    date, error_m
        For rows that do not say.

    Returns
    -------
    list of dict
        `plot`, `pin`, `moved_m`, `bearing_deg` (from the planned place), `warning` (outside the permit's area, or empty).

    Raises
    ------
    FileFault
        If the file or a finished run is missing.
    InputFault
        Naming every row that cannot be a pin of this plan.
    """
    project = open_project(plan)
    season = project.out / "season.gpkg"
    waypoints, plots = read_table(season, "waypoints"), read_table(season, "plots")
    planned = {(str(w["plot"]), int(w["pin"])): w for w in waypoints.to_dict("records")}
    out = []
    with Faults() as faults:
        rows = _read(Path(file), waypoints, date, error_m, faults)
        for where, row in rows:
            key = (row["plot"], row["pin"])
            if not row["pin"]:
                continue  # told by the reader
            if key not in planned:
                known = ", ".join(sorted({p for p, _ in planned})[:12])
                faults.add(
                    where,
                    f"plot {row['plot']!r} pin {'AB'[row['pin'] - 1]}",
                    f"a pin of this plan: {known} …",
                    "Correct it.",
                )
                continue
            way = inverse(
                planned[key]["longitude_deg"], planned[key]["latitude_deg"], row["longitude_deg"], row["latitude_deg"]
            )
            moved = float(np.asarray(way.distance_m).ravel()[0])
            if moved > FARTHEST_M:
                faults.add(
                    where,
                    f"{row['plot']} pin {'AB'[row['pin'] - 1]} lies {moved:.0f} m from the planned place",
                    f"within {FARTHEST_M:g} m",
                    "Check notation, sign and datum; nothing was recorded.",
                )
                continue
            bearing = float(np.asarray(way.azimuth_deg).ravel()[0]) % 360.0
            out.append((row, moved, bearing))
        twice = [
            k for k in {(r["plot"], r["pin"]) for _, r in rows} if sum((r["plot"], r["pin"]) == k for _, r in rows) > 1
        ]
        for plot, pin in sorted(twice):
            faults.add(file.name, f"{plot} pin {'AB'[pin - 1]} twice", "each pin once per file", "Keep the better one.")
    append_records(project.folder / RECORDS, "set_pins", pd.DataFrame([r for r, _, _ in out]))
    area = _permit_area(project, season)
    return [
        {
            "plot": row["plot"],
            "pin": row["pin"],
            "moved_m": round(moved, 2),
            "bearing_deg": round(bearing, 1),
            "warning": _warning(row, area, plots.crs),
        }
        for row, moved, bearing in out
    ]


def latest_pins(folder: Path) -> dict[str, dict[int, tuple[float, float]]]:
    """Return the last recorded position of each pin: plot -> pin -> longitude, latitude [°]."""
    found: dict[str, dict[int, tuple[float, float]]] = {}
    for row in read_records(folder / RECORDS, "set_pins").to_dict("records"):
        found.setdefault(str(row["plot"]), {})[int(row["pin"])] = (
            float(row["longitude_deg"]),
            float(row["latitude_deg"]),
        )
    return found


def pin_errors(folder: Path) -> dict[str, float]:
    """Return the error of each plot's pins as last measured, the larger of the two [m]; plots without a stated one lack."""
    last: dict[tuple[str, int], float] = {}
    for row in read_records(folder / RECORDS, "set_pins").to_dict("records"):
        last[(str(row["plot"]), int(row["pin"]))] = float(row["error_m"])
    found: dict[str, float] = {}
    for (plot, _), error in last.items():
        if not np.isnan(error):
            found[plot] = max(error, found.get(plot, 0.0))
    return found


def moved_lines(plots: pd.DataFrame, allowed_share: float) -> list[str]:
    """Return what the run says of plots that followed their pins; units left out stand among the shortfalls.

    Parameters
    ----------
    plots : DataFrame
        Table of the season.
    allowed_share : float
        Least share of a plot on allowed bottom that the plan asks for, 0 to 1.
    """
    lines = []
    for plot in plots[plots["note"].fillna("").str.contains(" set .* m from plan")].to_dict("records"):
        what = "; ".join(part for part in str(plot["note"]).split("; ") if not part.startswith("species "))
        line = f"{plot['plot']} follows its pins: {what}; {plot['units']} units stand"
        if not pd.isna(plot["hard_pct"]):
            line += f", {plot['hard_pct']:.0f} % of it on allowed bottom"
            if plot["hard_pct"] < 100.0 * allowed_share:
                line += f": LESS than the {100.0 * allowed_share:g} % that spacing.plot.allowed_share asks for"
        lines.append(line)
    return lines


def _read(
    file: Path, waypoints: pd.DataFrame, date: str | None, error_m: float | None, faults: Faults
) -> list[tuple[str, dict[str, Any]]]:
    if not file.is_file():
        raise FileFault(Fault(str(file), "is missing", "a table or GPX file of pins", "Give its path."))
    if file.suffix.lower() == ".gpx":
        found = _read_gpx(file, waypoints, faults)
    else:
        found = _read_table(file, faults)
    out = []
    for where, row in found:
        row["date"] = row["date"] or date
        row["error_m"] = error_m if row["error_m"] is None else row["error_m"]
        try:
            row["date"] = datetime.date.fromisoformat(str(row["date"])).isoformat()
        except ValueError:
            faults.add(where, f"date {row['date']!r}", "a day such as 2026-05-04", "Add a column, or give --date.")
        out.append((where, row))
    if not out and not faults.found:
        raise InputFault(Fault(file.name, "holds no pin", "at least one", "Check the file."))
    return out


def _read_table(file: Path, faults: Faults) -> list[tuple[str, dict[str, Any]]]:
    rows = read_rows(file, file.name)
    plain = {n.strip().lower(): n for n in reversed(rows.names)}
    for one in ("position", "latitude", "longitude"):
        found = find_column(rows.names, one)
        if one not in plain and found is not None:
            plain[one] = found
    for name in ("plot", "pin"):
        if name not in plain:
            faults.add(file.name, f"no column {name!r}", "plot, pin, latitude, longitude, date", "Add it.")
    if "position" not in plain and not {"latitude", "longitude"} <= set(plain):
        faults.add(file.name, "no position", "columns latitude and longitude, or position", "Add them.")
    if faults.found:
        return []
    faults.found += [r.fault() for r in rows.broken]
    out = []
    for i, line in enumerate(rows.lines):
        where = f"{file.name}, line {line}"
        row = {key: rows.cells[i][rows.names.index(name)] for key, name in plain.items()}
        for key, name in plain.items():
            odd = rows.odd.get((line, name))
            if odd and not (key == "date" and odd == DATE):
                faults.add(where, f"{name} is {odd}", "a plain cell", "Correct it.")
            elif odd:
                row[key] = row[key][:10]
        pin = _PINS.get(row["pin"].upper())
        if pin is None:
            faults.add(where, f"pin {row['pin']!r}", "A or B (1 or 2)", "Correct it.")
        try:
            if "position" in row:
                lon, lat = read_position(row["position"], where)
            else:
                lat, lon = (_angle(row, axis, f"{where}, {name}", rows.decimal) for axis, name in _AXES)
        except InputFault as error:
            faults.found.extend(error.faults)
            continue
        text = point(row.get("error_m", ""), rows.decimal)
        try:
            error_m = float(text) if text else None
        except ValueError:
            faults.add(where, f"error_m {text!r}", "a number of metres", "Correct it.")
            continue
        out.append((where, _row(row["plot"], pin or 0, lon, lat, error_m, row.get("date"), row.get("note"))))
    return out


def _angle(row: dict[str, str], axis: Axis, where: str, decimal: str) -> float:
    return read_angle(point(row["latitude" if axis == "lat" else "longitude"], decimal), axis, where)


def _read_gpx(file: Path, waypoints: pd.DataFrame, faults: Faults) -> list[tuple[str, dict[str, Any]]]:
    import gpxpy
    import gpxpy.gpx

    try:
        document = gpxpy.parse(file.read_text("utf-8-sig"))
    except (gpxpy.gpx.GPXException, UnicodeDecodeError) as error:
        raise InputFault(
            Fault(file.name, f"is not GPX: {error}", "a GPX file of the receiver", "Save again.")
        ) from error
    known = {str(w["name"]): (str(w["plot"]), int(w["pin"])) for w in waypoints.to_dict("records")}
    out = []
    for mark in document.waypoints:
        where = f"{file.name}, waypoint {mark.name!r}"
        if mark.name not in known:
            faults.add(where, "no pin of this plan", "names as in out/waypoints.gpx", "Rename it, or take it out.")
            continue
        plot, pin = known[mark.name]
        day = mark.time.date().isoformat() if mark.time else None
        out.append((where, _row(plot, pin, mark.longitude, mark.latitude, None, day, mark.comment)))
    return out


def _row(plot: str, pin: int, lon: float, lat: float, error_m: float | None, date: Any, note: Any) -> dict[str, Any]:
    return {
        "plot": plot,
        "pin": pin,
        "longitude_deg": (lon + 180.0) % 360.0 - 180.0,
        "latitude_deg": lat,
        "error_m": error_m,
        "date": str(date).strip() if date else None,
        "note": str(note).strip() if note else None,
    }


def _permit_area(project: Project, season: Path) -> Any:
    """Union of the work areas of the last run, None without any."""
    areas: Any = read_table(season, "work_areas")
    shapes = [g for g in areas.geometry if g is not None and not g.is_empty]
    return shapely.union_all(shapes) if shapes else None


def _warning(row: dict[str, Any], area: Any, crs: Any) -> str:
    if area is None:
        return ""
    x, y = transform_points([row["longitude_deg"]], [row["latitude_deg"]], WGS84, crs)
    if area.covers(shapely.Point(float(x[0]), float(y[0]))):
        return ""
    return "OUTSIDE the planned work areas: the permit may not cover it; the next run checks the rules again"
