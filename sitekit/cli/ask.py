"""Questions to a finished plan."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sitekit.cli import options


@click.command()
@options.plan
@options.as_json
def audit(plan: Path, as_json: bool) -> int:
    """Re-read the written files and check every promise, each with its figure.

    Exit code 3 if one is broken. Example: sitekit audit plan.toml
    """
    from sitekit.audit.plan import audit_plan
    from sitekit.pipeline.project import open_project

    project = open_project(plan)
    findings = audit_plan(project.folder, project.settings)
    broken = [f for f in findings if not f.ok]
    if as_json:
        click.echo(json.dumps([f.as_dict() for f in findings], indent=1, ensure_ascii=False))
    else:
        for finding in findings:
            click.echo(str(finding))
        click.echo(f"{len(findings) - len(broken)} of {len(findings)} promises kept")
    return 3 if broken else 0


@click.command()
@options.plan
@click.option("--at", metavar="POSITION", help='A position in any notation: "18 02.965 N, 50 17.781 W".')
@click.option("--site", metavar="CODE", help="A site's code, or a candidate's label of this run.")
@options.as_json
def explain(plan: Path, at: str | None, site: str | None, as_json: bool) -> None:
    """Say why a place has the score it has: values, curves, weights, what limits, what excludes, sources.

    Example: sitekit explain plan.toml --at "18 02.965 N, 50 17.781 W"
    """
    from sitekit.pipeline.explain import explain_place
    from sitekit.pipeline.explained import lines_of_explanation

    place = explain_place(plan, at=at, site=site)
    if as_json:
        click.echo(json.dumps(place.as_dict(), indent=1, ensure_ascii=False, allow_nan=False))
        return
    for line in lines_of_explanation(place):
        click.echo(line)
