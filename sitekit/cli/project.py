"""Commands for a whole project: demo, new, check, run."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sitekit.cli import options

if TYPE_CHECKING:
    from sitekit.pipeline.stages import Report


def tell(report: Report, as_json: bool) -> None:
    """Print a run's figures: JSON to standard output, or lines for people."""
    if as_json:
        click.echo(
            json.dumps(
                {
                    "run_id": report.run_id,
                    "done": report.done,
                    "skipped": report.skipped,
                    "figures": report.figures,
                    "files": report.files,
                    "seconds": {k: round(v, 3) for k, v in report.seconds.items()},
                },
                indent=1,
                ensure_ascii=False,
            )
        )
        return
    from sitekit.pipeline.report import lines_of

    for line in lines_of(report):
        click.echo(line)


def _run(plan: Path, as_json: bool, threads: int | None, memory_gb: float, scheduler: str | None = None) -> Report:
    from sitekit.pipeline.stages import ShortfallWithReport, run_stages

    try:
        report = run_stages(plan, options.machine(threads, memory_gb, scheduler))
    except ShortfallWithReport as short:
        tell(short.report, as_json)
        raise
    tell(report, as_json)
    return report


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default="demo-reef")
@options.as_json
@options.machine_options
def demo(folder: Path, as_json: bool, threads: int | None, memory_gb: float) -> None:
    """Make a fictional reef in FOLDER and plan its season.

    Example: sitekit demo demo-reef
    """
    from sitekit.pipeline import warm

    warm.start()
    from sitekit.pipeline.samples import make_demo

    plan = make_demo(folder)
    report = _run(plan, as_json, threads, memory_gb)
    click.echo(f"open the map in a browser: {report.project.out / 'map.html'}", err=as_json)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def new(folder: Path) -> None:
    """Make a project FOLDER with a commented plan.toml to fill in.

    An existing plan.toml is kept. Example: sitekit new season-2027
    """
    from sitekit.pipeline.samples import make_new

    plan = make_new(folder)
    click.echo(f"wrote {plan}\nNext: put your files beside it, name them in it, then: sitekit check {plan}")


@click.command()
@options.plan
@options.as_json
def check(plan: Path, as_json: bool) -> None:
    """Read every file of a plan; print how each was understood, and every fault.

    Example: sitekit check plan.toml
    """
    from sitekit.pipeline.report import check_lines, check_plan

    rows = check_plan(plan)
    if as_json:
        click.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    for line in check_lines(rows):
        click.echo(line)


@click.command()
@options.plan
@options.as_json
@options.machine_options
@options.scheduler
def run(plan: Path, as_json: bool, threads: int | None, memory_gb: float, scheduler: str | None) -> None:
    """Plan the season: every stage that is not up to date, then the files people read.

    Example: sitekit run plan.toml
    """
    _run(plan, as_json, threads, memory_gb, scheduler)
