"""What a script or notebook calls: the commands as functions, paths in, tables and figures out."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.audit import plan as audit_rooms
from sitekit.audit.promises import Finding
from sitekit.pipeline.explain import explain_place
from sitekit.pipeline.explained import PlaceExplained
from sitekit.pipeline.explore import explore as write_page
from sitekit.pipeline.export import CAUTIONS
from sitekit.pipeline.project import Machine, open_project
from sitekit.pipeline.report import check_plan
from sitekit.pipeline.samples import make_demo
from sitekit.pipeline.stages import Report, run_stages
from sitekit.season import plan_tables
from sitekit.season.settings import Settings


def demo(folder: str | PathLike[str]) -> Path:
    """Write the fictional reef's files and its `plan.toml` into a folder.

    Parameters
    ----------
    folder : path
        A new or empty folder; one that already holds a plan keeps it.

    Returns
    -------
    Path
        The `plan.toml`.

    Raises
    ------
    FileFault
        If the folder holds other things but no plan, or cannot be written.
    """
    return make_demo(Path(folder))


def read_settings(plan: str | PathLike[str]) -> Settings:
    """Read a plan's settings.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it.

    Returns
    -------
    Settings
        Every table of the plan, with what was left out filled in.

    Raises
    ------
    InputFault
        With every fault: key path, value, what was due.
    """
    return open_project(Path(plan)).settings


def check(plan: str | PathLike[str]) -> list[dict[str, Any]]:
    """Read every file of a plan and say how it was understood; nothing is written.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it.

    Returns
    -------
    list of dict
        A row per layer: `layer`, `source_crs`, `extent` (west, south, east, north [degrees]), `notes`; for rasters and
        polygons also `source_resolution_m`, `share_covered` (0–1), `minimum`, `maximum`, `unit`.

    Raises
    ------
    InputFault
        With every fault that was found.
    """
    return check_plan(Path(plan))


def run(
    plan: str | PathLike[str], *, last: str = "export", threads: int | None = None, memory_gb: float = 0.8
) -> Report:
    """Plan the season as the command `sitekit run` does: every stage up to `last` that is not up to date.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it.
    last : str
        `layers`, `score`, `candidates`, `sensitivity`, `choose`, `allocate`, `place` or `export`.
    threads : int, optional
        Worker threads, at least 1; all cores if left out. The results do not depend on it.
    memory_gb : float
        Most memory for rasters [GB].

    Returns
    -------
    Report
        Stages done and left out, figures by stage, files written, seconds by stage.

    Raises
    ------
    InputFault
        On faults of settings or files; earlier results are untouched.
    Shortfall
        After writing, if more was asked for than can be done; its `report` is what would have been returned.
    """
    machine = Machine(memory_gb=memory_gb) if threads is None else Machine(threads, memory_gb)
    return run_stages(Path(plan), machine, last)


def explain(plan: str | PathLike[str], *, at: str | None = None, site: str | None = None) -> PlaceExplained:
    """Say why a place has the score it has, as the command `sitekit explain` does.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it; its run must be up to date.
    at : str, optional
        A position in any notation.
    site : str, optional
        A site's code, or a candidate's label of this run; give one of `at` and `site`.

    Returns
    -------
    PlaceExplained
        Per species: score, every criterion's value, response and weight, the limiting one, every exclusion.

    Raises
    ------
    InputFault
        If the place cannot be read, lies outside the grid, or nothing has that code.
    FileFault
        If the results are missing or do not belong to this plan.
    """
    return explain_place(Path(plan), at=at, site=site)


def explore(plan: str | PathLike[str], machine: Machine | None = None) -> Path:
    """Write the page on which weights can be tried, as the command `sitekit explore` does.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it.
    machine : Machine, optional
        How this machine works; never part of a plan.

    Returns
    -------
    Path
        `out/explore.html`: a preview, only a run makes the plan.

    Raises
    ------
    InputFault, FileFault
        From the stages that run first where they are not up to date, or if the page cannot be written.
    """
    return write_page(Path(plan), CAUTIONS, machine)


def audit_plan(plan: str | PathLike[str]) -> list[Finding]:
    """Read the written files again and judge every promise, as the command `sitekit audit` does.

    Parameters
    ----------
    plan : path
        A `plan.toml`, or the folder that holds it.

    Returns
    -------
    list of Finding
        One per promise, with its figure; a broken one is a finding with `ok` false, never an error.

    Raises
    ------
    InputFault
        With the faults of the settings.
    FileFault
        If nothing was written yet.
    """
    project = open_project(Path(plan))
    return audit_rooms.audit_plan(project.folder, project.settings)


def read_plan(season: str | PathLike[str]) -> dict[str, pd.DataFrame]:
    """Read every table of a season.

    Parameters
    ----------
    season : path
        The `out/season.gpkg` of a run.

    Returns
    -------
    dict of str to DataFrame
        Table name -> rows; tables with places are GeoDataFrames in the working system [m]. Units stand in column names.

    Raises
    ------
    FileFault
        If the file is missing or not a season.
    InputFault
        If a table does not match its definition.
    """
    return plan_tables.read_plan(Path(season))
