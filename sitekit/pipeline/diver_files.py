"""What the export writes for divers, leader and boat: sheets, day plan, waypoints, the dives as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from sitekit.outputs.dive_pdf.days import write_day_plan
from sitekit.outputs.dive_pdf.sheets import write_dive_sheets
from sitekit.outputs.tables import write_table_csv
from sitekit.outputs.waypoints import write_waypoints
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.packs import LINE, day_pack, dive_pack
from sitekit.pipeline.project import Project


def write_diver_files(
    project: Project, ground: Ground, tables: Mapping[str, pd.DataFrame], run_id: str, cautions: Sequence[str]
) -> list[str]:
    """Write what there is something to write for; return the names of the files.

    Parameters
    ----------
    project, ground
        Of the run.
    tables : mapping of str to DataFrame
        The season.
    run_id : str
        Printed on every page.
    cautions : sequence of str
        Printed once per set.

    Raises
    ------
    InputFault
        If a name is too long for its place or in a script the font lacks; no file of it is written then.
    """
    settings = project.settings
    files: list[str] = []
    if len(tables["waypoints"]):
        about = [f"Run {run_id}.", f"Date {settings.plan.date.isoformat()}.", "WGS 84.", LINE]
        folder = project.target("waypoints.csv").parent
        files += write_waypoints(
            folder,
            tables["waypoints"],
            title=settings.plan.name,
            about=about,
            datum=settings.layers.bathymetry.datum,
            fictional=settings.plan.fictional,
        )
    if len(tables["sheets"]):
        write_dive_sheets(project.target("dive_sheets.pdf"), dive_pack(project, ground, tables, run_id, cautions))
        files.append("dive_sheets.pdf")
    if len(tables["days"]):
        write_day_plan(project.target("day_plan.pdf"), day_pack(project, tables, run_id, cautions))
        write_table_csv(project.target("fieldwork.csv"), tables["dives"], "dives", fictional=settings.plan.fictional)
        files += ["day_plan.pdf", "fieldwork.csv"]
    return files
