"""Stage 7: the files people read, all from the season's tables."""

from __future__ import annotations

import geopandas as gpd

from sitekit.base.wording import Wording, worded
from sitekit.outputs.tables import write_colonies_csv
from sitekit.outputs.vector import write_geojson
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.lineage import write_lineage
from sitekit.pipeline.map_scene import map_norths, map_scene
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.survey_files import write_survey_files

TRANSLATED = (
    "dive sheets",
    "day plan",
    "survey sheets",
    "scout form",
    "permit packet",
    "map sheet",
    "map page",
    "decision record",
)
ENGLISH_ONLY = (
    "waypoint files",
    "tables",
    "what commands say",
)
PUBLIC_COPIES = (
    "living_colonies.csv",
    "map.html",
    "map.pdf",
    "permit.pdf",
    "permit_tables.csv",
    "permit_text.txt",
    "work_areas.geojson",
    "work_areas.zip",
)
CAUTIONS = (
    "Planning aid only: not a permit.",
    "Not for navigation; depths and positions carry the errors stated for them.",
    "Dive planning belongs to the dive supervisor and the team's own tables and rules.",
    "Handling protected corals needs authority; local codes come first.",
)


def run(project: Project, run_id: str) -> Done:
    """Write GeoJSON, CSV, map and map sheet."""
    from sitekit.outputs.map_html.write import write_map
    from sitekit.outputs.map_sheet import write_map_sheet
    from sitekit.pipeline.decision_record import write_decision_files
    from sitekit.pipeline.diver_files import write_diver_files
    from sitekit.pipeline.permit_files import write_permit_files

    settings = project.settings
    tables = project.season()
    ground = read_ground(project)
    about = {
        "name": settings.plan.name,
        "run_id": run_id,
        "date": settings.plan.date.isoformat(),
        "depth_datum": settings.layers.bathymetry.datum,
        "cautions": list(CAUTIONS),
    }
    fictional = settings.plan.fictional
    candidates, colonies = tables["candidates"], tables["colonies"]
    write_geojson(
        project.target("candidates.geojson"),
        gpd.GeoDataFrame(candidates),
        id_column="candidate",
        fictional=fictional,
        about=about,
    )
    files = ["candidates.geojson"]
    if not ground.scout:
        named = gpd.GeoDataFrame(colonies)
        named["id"] = [f"{s}-{n}" for s, n in zip(named["site"], named["sequence"], strict=True)]
        write_geojson(project.target("colonies.geojson"), named, id_column="id", fictional=fictional, about=about)
        write_colonies_csv(
            project.target("colonies.csv"),
            gpd.GeoDataFrame(colonies),
            notation=settings.outputs.coordinates,
            fictional=fictional,
        )
        files += ["colonies.geojson", "colonies.csv"]
    with worded(settings.outputs.language, settings.outputs.units) as told:
        files += write_survey_files(project, ground, tables, about, run_id, CAUTIONS)
        files += write_diver_files(project, ground, tables, run_id, CAUTIONS)
        permit_files, unwritten = write_permit_files(project, ground, tables, run_id, CAUTIONS)
        files += permit_files
        scene = map_scene(project, ground, tables, run_id, CAUTIONS)
        write_map_sheet(project.target("map.pdf"), scene, map_norths(project, scene.grid), settings.outputs.paper)
        write_map(project.target("map.html"), scene)
        files += write_decision_files(project, ground, tables, run_id, CAUTIONS)
    files += write_lineage(project, tables)
    files += ["map.html", "map.pdf"]
    return Done(
        files,
        {
            "candidates": len(candidates),
            "colonies": len(colonies),
            "files": files,
            "wording": wording_notes(told),
            "public": public_note(files) if settings.outputs.public else "",
        },
        unwritten,
    )


def public_note(files: list[str]) -> str:
    """Return which of the files may leave the team after `[outputs] public = true`, and that no other may."""
    public = [name for name in files if name in PUBLIC_COPIES]
    return f"public copies: {', '.join(sorted(public))}; every other file in out/ still tells places of corals: hand out none"


def wording_notes(told: Wording) -> list[str]:
    """Return what a reader must know about language and units of the printed sheets; empty for English in both units."""
    notes = []
    if told.language != "en":
        notes.append(
            f"{', '.join(TRANSLATED[:-1])} and {TRANSLATED[-1]} are in {told.language!r}"
            + ("" if told.reviewed else ", a translation nobody has reviewed: cautions carry the English beside them")
        )
        notes.append("in English whatever the language: " + ", ".join(ENGLISH_ONLY))
        if told.untold:
            notes.append("sentences without a translation, printed in English: " + "; ".join(told.untold))
    if told.units == "ft":
        notes.append(
            "tape readings stay in metres: units stand on steps of 0.1 m, and tenths of a foot would bring some nearer "
            "to each other than planned"
        )
    return notes
