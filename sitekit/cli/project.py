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

    warm.start("plots")  # what its plan asks for
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
    click.echo(f"wrote {plan}\nNext: put your files beside it, name them in it, then: sitekit check {_quoted(plan)}")


def _quoted(path: Path) -> str:
    """Path as it can be pasted behind a command."""
    return f'"{path}"' if " " in str(path) else str(path)


@click.command()
@click.argument("paths", metavar="[PLAN | FILES]", nargs=-1, type=click.Path(path_type=Path))
@click.option("--draft", is_flag=True, help="Look at FILES or a FOLDER instead and draft a plan from them.")
@click.option("--write", type=click.Path(path_type=Path), help="With --draft: write it here; never replaces a file.")
@options.as_json
def check(paths: tuple[Path, ...], draft: bool, write: Path | None, as_json: bool) -> int:
    """Read every file of a plan; print how each was understood, and every fault.

    Example: sitekit check plan.toml, or before there is a plan: sitekit check --draft FOLDER --write FOLDER/plan.toml

    Exit codes: 0 no fault, 2 wrong use, 3 a fault: nothing can be planned until it is mended.
    """
    if draft:
        return _draft(paths, write, as_json)
    if write is not None:
        raise click.UsageError("--write belongs to --draft.")
    if len(paths) > 1:
        raise click.UsageError("One plan at a time; several files are looked at with --draft.")
    from sitekit.pipeline.report import TO_SCOUT, check_lines, check_plan

    plan = paths[0] if paths else Path("plan.toml")
    rows = check_plan(plan)
    if as_json:
        click.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return 0
    lines = check_lines(rows)
    for line in lines:
        click.echo(line)
    doubts = sum(1 for line in lines if line.lstrip().startswith("ASKED"))
    asked = f"; {doubts} lines say ASKED: look at them before anybody relies on the plan" if doubts else ""
    if any(line.lstrip().startswith(TO_SCOUT) for line in lines):
        asked += "; a run gives areas to scout and places no colony, as said above"
    click.echo(f"no fault{asked}. Next: sitekit run {_quoted(plan)}", err=True)
    return 0


def _draft(paths: tuple[Path, ...], write: Path | None, as_json: bool) -> int:
    from sitekit.cli import rim
    from sitekit.errors import InputFault
    from sitekit.pipeline.draft import draft_lines, draft_plan, write_draft

    if not paths:
        raise click.UsageError("--draft needs FILES or a FOLDER.")
    found = draft_plan(paths, write)
    if as_json:
        click.echo(json.dumps(found.as_dict(), indent=1, ensure_ascii=False))
    else:
        for line in draft_lines(found):
            click.echo(line)
    if write is not None:
        write_draft(found, write)
        click.echo(
            f"wrote {write}\nNext: answer its {found.counted}; then: sitekit check {_quoted(write)}", err=as_json
        )
    elif not as_json:
        click.echo("\n" + "\n".join(found.lines))
    if found.refused:
        click.echo("Files that cannot be used as they are; the others are drafted:", err=True)
        rim.say(InputFault(*found.refused), as_json=False)
        return 3
    return 0


@click.command()
@options.plan
@options.as_json
@options.machine_options
@options.scheduler
def run(plan: Path, as_json: bool, threads: int | None, memory_gb: float, scheduler: str | None) -> None:
    """Plan the season: every stage that is not up to date, then the files people read.

    Example: sitekit run plan.toml

    Exit codes: 0 all is planned, 2 wrong use, 3 a fault and nothing written, 4 the plan is written but holds less than
    was asked for, 1 a failure that was not foreseen.
    """
    _run(plan, as_json, threads, memory_gb, scheduler)
