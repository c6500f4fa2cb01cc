"""What the export writes for those who plant and come back: forms to fill in, units as planted, survival, survey sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import pandas as pd

from sitekit.outputs.dive_pdf.survey_sheets import write_survey_sheets
from sitekit.outputs.tables import write_csv, write_table_csv
from sitekit.outputs.vector import write_geojson
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.packs import survey_pack
from sitekit.pipeline.planted import to_plant
from sitekit.pipeline.project import Project

_FORM = ["site", "plot", "number", "tag", "species", "genet"]
_PLANTING = [*_FORM, "fragments", "planted", "date", "along_m", "offset_m", "note"]
_SURVEY = [*_FORM, "date", "state", "live_pct", "cause", "note"]
_OUTPLANTS = ["species", "genet", "latitude", "longitude", "date", "position_error_m", "site", "number", "tag", "state"]


def write_survey_files(
    project: Project,
    ground: Ground,
    tables: Mapping[str, pd.DataFrame],
    about: Mapping[str, object],
    run_id: str,
    cautions: Sequence[str],
) -> list[str]:
    """Write the planting form where units are left to plant; the rest where something was planted.

    Parameters
    ----------
    project, ground
        Of the run.
    tables : mapping of str to DataFrame
        The season.
    about : mapping
        What stands in each GeoJSON.
    run_id : str
        Printed on every page.
    cautions : sequence of str
        Printed once per set.

    Returns
    -------
    list of str
        Names of the files.
    """
    files: list[str] = []
    planted = tables["as_planted"]
    fictional = project.settings.plan.fictional
    drawn = project.settings.spacing.mode != "fill" and not ground.scout  # else nobody plants by this plan
    if drawn and len(left := to_plant(tables)):
        form = left.rename(columns={"sequence": "number"})[_FORM].assign(
            fragments="", planted="", date="", along_m="", offset_m="", note=""
        )
        write_csv(project.target("planting_form.csv"), form[_PLANTING])
        files.append("planting_form.csv")
    if not len(planted):
        return files
    standing = planted[planted["state"] != "dead"]
    form = standing.rename(columns={"sequence": "number"})[_FORM].assign(
        date="", state="", live_pct="", cause="", note=""
    )
    write_csv(project.target("survey_form.csv"), pd.DataFrame(form[_SURVEY]))
    named = gpd.GeoDataFrame(planted)
    named["id"] = [f"{s}-{n}" for s, n in zip(named["site"], named["sequence"], strict=True)]
    write_geojson(project.target("as_planted.geojson"), named, id_column="id", fictional=fictional, about=dict(about))
    write_table_csv(project.target("as_planted.csv"), planted, "as_planted", fictional=fictional)
    write_table_csv(project.target("survival.csv"), tables["survival"], "survival", fictional=fictional)
    write_table_csv(project.target("visits.csv"), tables["visits"], "visits", fictional=fictional)
    living = planted[planted["state"].isin(["planted", "alive"])].rename(
        columns={
            "sequence": "number",
            "latitude_deg": "latitude",
            "longitude_deg": "longitude",
            "planted": "date",
            "error_m": "position_error_m",
        }
    )
    decimals = {"latitude": 9, "longitude": 9, "position_error_m": 2}
    write_csv(project.target("outplants.csv"), pd.DataFrame(living[_OUTPLANTS]), decimals=decimals)
    files += ["survey_form.csv", "as_planted.geojson", "as_planted.csv", "survival.csv", "visits.csv", "outplants.csv"]
    if len(tables["sheets"]) and (planted["as_drawn"].astype(bool) & (planted["state"] != "dead")).any():
        write_survey_sheets(project.target("survey_sheets.pdf"), survey_pack(project, ground, tables, run_id, cautions))
        files.append("survey_sheets.pdf")
    return files
