"""What a team takes along to look at the sites: waypoints, a form per site, and a table to type the answers into."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
from pyproj import Transformer

from sitekit.base.wording import depth_texts, length_text, say, worded
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.outputs.scout_pdf import ScoutBook, ScoutSite, write_forms, write_scout_tables
from sitekit.pipeline.export import CAUTIONS
from sitekit.pipeline.project import Project
from sitekit.pipeline.weighing import asked_questions, given_answers
from sitekit.sites.questions import verdicts
from sitekit.sites.scout import BOTTOM_POINTS, FORM_COLUMNS, GO

FOLDER = "scout"
WITHOUT_CODES = 12  # house choice: forms where no site has a code yet


@dataclass(frozen=True)
class Taken:
    """What was written: the folder, its files, the sites, and lines to paste into plan.toml for sites without a code."""

    folder: Path
    files: list[str]
    sites: list[str]
    paste: list[str]


def write_scout_files(project: Project, run_id: str, *, uncoded: int | None, overwrite: bool) -> Taken:
    """Write the scout's files into `scout/` beside plan.toml, from the tables of the last run.

    Coded sites come first, those nobody has looked at before others; then the best candidates without a code, each under
    a code to paste.

    Parameters
    ----------
    project : Project
        With the choose stage done.
    run_id : str
        Printed.
    uncoded : int or None
        How many of the best candidates without a code come too; None: none where there are codes, else WITHOUT_CODES.
    overwrite : bool
        Whether forms that stand there already may be replaced.

    Raises
    ------
    InputFault
        If there is no site to look at.
    FileFault
        If forms stand there already.
    """
    outputs = project.settings.outputs
    with worded(outputs.language, outputs.units):
        return _written(project, run_id, uncoded, overwrite)


def _written(project: Project, run_id: str, uncoded: int | None, overwrite: bool) -> Taken:
    settings = project.settings
    tables = project.season()
    sites = tables["sites"]
    folder = project.folder / FOLDER
    there = folder / "scout_form.csv"
    if there.exists() and not overwrite:
        raise FileFault(
            Fault(str(there), "exists already, perhaps filled in", "no form of an earlier trip",
                  "Move it away, or say --overwrite.")
        )  # fmt: skip
    picked = _picked(sites, uncoded)
    if not len(picked):
        raise InputFault(Fault("scout", "there is no site and no candidate", "at least one", "Lower score.passing."))
    turn = Transformer.from_crs(sites.crs, "EPSG:4326", always_xy=True)
    candidates = {str(c.candidate): c for c in tables["candidates"].itertuples()}
    open_ones = _open_questions(project)
    used = {str(s) for s in sites["site"]} | {s.code for s in settings.site}
    found: list[ScoutSite] = []
    paste: list[str] = []
    records: list[Any] = list(picked.itertuples())
    for row in records:
        longitude, latitude = turn.transform(row.geometry.x, row.geometry.y)
        code = str(row.site)
        if not row.coded:
            code = next(c for c in (f"S{k}" for k in range(1, 100_000)) if c not in used)
            used.add(code)
            paste += ["[[site]]", f'code = "{code}"', f'at = "{latitude:.6f}, {longitude:.6f}"', ""]
        found.append(
            ScoutSite(
                code=code,
                name=_named(row),
                waypoint=code[:6],
                longitude_deg=float(longitude),
                latitude_deg=float(latitude),
                known=_facts(row, candidates.get(str(row.candidate))),
                open_questions=tuple(open_ones.get(code, ())),
            )
        )
    layer = settings.layers.substrate
    classes = sorted(set(layer.classes.values()) - {"unknown"}) if layer else []
    book = ScoutBook(
        plan=settings.plan.name,
        run_id=run_id,
        date=settings.plan.date.isoformat(),
        datum=settings.layers.bathymetry.datum,
        paper="letter" if settings.sheets.paper in ("letter", "half letter") else "A4",
        fictional=settings.plan.fictional,
        points_m=settings.scout.points_m,
        points=tuple(BOTTOM_POINTS),
        classes=tuple(classes),
        answers=GO,
        cautions=CAUTIONS,
    )
    folder.mkdir(exist_ok=True)
    write_forms(folder / "scout_forms.pdf", found, book)
    files = write_scout_tables(folder, found, book, columns=FORM_COLUMNS)
    return Taken(folder, sorted([*files, "scout_forms.pdf"]), [s.code for s in found], paste)


def _picked(sites: pd.DataFrame, uncoded: int | None) -> pd.DataFrame:
    """Return the sites to look at: coded before uncoded, chosen before rejected, not yet scouted first, then by rank."""
    placed = sites[sites["coded"] | sites["candidate"].notna()]
    order = pd.DataFrame(
        {
            "uncoded": ~placed["coded"],
            "scouted": placed["scouted"],
            "rejected": ~placed["chosen"],
            "rank": placed["rank"].astype("float64").fillna(1e9),
        }
    )
    ordered = placed.loc[order.sort_values(list(order.columns), kind="stable").index]
    coded = ordered[ordered["coded"]]
    many = uncoded if uncoded is not None else (0 if len(coded) else WITHOUT_CODES)
    return pd.concat([coded, ordered[~ordered["coded"]].head(many)]) if many else coded


def _named(row: Any) -> str:
    name = "" if row.name is None or pd.isna(row.name) else str(row.name)
    return name if row.coded else f"near {name}" if name else f"candidate {row.candidate}"


def _facts(row: Any, candidate: Any) -> tuple[str, ...]:
    if candidate is None:
        return (say("scout.no_candidate"),)
    facts = [
        say("scout.score", score=f"{candidate.score_mean:.2f}", what=candidate.limiting or say("scout.nothing")),
        say("scout.depth", depth=" · ".join(depth_texts(candidate.depth_min_m, candidate.depth_max_m))),
        say("scout.area", area=f"{candidate.area_m2:.0f}"),
    ]
    if not pd.isna(row.wild_m):
        off = say("scout.wild_off", distance=length_text(round(row.wild_m)))
        facts.append(off if row.wild_m > 0 else say("scout.wild_in"))
    if not pd.isna(row.harbour_m):
        facts.append(say("scout.harbour", miles=f"{row.harbour_m / 1852:.1f}"))
    if candidate.protected:
        facts.append(say("scout.protected", areas=candidate.protected))
    facts.append(say("scout.scouted", date=row.scouted_on) if row.scouted else say("scout.not_scouted"))
    return tuple(facts)


def _open_questions(project: Project) -> dict[str, list[str]]:
    asked = asked_questions(project.settings)
    found = verdicts([s.code for s in project.settings.site], asked, given_answers(project.settings))
    return {site: [asked[a.about] for a in v.answers if a.answer == "unknown"] for site, v in found.items()}
