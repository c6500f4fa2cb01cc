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
