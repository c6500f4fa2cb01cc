"""Looks at planted units: appended to records.gpkg from the team's file, and read back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.base.tables import empty
from sitekit.errors import Faults
from sitekit.pipeline.planted import planted_units
from sitekit.pipeline.project import Project, open_project
from sitekit.pipeline.recorded_rows import Unit, UnitRow, number_cell, read_unit_rows, shortened, twice
from sitekit.pipeline.set_pins import RECORDS
from sitekit.season.records import append_records, read_records

STATES = ("alive", "dead", "missing")
NONE = "none"  # takes the look of that day back
_WORDS = {s: s for s in (*STATES, NONE)} | {
    "a": "alive",
    "d": "dead",
    "m": "missing",
    "live": "alive",
    "not found": "missing",
}


def record_survey(plan: Path, file: Path, *, date: str | None = None) -> list[dict[str, Any]]:
    """Append looks at planted units to `records.gpkg`, all of a file or none; return a row per plot.

    Parameters
    ----------
    plan : Path
        The `plan.toml`.
    file : Path
        A table: see `read_unit_rows`; further columns `state` (alive, dead or missing; `none` takes the look of that
        day back; rows without it say nothing),
        `live_pct` (0 to 100, of units alive), `cause`, `note`.
    date : str, optional
        Day for rows that do not say.

    Returns
    -------
    list of dict
        `plot`, `date`, `alive`, `dead`, `missing`, `of` (units planted in the plot).

    Raises
    ------
    FileFault
        If the file is missing.
    InputFault
        Naming every row that cannot be a look at a planted unit; nothing is recorded then.
    """
    project = open_project(plan)
    units = planted_units(project)
    with Faults() as faults:
        if not len(units):
            faults.add(RECORDS, "nothing is recorded as planted", "planted units", "Run: sitekit record planted FILE")
    plot_of = {(str(s), int(n)): str(p) for s, n, p in units[["site", "sequence", "plot"]].itertuples(index=False)}
    planted = {(str(s), int(n)): str(d) for s, n, d in units[["site", "sequence", "date"]].itertuples(index=False)}
    made: list[dict[str, Any]] = []
    with Faults() as faults:
        rows = read_unit_rows(Path(file), units, faults, date=date, needs="state", whose="the records")
        if not rows and not faults.found:
            faults.add(Path(file).name, "no row says how a unit was", "at least one", "Fill the form in.")
        twice(rows, faults)
        tags = {
            str(t): (str(s), int(n)) for s, n, t in units[["site", "sequence", "tag"]].dropna().itertuples(index=False)
        }
        for row in rows:
            made += _made(row, planted, tags, faults)
        shortened(faults, file)
    append_records(project.folder / RECORDS, "surveys", pd.DataFrame(made, columns=empty("surveys").columns))
    frame = pd.DataFrame(made)
    frame["plot"] = [plot_of[(s, n)] for s, n in zip(frame["site"], frame["sequence"], strict=True)]
    return [
        {
            "plot": str(plot),
            "date": str(day),
            **{state: int((part["state"] == state).sum()) for state in (*STATES, NONE)},
            "of": int((units["plot"] == plot).sum()),
        }
        for (plot, day), part in frame.groupby(["plot", "date"], sort=True)
    ]


def looks(project: Project) -> pd.DataFrame:
    """Return every recorded look, by site, number and day; of rows of one unit and day the last one.

    Raises
    ------
    InputFault
        Naming every state that is none.
    """
    found = read_records(project.folder / RECORDS, "surveys")
    with Faults() as faults:
        for site, number, state in found[["site", "sequence", "state"]].itertuples(index=False):
            if state not in (*STATES, NONE):
                where = f"{RECORDS}, surveys, {site} number {number}"
                faults.add(where, f"state {state!r}", ", ".join(STATES), "Restore the file from a copy.")
    rows = found.drop_duplicates(["site", "sequence", "date"], keep="last")
    rows = rows[rows["state"] != NONE]
    return rows.sort_values(["site", "sequence", "date"], kind="stable").reset_index(drop=True)


def _made(row: UnitRow, planted: dict[Unit, str], tags: dict[str, Unit], faults: Faults) -> list[dict[str, Any]]:
    state = _WORDS.get(row.cells["state"].lower())
    if state is None:
        faults.add(row.where, f"state {row.cells['state']!r}", ", ".join((*STATES, NONE)), "Correct it.")
    other = tags.get(row.cells.get("tag", ""), row.units[0])
    if len(row.units) == 1 and other != row.units[0]:
        came = f"tag {row.cells['tag']!r} beside number {row.units[0][1]}; it is that of {other[0]} number {other[1]}"
        faults.add(row.where, came, "number and tag of one unit", "Look at the sheet again; correct number or tag.")
    live = number_cell(row, "live_pct", faults, least=0.0, most=100.0, unit="%")
    if live is not None and state not in (None, "alive") and (live > 0.0 or state == "missing"):
        faults.add(row.where, f"{live:g} % live tissue of a unit {state}", "live_pct of units alive", "Correct it.")
    early = [u for u in row.units if row.date < planted[u]]
    if early:
        faults.add(
            row.where,
            f"looked at on {row.date}, {early[0][0]} number {early[0][1]} was planted on {planted[early[0]]}",
            "a day after planting",
            "Check the year.",
        )
    note = {n: row.cells.get(n) or None for n in ("cause", "note")}
    return [
        {"site": s, "sequence": n, "date": row.date, "state": state, "live_pct": live, **note} for s, n in row.units
    ]


def records_rows(project: Project) -> list[dict[str, Any]]:
    """Return what `check` says of the records: how much they hold and which season it is taken for; nothing without.

    Raises
    ------
    FileFault, InputFault
        If the file cannot be read.
    """
    used, pins = (read_records(project.folder / RECORDS, n) for n in ("used_numbers", "set_pins"))
    units, seen = planted_units(project), looks(project)
    if not (project.folder / RECORDS).exists():
        return []
    said = [
        f"{len(used)} numbers in use, {len(pins)} pins as set, {len(units)} units planted, {len(seen)} looks at units"
    ]
    notes = []
    if len(units):
        earlier = int((units["season"] == "earlier").sum())
        said.append(
            f"planted {units['date'].min()} to {units['date'].max()}: {len(units) - earlier} units of this season, "
            f"{earlier} of earlier ones"
        )
    if len(units) and project.settings.survey.season_from is None:
        notes.append("survey.season_from is left out: all that is planted counts as this season's")
    return [{"layer": RECORDS, "said": said, "source": "the team", "notes": notes}]
