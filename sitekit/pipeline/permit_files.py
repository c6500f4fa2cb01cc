"""The files of the permit packet: PDF, tables and texts, work areas for other programs."""

from __future__ import annotations

import pandas as pd

from sitekit.errors import Fault, InputFault
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.packet import packet_of
from sitekit.pipeline.project import Project


def write_permit_files(
    project: Project, ground: Ground, tables: dict[str, pd.DataFrame], run_id: str, cautions: tuple[str, ...]
) -> tuple[list[str], list[Fault]]:
    """Write `permit.pdf`, `permit_tables.csv`, `permit_text.txt`, `work_areas.geojson` and `work_areas.zip`.

    Returns
    -------
    list of str, list of Fault
        Files written, and why the PDF could not be: a text too long for its box or in a script the font lacks. Then no
        half PDF stands there, and everything else is written.
    """
    from sitekit.outputs.permit_pdf.as_text import write_permit_tables, write_texts
    from sitekit.outputs.permit_pdf.shapes import write_shapefile, write_work_areas
    from sitekit.outputs.permit_pdf.write import write_packet

    packet = packet_of(project, ground, tables, run_id, cautions)
    fictional = project.settings.plan.fictional
    files = ["permit_tables.csv", "permit_text.txt"]
    write_permit_tables(project.target(files[0]), packet, fictional=fictional)
    write_texts(project.target(files[1]), packet)
    if len(packet.areas):
        about = {
            "name": project.settings.plan.name,
            "run_id": run_id,
            "date": project.settings.plan.date.isoformat(),
            "corners": f"rounded to 4 decimals of a minute in {packet.datum_name}",
            "cautions": list(cautions),
        }
        write_work_areas(project.target("work_areas.geojson"), packet.areas, fictional=fictional, about=about)
        write_shapefile(project.target("work_areas.zip"), packet.areas, fictional=fictional)
        files += ["work_areas.geojson", "work_areas.zip"]
    try:
        write_packet(project.target("permit.pdf"), packet)
    except InputFault as error:
        return files, list(error.faults)
    return [*files, "permit.pdf"], []
