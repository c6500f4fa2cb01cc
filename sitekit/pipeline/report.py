"""What `check` and a run print for people."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any

from sitekit.base.files import unportable
from sitekit.errors import InputFault
from sitekit.layers.cells import MOST_LISTED
from sitekit.pipeline.fields import SCOUT_FIRST, weights_origin
from sitekit.pipeline.project import Project, open_project
from sitekit.pipeline.stages import STAGES, Report, all_files_there
from sitekit.pipeline.survey_report import planted_lines
from sitekit.season.settings import Settings

TO_SCOUT = "AREAS TO SCOUT"


def lines_of(report: Report) -> list[str]:
    """Return a run's figures, one line per fact."""
    lines = [f"plan {report.project.settings.plan.name}, run {report.run_id}"]
    if report.skipped:
        lines.append("up to date: " + ", ".join(report.skipped))
    if report.done:
        lines.append("done: " + ", ".join(f"{n} ({report.seconds[n]:.1f} s)" for n in report.done))
    here, beside = report.compiling
    if here + beside >= 0.5:
        lines.append(
            f"compiling, once per version: {here:.1f} s of these, and {beside:.1f} s beside them in a second process"
        )
    figures = report.figures
    if "layers" in figures:
        grid = figures["layers"]["grid"]
        lines.append(f"grid: {grid['rows']} × {grid['columns']} cells of {grid['cell_m']:g} m, {grid['crs']}")
        if figures["layers"]["scout"]:
            lines.append(f"{TO_SCOUT}: {figures['layers']['scout']}")
    for code, found in figures.get("score", {}).items():
        if isinstance(found, dict):
            weak = [c["name"] for c in found["criteria"] if not c["verified"]]
            lines.append(
                f"{code}: {found['passing_cells']} cells pass; " + ", ".join(c["name"] for c in found["criteria"])
            )
            said = found["weights"]["said"]
            lines.append(f"{code}: {said if said.startswith('weights') else 'weights: ' + said}")
            if weak:
                lines.append(f"{code}: unverified values in: " + ", ".join(weak))
    if "candidates" in figures:
        found = figures["candidates"]
        lines.append(f"candidates: {found['candidates']}, {found['area_m2']:g} m² on the ellipsoid")
        for code, capacity in found["capacity"].items():
            most = found["bound"][code]
            if found["mode"] == "plots":  # the bound knows no gaps between plots: a share of it would mislead
                lines.append(
                    f"  {code}: room in plots for {capacity} units; no plots, even without gaps, hold over {most}"
                )
                continue
            share = f", at least {100 * capacity / most:.0f} % of what is possible" if most else ""
            lines.append(f"  {code}: room for {capacity} units (proven bound {most}){share}")
    for code, found in figures.get("sensitivity", {}).items():
        if isinstance(found, dict) and found["candidates"]:
            lead = max(found["first"].items(), key=lambda i: i[1], default=("none", 0.0))
            fragile = ", ".join(found["fragile"]) or "none"
            lines.append(
                f"  {code}: {lead[0]} ranks first in {100 * lead[1]:.0f} % of {found['draws']} draws of the weights;"
                f" fragile among the best {found['high_ranks']}: {fragile}"
            )
    if "choose" in figures:
        lines += _choice_lines(figures["choose"])
    if "allocate" in figures:
        handed, wanted = figures["allocate"]["units"], figures["allocate"]["wanted"]
        units = ", ".join(f"{n} {code}" for code, n in handed.items()) or "none"
        lines.append(f"allotted: {units} units of {figures['allocate']['genets']} genets")
        if any(handed.get(code, 0) < n for code, n in wanted.items()):
            asked = ", ".join(f"{n} {code}" for code, n in wanted.items())
            lines.append(f"  FEWER THAN WANTED ({asked}): what holds the plan back stands in out/decision.md")
    aside = figures.get("allocate", {})
    for key, words in (
        ("refused_rows", "rows of the team's tables refused"),
        ("doubts", "doubts about names, points or units"),
    ):
        if aside.get(key):
            lines.append(f"  {aside[key]} {words}: see out/{key}.csv")
    if "place" in figures:
        found = figures["place"]
        units = ", ".join(f"{n} {code}" for code, n in found["units"].items()) or "none"
        lines.append(
            f"placed: {units} units ({found['fragments']} fragments) in {found['plots']} plots, {found['sites']} sites"
            + (" — an estimate of capacity" if found["estimate"] else "")
        )
        if found["robust_pct_mean"] is not None:
            lines.append(
                f"  plots good wherever the pin falls: {found['robust_pct_mean']:g} % of displaced copies on average"
            )
        lines += _mix_lines(found["mixes"])
        if found["unplaced"]:
            lines.append(f"  not placed: {found['unplaced']} units")
    if "outline" in figures:
        found = figures["outline"]
        lines.append(
            f"permit packet: {found['work_areas']} work areas, {found['area_m2']:g} m²; caps, areas and dates kept: "
            f"{found['caps_kept']} of {found['caps']}"
        )
        if found["missing_facts"] or found["conflicts"]:
            lines.append(
                f"  DRAFT: {found['missing_facts']} facts missing, {found['conflicts']} conflicts; out/permit.pdf and "
                "out/permit_tables.csv list them as open items"
            )
            lines += [f"    conflict: {item}" for item in found["conflicts_told"]]
    if "fieldwork" in figures:
        found = figures["fieldwork"]
        if found["days"]:
            left = f"; {found['left_over']} units left over" if found["left_over"] else ""
            lines.append(
                f"fieldwork: {found['units']} units in {found['dives']} dives of pairs on {found['days']} days, "
                f"{found['first']} to {found['last']}{left}; first dives by {found['no_stop_table']}"
            )
        if found["sheets"]:
            lines.append(f"  dive sheets for {found['sheets']} plots, {found['waypoints']} waypoints")
        lines += [f"  note: {n}" for n in found["notes"]]
    if "survey" in figures:
        lines += planted_lines(figures["survey"])
    if "export" in figures:
        lines += [f"  {note}" for note in figures["export"].get("wording", [])]
        lines += [f"  {note}" for note in [figures["export"].get("public", "")] if note]
        lines.append("wrote " + ", ".join(f"out/{n}" for n in report.files))
    return lines


def _mix_lines(rows: list[dict[str, Any]]) -> list[str]:
    """Return what a run says about its mixes."""
    lines = []
    for r in rows:
        alleles = f", over {r['alleles_over_pct']:g} % of alleles (Shearer 2009)" if r["alleles_over_pct"] else ""
        other = "none" if r["nearest_other_m"] is None else f"{r['nearest_other_m']:g} m"
        lines.append(
            f"  {r['site']}, {r['species']}: {r['units']} units of {r['genets']} genets{alleles}; at least "
            f"{r['fewest_genets_in_a_plot']} in a plot; nearest other genet {other} (median); "
            f"like neighbours {r['like_neighbours']} of {r['neighbours']} pairs"
        )
        lines += [f"    caution: {c}" for c in r["cautions"]]
    return lines


def _choice_lines(figures: dict[str, Any]) -> list[str]:
    """Return what a run says about its choice."""
    lines = [
        "chosen sites: " + (", ".join(figures["chosen"]) or "none") + (" (edited by hand)" if figures["edited"] else "")
    ]
    if figures.get("gap_pct") is not None:
        lines.append(
            f"  summed suitability {figures['suitability']:.4g}"
            + (f", units alive {figures['units_alive']:.4g} by the plan's curve" if "units_alive" in figures else "")
            + f"; at most {figures['gap_pct']:g} % below the best the limits allow"
        )
    if figures["pilots"]:
        lines.append("  pilots of at least a year: " + ", ".join(figures["pilots"]))
    if figures["unscouted"]:
        lines.append("  NOT SCOUTED: " + ", ".join(figures["unscouted"]))
    if figures["no_answers"] and figures["chosen"]:
        lines.append(
            "  no go/no-go question is answered ([[question]]): nothing speaks against a site, nothing is capped"
        )
    if figures["unanswered"]:
        lines.append("  questions not answered, treated as unknown, at: " + ", ".join(figures["unanswered"]))
    if figures["unknown_forms"]:
        lines.append(
            "  scout forms with a code the plan lacks, kept and not used: " + ", ".join(figures["unknown_forms"])
        )
    return lines


def check_plan(plan: Path) -> list[dict[str, Any]]:
    """Read every file of a plan into a folder that is thrown away; return a row per layer.

    Raises
    ------
    InputFault
        With the faults of settings, criteria, sites and stock together, then those of the layers.
    """
    from sitekit.pipeline import fields, layers, map_scene, outline, sea_rules
    from sitekit.pipeline.beforehand import early_faults
    from sitekit.pipeline.crew import fieldwork_rows
    from sitekit.pipeline.lineage import reading_rows
    from sitekit.pipeline.surveyed import records_rows
    from sitekit.pipeline.understood import decide_rows

    project = open_project(plan)
    all_files_there(project)
    faults = early_faults(project)
    rows: list[dict[str, Any]] = []
    scout = ""
    with tempfile.TemporaryDirectory() as folder:
        trial = replace(project, results=Path(folder))
        try:
            figures = layers.run(trial, "check").figures
            scout = str(figures["scout"])
            rows = [*figures["layers"], *figures["sea"], *map_scene.picture_rows(project)]
            rows += reading_rows(project, fields.read_ground(trial).grid.crs)
            outline.check_permits(trial)
            rows += records_rows(project)
            sea_rules.refuse_flat_heat(trial, fields.species_criteria(project.settings))
        except InputFault as error:
            faults += [f for f in error.faults if f not in faults]
    if faults:
        raise InputFault(*faults)
    worked = fieldwork_rows(project.settings.fieldwork)
    told = [*_weights_rows(project.settings), *decide_rows(project), *outline.permit_rows(project), *worked]
    return [*rows, *told, *_name_rows(project), *_scout_rows(scout)]


def _scout_rows(reason: str) -> list[dict[str, Any]]:
    """Return a row where a run will place no colony."""
    if not reason:
        return []
    said = [f"{TO_SCOUT}: {reason.replace(': areas to scout', '')}"]
    return [{"layer": "what a run gives", "said": said, "source": "the plan", "notes": [SCOUT_FIRST]}]


def _name_rows(project: Project) -> list[dict[str, Any]]:
    """Return a row where a file of the plan has a name that Windows cannot have, or files beside it are not used."""
    settings = project.settings
    names = sorted({n for stage in STAGES for n in stage.files(settings).values()})
    notes = [
        f"{n}: {why}; rename it before the folder goes to another machine" for n in names if (why := unportable(n))
    ]
    stems = {Path(n).with_suffix("").as_posix().lower() for n in names}  # parts of a shapefile or raster share it
    beside = sorted(p.name for p in project.folder.iterdir() if p.is_file() and not p.name.startswith((".", "~$")))
    unused = [n for n in beside if n not in names and n.split(".")[0].lower() not in stems and not _own(n)]
    if unused:
        more = f" and {len(unused) - MOST_LISTED} more" if len(unused) > MOST_LISTED else ""
        notes.append(f"files of the folder that the plan does not use: {', '.join(unused[:MOST_LISTED])}{more}")
    if not notes:
        return []
    return [{"layer": "file names", "said": [f"{len(names)} files named"], "source": "the plan", "notes": notes}]


def _own(name: str) -> bool:
    """Whether a file of the project folder is one that sitekit or the planner's own editing made."""
    return name.endswith((".toml", ".log", ".aux.xml")) or name == "records.gpkg"


def _weights_rows(settings: Settings) -> list[dict[str, Any]]:
    """Return a row per species: its weights as shares, and how they came about."""
    rows = []
    for code, found in weights_origin(settings).items():
        shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in found["weights"].items())
        doubt = found.get("consistent") is False
        rows.append(
            {
                "layer": f"weights of {code}",
                "said": [shares, str(found["said"])],
                "source": found["who"] or "the plan",
                "notes": ["the judgements do not agree with each other"] if doubt else [],
            }
        )
    return rows


def check_lines(rows: list[dict[str, Any]]) -> list[str]:
    """Return the table of `check` as text, a block per layer."""
    lines = []
    for row in rows:
        if "said" in row:
            lines += [f"{row['layer']}", *(f"  {line}" for line in row["said"]), f"  source: {row['source']}"]
            lines += _read_lines(row)
            continue
        west, south, east, north = row["extent"]
        lines.append(row["layer"] + (f": {row['file']}" if row.get("file") else ""))
        lines.append(f"  system {row['source_crs']}; {west:.5f} to {east:.5f} E, {south:.5f} to {north:.5f} N")
        if "share_covered" in row:
            size = row["source_resolution_m"]
            stated = (
                f", mapped at {row['stated_resolution_m']:g} m as the plan states"
                if row.get("stated_resolution_m")
                else ""
            )
            shape = f"cells of {size[0]:.2f} × {size[1]:.2f} m" if size else "polygons"
            span = (
                f"{row['minimum']:g} to {row['maximum']:g} {row['unit']}" if row["minimum"] is not None else "no value"
            )
            told = "" if row.get("classes") else f"; {span}"
            lines.append(f"  {shape}{stated}; {100 * row['share_covered']:.1f} % of the grid{told}")
            meant: dict[str, list[str]] = {}
            for own, name in row.get("classes", {}).items():
                meant.setdefault(name, []).append(own)
            lines += [f"  {name}: {', '.join(own)}" for name, own in meant.items()]
        if "sign" in row:
            declared = f"  declared as {row['sign']} in {row['file_units']}; datum {row['datum']}"
            lines.append(f"{declared}; stated error ± {row['error_m']:g} m")
        if "rows" in row:
            lines.append(f"  {row['rows']} rows" + (f", {row['on_grid']} on the grid" if "on_grid" in row else ""))
        lines += _read_lines(row)
    return lines


def _read_lines(row: dict[str, Any]) -> list[str]:
    """Return notes, rows that were refused, and what a person is asked."""
    lines = [f"  note: {n}" for n in row["notes"]]
    refused = row.get("refused", [])
    lines += [
        f"  REFUSED {r['file']}, line {r['line']}: {r['reason']}; the row: {r['text']}" for r in refused[:MOST_LISTED]
    ]
    lines += [f"    {do}" for do in dict.fromkeys(str(r["do"]) for r in refused[:MOST_LISTED])]
    if len(refused) > MOST_LISTED:
        lines.append(f"  REFUSED {len(refused) - MOST_LISTED} more rows; a run lists all in out/refused_rows.csv")
    for ask, asked in groupby(row.get("doubts", []), key=lambda d: str(d["ask"])):
        lines += [f"  ASKED: {d['said']}" for d in asked]
        lines.append(f"    {ask}")
    return lines
