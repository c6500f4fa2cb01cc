"""The command for those who come back: what was planted, what lives, when to look again."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sitekit.cli import options


@click.command()
@options.plan
@options.as_json
@options.machine_options
def survey(plan: Path, as_json: bool, threads: int | None, memory_gb: float) -> None:
    """Say what was planted, what lives of it with intervals, and when to look again; write survival.csv and the forms.

    Deaths are known to the day of a visit only, and neighbours share their fate: see docs/methods-survey.md.
    Example: sitekit survey plan.toml --json
    """
    from sitekit.pipeline.stages import ShortfallWithReport, run_stages
    from sitekit.pipeline.survey_report import survey_lines
    from sitekit.season.plan_tables import read_table

    short: ShortfallWithReport | None = None
    try:
        report = run_stages(plan, options.machine(threads, memory_gb))
    except ShortfallWithReport as error:
        short, report = error, error.report
    tables = {n: read_table(report.project.out / "season.gpkg", n) for n in ("survival", "visits")}
    figures = report.figures["survey"]
    if as_json:
        rows = {n: json.loads(t.to_json(orient="records")) for n, t in tables.items()}
        click.echo(json.dumps({"figures": figures, **rows}, indent=1, ensure_ascii=False))
    else:
        for line in survey_lines(tables, figures):
            click.echo(line)
    if short is not None:
        raise short
