"""A page on which planners try weights."""

from __future__ import annotations

from pathlib import Path

import click

from sitekit.cli import options


@click.command()
@options.plan
@options.machine_options
def explore(plan: Path, threads: int | None, memory_gb: float) -> None:
    """Write out/explore.html: sliders for weights, rule and threshold, with scores as you drag.

    A preview: its changed settings are copied into plan.toml by hand, and only `sitekit run` makes the plan. Stages that
    are not up to date run first. Example: sitekit explore plan.toml
    """
    from sitekit.pipeline.explore import explore as write
    from sitekit.pipeline.export import CAUTIONS

    page = write(plan, CAUTIONS, options.machine(threads, memory_gb))
    size = page.stat().st_size / 1e6
    click.echo(f"wrote {page} ({size:.1f} MB)\nopen it in a browser: it needs no network")
