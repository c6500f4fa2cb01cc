"""The command for the dive leader: the queue of days, the dives, what to bring."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sitekit.cli import options


@click.command()
@options.plan
@options.as_json
@click.option("--wind-ms", type=click.FloatRange(0, 100), help="Today's wind [m/s]: judged by the team's own limits.")
@click.option("--wind-from-deg", type=click.FloatRange(0, 360), help="Where it comes from, true [degrees].")
@click.option("--swell-m", type=click.FloatRange(0, 30), help="Today's swell [m].")
@click.option("--visibility-m", type=click.FloatRange(0, 100), help="Today's visibility under water [m].")
@options.machine_options
def fieldwork(
    plan: Path,
    as_json: bool,
    wind_ms: float | None,
    wind_from_deg: float | None,
    swell_m: float | None,
    visibility_m: float | None,
    threads: int | None,
    memory_gb: float,
) -> None:
    """Lay the work into days: dives, gas, pull lists, materials; write day_plan.pdf and fieldwork.csv.

    Planning aid only: the dive supervisor, the team's tables, computers and manual, and local rules decide.
    Example: sitekit fieldwork plan.toml --wind-ms 8 --wind-from-deg 70
    """
    from sitekit.pipeline.fieldwork_report import fieldwork_lines, today, today_lines
    from sitekit.pipeline.stages import ShortfallWithReport, run_stages
    from sitekit.season.plan_tables import read_table

    short: ShortfallWithReport | None = None
    try:
        report = run_stages(plan, options.machine(threads, memory_gb))
    except ShortfallWithReport as error:
        short, report = error, error.report
    names = ("days", "dives", "pull_list", "crates", "leftovers", "materials", "waypoints", "sheets", "shelter")
    tables = {n: read_table(report.project.out / "season.gpkg", n) for n in names}
    figures = report.figures["fieldwork"]
    work = report.project.settings.fieldwork
    weather = []
    if work is not None and any(v is not None for v in (wind_ms, swell_m, visibility_m)):
        weather = today(
            tables, work, wind_ms=wind_ms, wind_from_deg=wind_from_deg, swell_m=swell_m, visibility_m=visibility_m
        )
    if as_json:
        rows = {n: json.loads(tables[n].to_json(orient="records")) for n in names if n != "shelter"}
        click.echo(json.dumps({"figures": figures, "today": weather, **rows}, indent=1, ensure_ascii=False))
    else:
        for line in [*fieldwork_lines(tables, figures), *today_lines(weather)]:
            click.echo(line)
    if short is not None:
        raise short
