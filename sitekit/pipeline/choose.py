"""Stage 4: which sites to work at: coded sites first, else every candidate, best first."""

from __future__ import annotations

import json
from typing import Any

from sitekit.base.tables import build
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.places import site_places
from sitekit.pipeline.project import Done, Project
from sitekit.season.plan_tables import read_plan, write_plan


def run(project: Project, run_id: str) -> Done:
    """Write the table `sites`: chosen ones best first, rejected ones with the reason."""
    season = project.result("season.gpkg")
    tables = read_plan(season)
    crs = read_ground(project).grid.crs
    candidates = tables["candidates"]
    species = tables["candidate_species"]
    names = {s.code: s.name for s in project.settings.site}
    any_coded = bool(candidates["site"].notna().any())
    room = species.groupby("candidate")["capacity"].sum(min_count=1).to_dict() if len(species) else {}
    rows: list[dict[str, Any]] = []
    points = []
    records: list[Any] = list(candidates.itertuples())
    for rank, record in enumerate(records, start=1):
        coded = record.site is not None
        holds = room.get(record.candidate)
        if record.scout:
            chosen, reason = False, f"area to scout: {record.note}"
        elif any_coded and not coded:
            chosen, reason = False, "no site code; coded sites come first"
        elif holds is not None and holds == 0:
            chosen, reason = False, "no unit fits at the planned separation"
        else:
            chosen, reason = True, "all candidates, best first" if not any_coded else "coded site, best first"
        rows.append(
            {
                "site": record.site if coded else record.candidate,
                "coded": coded,
                "candidate": record.candidate,
                "name": names.get(record.site) if coded else record.nearest_name,
                "rank": rank,
                "chosen": chosen,
                "reason": reason,
                "scouted": False,
                "answers": json.dumps({}),
            }
        )
        points.append(record.geometry.representative_point())
    matched = set(candidates["site"].dropna())
    for site in site_places(project, crs):
        if site.code not in matched:
            rows.append(
                {
                    "site": site.code,
                    "coded": True,
                    "name": names.get(site.code),
                    "chosen": False,
                    "reason": "lies in no candidate",
                    "scouted": False,
                    "answers": json.dumps({}),
                }
            )
            points.append(site.place.representative_point())
    tables["sites"] = build("sites", rows, points, crs)
    keep = ("candidates", "candidate_species", "candidate_ranks", "influence", "sites")
    write_plan(project.target("season.gpkg"), {n: tables[n] for n in keep}, crs)
    return Done(
        ["season.gpkg"],
        {"chosen": [r["site"] for r in rows if r["chosen"]], "rejected": sum(not r["chosen"] for r in rows)},
    )
