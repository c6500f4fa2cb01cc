"""Units as planted: appended to records.gpkg from the team's file, read back, and held against the plan.

A unit is known by its site and number. A number stands for one unit for good, so a later row of the same site and
number corrects an earlier one; 0 fragments take it back.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.tables import empty
from sitekit.errors import Faults
from sitekit.layers.rows import read_rows
from sitekit.layout.tape import direction
from sitekit.pipeline.planted_told import told
from sitekit.pipeline.project import Project, open_project
from sitekit.pipeline.recorded_rows import Unit, UnitRow, as_known, number_cell, read_unit_rows, shortened, twice
from sitekit.pipeline.set_pins import RECORDS, latest_pins, pin_errors
from sitekit.season.plan_tables import read_table
from sitekit.season.records import append_records, read_records

UNKNOWN = "unknown"  # a genet whose label was lost
SAME_PLACE_M = 0.5  # farther from where the plan draws it, a planted unit is not the plan's
SAME_READING_M = 0.05  # half a step of the tape
STRAY_M = 5.0  # readings farther off the plot than this are taken for a slip of the pen
MOST_FRAGMENTS = 100
_YES, _NO = {"yes", "y", "x", "1", "true", "done"}, {"no", "n", "0", "false", "not"}
_LEFT = "LIG"  # as sheets in English, Spanish and French print it; right is R, D and D
_READING = re.compile(r"([LIGRD])?\s*([+-]?\d+(?:[.,]\d+)?)", re.IGNORECASE)


def record_planted(plan: Path, file: Path, *, date: str | None = None) -> list[dict[str, Any]]:
    """Append units as planted to `records.gpkg`, all of a file or none; return a row per plot.

    Parameters
    ----------
    plan : Path
        The `plan.toml`, with a finished run.
    file : Path
        A table: see `read_unit_rows`; further columns `planted` (yes or no; rows without it say nothing), `fragments`,
        `genet`, `tag`, `along_m` and `offset_m` (where they differ from the sheet), `note`.
    date : str, optional
        Day for rows that do not say.

    Returns
    -------
    list of dict
        `plot`, `dates`, `planted`, `of` (units planned in it), `not_planted`, `changed` (genet, tag, number of
        fragments or place other than planned), `warning` (a permit's dates, looks that no longer count,
        what was recorded before and is replaced; empty without).

    Raises
    ------
    FileFault
        If the file or a finished run is missing.
    InputFault
        Naming every row that cannot be a unit of this plan; nothing is recorded then.
    """
    project = open_project(plan)
    season = project.out / "season.gpkg"
    colonies = gpd.GeoDataFrame(read_table(season, "colonies"))
    plots = gpd.GeoDataFrame(read_table(season, "plots"))
    with Faults() as faults:
        if not len(colonies):
            faults.add("season.gpkg, colonies", "no unit is planned", "a plan with units", "Run the plan first.")
        header = _headings(file)
        known = _with_tags_as_set(pd.DataFrame(colonies), project)
        rows = read_unit_rows(
            Path(file), known, faults, date=date, needs="planted" if "planted" in header else None, whose="this plan"
        )
        if not rows and not faults.found:
            faults.add(Path(file).name, "no row says that anything was planted", "at least one", "Fill the form in.")
        twice(rows, faults)
        made = _Rows(project, colonies, plots).of(rows, faults)
        shortened(faults, file)
    before = planted_units(project)
    append_records(project.folder / RECORDS, "planted", pd.DataFrame(made, columns=empty("planted").columns))
    looked = read_records(project.folder / RECORDS, "surveys")
    return told(project.settings, made, colonies, before, looked)


def planted_units(project: Project) -> pd.DataFrame:
    """Return every unit that stands recorded as planted, by site and number.

    Returns
    -------
    DataFrame
        Columns of the records' table `planted`, and `season`: `earlier` before `survey.season_from`, else `this`.
    """
    rows = read_records(project.folder / RECORDS, "planted")
    rows = rows.drop_duplicates(["site", "sequence"], keep="last")
    rows = rows[rows["fragments"] > 0].sort_values(["site", "sequence"], kind="stable").reset_index(drop=True)
    since = project.settings.survey.season_from
    earlier = rows["date"] < since.isoformat() if since is not None else pd.Series(False, index=rows.index)
    return rows.assign(season=np.where(earlier, "earlier", "this"))


def earlier_numbers(project: Project) -> pd.DataFrame:
    """Return numbers that units of earlier seasons hold, in the columns of the table `used_numbers`."""
    rows = planted_units(project)
    rows = rows[rows["season"] == "earlier"]
    return pd.DataFrame(rows[["site", "plot", "sequence", "tag", "date", "note"]])


def drawn_places(
    project: Project, rows: pd.DataFrame, colonies: gpd.GeoDataFrame, plots: gpd.GeoDataFrame
) -> dict[Unit, tuple[float, float]]:
    """Return where planted units that the plan still draws stand: site and number -> easting, northing [m].

    Parameters
    ----------
    project : Project
        With its records.
    rows : DataFrame
        As `planted_units`.
    colonies, plots : GeoDataFrame
        Of the plan.

    Returns
    -------
    dict
        Of units of this season with the plan's plot, species and tape readings, within `SAME_PLACE_M` of where they
        were recorded unless the plot's pins were measured since (the plan follows pins). Other units are left out.
    """
    units = {(str(u["site"]), int(u["sequence"])): u for u in colonies.to_dict("records")}
    lines = {str(p["plot"]): p for p in plots.to_dict("records")}
    measured = latest_pins(project.folder)
    found: dict[Unit, tuple[float, float]] = {}
    own = rows[rows["season"] == "this"]
    x, y = transform_points(own["longitude_deg"], own["latitude_deg"], WGS84, colonies.crs)
    for row, there_x, there_y in zip(own.to_dict("records"), x, y, strict=True):
        key = (str(row["site"]), int(row["sequence"]))
        unit = units.get(key)
        if unit is None or unit["plot"] != row["plot"] or unit["species"] != row["species"]:
            continue
        if not all(_same(unit[n], row[f"planned_{n}"]) for n in ("along_m", "offset_m")):
            continue
        east, north = _shift(lines[str(row["plot"])], row)
        place = unit["geometry"].x + east, unit["geometry"].y + north
        if str(row["plot"]) in measured or math.dist(place, (there_x, there_y)) <= SAME_PLACE_M:
            found[key] = place
    return found


def to_plant(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the plan's units that nobody has recorded as planted, in the order of their numbers.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The season, `as_planted` among it.
    """
    colonies, planted = pd.DataFrame(tables["colonies"]), tables["as_planted"]
    own = planted[planted["as_drawn"].astype(bool)]
    done = set(zip(own["site"], own["sequence"], strict=True))
    keep = [k not in done for k in zip(colonies["site"], colonies["sequence"], strict=True)]
    return colonies[np.array(keep, bool)].sort_values(["site", "sequence"], kind="stable")


def planted_on(tables: Mapping[str, pd.DataFrame]) -> dict[tuple[str, int], str]:
    """Return the day on which each unit of the plan was planted, by plot and number."""
    planted: pd.DataFrame = tables["as_planted"]
    own = planted[planted["as_drawn"].astype(bool)]
    return {(str(p), int(n)): str(d) for p, n, d in own[["plot", "sequence", "planted"]].itertuples(index=False)}


def _same(now: float, then: float) -> bool:
    return bool(pd.isna(now) and pd.isna(then)) or abs(now - then) <= SAME_READING_M


def _shift(plot: Mapping[Any, Any], row: Mapping[Any, Any]) -> tuple[float, float]:
    """How far from the planned place new tape readings put a unit, east and north [m]."""
    if any(pd.isna(row[n]) for n in ("along_m", "planned_along_m", "offset_m", "planned_offset_m")):
        return 0.0, 0.0
    along, offset = row["along_m"] - row["planned_along_m"], row["offset_m"] - row["planned_offset_m"]
    if (along, offset) == (0.0, 0.0):
        return 0.0, 0.0
    east, north = plot["second_pin_x_m"] - plot["pin_x_m"], plot["second_pin_y_m"] - plot["pin_y_m"]
    s, c = direction(math.degrees(math.atan2(east, north)))
    along *= plot["length_m"] / plot["tape_m"]  # the tape lies on the bottom, the map is flat
    return along * s + offset * c, along * c - offset * s


class _Rows:
    """Rows of the records' table `planted`, made from what a team typed in and from the plan."""

    def __init__(self, project: Project, colonies: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
        self.crs = colonies.crs
        self.units = {(str(u["site"]), int(u["sequence"])): u for u in colonies.to_dict("records")}
        self.plots = {str(p["plot"]): p for p in plots.to_dict("records")}
        self.genets = {
            str(s): sorted(set(part["genet"].astype(str))) for s, part in colonies.groupby("species", sort=True)
        }
        stock = read_table(project.out / "season.gpkg", "stock")
        for species, genet in stock[["species", "genet"]].dropna().itertuples(index=False):
            own = self.genets.setdefault(str(species), [])
            own += [str(genet)] if str(genet) not in own else []
        self.tags = {k: t for k, u in self.units.items() if isinstance(t := u["tag"], str)}
        for row in planted_units(project).to_dict("records"):
            if isinstance(row["tag"], str):
                self.tags[(str(row["site"]), int(row["sequence"]))] = row["tag"]
        self.errors = pin_errors(project.folder)
        spacing = project.settings.spacing
        self.pin_error, self.tolerance = spacing.pin_error_m, spacing.lay_tolerance_m
        sheets = project.settings.sheets
        self.stretch_m = sheets.segment_m if sheets.kind == "guided" else None
        self.run = _run_id(project)

    def of(self, rows: Iterable[UnitRow], faults: Faults) -> list[dict[str, Any]]:
        found = [
            (row, made) for row in rows for unit in row.units if (made := self._row(row, unit, faults)) is not None
        ]
        out = [made for _, made in found]
        standing = [(row, (made["site"], made["sequence"])) for row, made in found if made["fragments"]]
        self.tags |= {(m["site"], m["sequence"]): m["tag"] for m in out if m["fragments"] and m["tag"]}
        holders: dict[str, list[Unit]] = {}
        for key, tag in self.tags.items():  # as they are once all rows hold: two tags may have changed places
            holders.setdefault(tag, []).append(key)
        for row, key in standing:
            others = [k for k in holders.get(self.tags.get(key, ""), []) if k != key]
            if others:
                due = f"not the tag of {others[0][0]} number {others[0][1]}"
                faults.add(row.where, f"tag {self.tags[key]!r}", due, "Read it again.")
        faults.found[:] = dict.fromkeys(faults.found)  # a row of many numbers has its fault once
        return out

    def _row(self, row: UnitRow, key: Unit, faults: Faults) -> dict[str, Any] | None:
        unit = self.units[key]
        before = len(faults.found)
        single = len(row.units) == 1
        fragments = number_cell(row, "fragments", faults, least=0, most=MOST_FRAGMENTS, unit="fragments")
        said = row.cells.get("planted", "yes").lower()
        if said not in _YES | _NO:
            faults.add(row.where, f"planted {said!r}", "yes or no", "Correct it.")
        if fragments is not None and fragments != int(fragments):
            faults.add(row.where, f"fragments {fragments:g}", "a whole number", "Correct it.")
        known = self.genets.get(str(unit["species"]), [])
        genet = as_known(row.cells.get("genet") or str(unit["genet"]), known)
        if genet != unit["genet"] and as_known(genet, [str(unit["genet"])]) == unit["genet"]:
            why = f"genet {genet!r}, which may be {unit['genet']!r} without its zeros"
            do = f"Leave the cell empty where it is the sheet's; where it is not, write {UNKNOWN} and a note."
            faults.add(row.where, why, f"one of {unit['genet']}, {genet}, told apart", do)
        if genet not in known and genet != UNKNOWN:
            faults.add(
                row.where,
                f"genet {genet!r}",
                f"a genet of {unit['species']}: {', '.join(known[:12])}{' …' if len(known) > 12 else ''}; or {UNKNOWN}",
                "Correct it.",
            )
        tag = (row.cells.get("tag") or None) if single else None
        planned = unit["tag"] if isinstance(unit["tag"], str) else None
        own = dict.fromkeys(t for t in (self.tags.get(key), planned) if t)
        tag = planned if tag is None else as_known(tag, own)
        readings = self._readings(row, unit, single, faults)
        if len(faults.found) > before or readings is None:
            return None
        plot = self.plots[str(unit["plot"])]
        made = {
            "site": key[0],
            "plot": str(unit["plot"]),
            "sequence": key[1],
            "tag": tag,
            "species": str(unit["species"]),
            "genet": genet,
            "fragments": 0 if said in _NO else int(unit["fragments"] if fragments is None else fragments),
            "date": row.date,
            "along_m": readings[0],
            "offset_m": readings[1],
            "angle_deg": unit["angle_deg"],
            "planned_along_m": unit["along_m"],
            "planned_offset_m": unit["offset_m"],
            "depth_m": float(unit["depth_m"]),
            "pin_error_m": self.errors.get(str(unit["plot"]), self.pin_error),
            "laid_error_m": self.tolerance + self._picked(row, plot),
            "run": self.run,
            "note": row.cells.get("note") or None,
        }
        east, north = _shift(plot, made)
        lon, lat = transform_points([unit["geometry"].x + east], [unit["geometry"].y + north], self.crs, WGS84)
        return {**made, "longitude_deg": float(lon[0]), "latitude_deg": float(lat[0])}

    def _picked(self, row: UnitRow, plot: Mapping[Any, Any]) -> float:
        """How far from its reading a unit may stand whose spot the diver picked within a stretch of tape [m]."""
        if self.stretch_m is None or str(plot["shape"]) == "circle" or row.cells.get("along_m"):
            return 0.0
        return math.hypot(self.stretch_m, float(plot["width_m"]))

    def _readings(
        self, row: UnitRow, unit: Mapping[str, Any], single: bool, faults: Faults
    ) -> tuple[float, float] | None:
        """Readings as planted: the sheet's, unless the row tells others."""
        planned = float(unit["along_m"]), float(unit["offset_m"])
        texts = [row.cells.get(n, "") for n in ("along_m", "offset_m")]
        if not any(texts):
            return planned
        plot = self.plots[str(unit["plot"])]
        if not single or str(plot["shape"]) == "circle":
            why = "readings for several numbers" if not single else "readings on a circle"
            faults.add(row.where, why, "along_m and offset_m of one unit on a tape line", "Write them as a note.")
            return None
        signed = [_reading(t, p) for t, p in zip(texts, planned, strict=True)]
        if None in signed:
            faults.add(
                row.where,
                f"along_m {texts[0]!r}, offset_m {texts[1]!r}",
                "metres; the offset as L 1.2 or R 1.2, or negative for left",
                "Correct it.",
            )
            return None
        along, offset = (float(v) for v in signed if v is not None)
        if not (-STRAY_M <= along <= plot["tape_m"] + STRAY_M and abs(offset) <= plot["width_m"] / 2 + STRAY_M):
            faults.add(
                row.where,
                f"{along:g} m along and {offset:g} m beside the tape",
                f"at most {STRAY_M:g} m off the plot of {plot['tape_m']:.1f} × {plot['width_m']:.1f} m",
                "Read the recorder's page again.",
            )
            return None
        return along, offset


def _reading(text: str, planned: float) -> float | None:
    if not text:
        return planned
    match = _READING.fullmatch(text)
    if match is None or (match[1] and match[2][0] in "+-"):
        return None
    value = float(match[2].replace(",", "."))
    return -value if match[1] and match[1].upper() in _LEFT else value


def _headings(file: Path) -> set[str]:
    return {n.strip().lower() for n in read_rows(Path(file), Path(file).name).names} if Path(file).is_file() else set()


def _with_tags_as_set(colonies: pd.DataFrame, project: Project) -> pd.DataFrame:
    """The plan's units, with the tags that were set on them where those were recorded."""
    rows = planted_units(project)
    tags = {(s, n): t for s, n, t in rows[["site", "sequence", "tag"]].itertuples(index=False) if isinstance(t, str)}
    keys = zip(colonies["site"], colonies["sequence"], colonies["tag"], strict=True)
    return colonies.assign(tag=[tags.get((s, n), t) for s, n, t in keys])


def _run_id(project: Project) -> str:
    path = project.out / "manifest.json"
    return str(json.loads(path.read_text("utf-8"))["run_id"])
