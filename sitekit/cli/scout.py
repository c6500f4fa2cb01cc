"""The command that sends people to look."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sitekit.cli import options


@click.command()
@options.plan
@click.option(
    "--candidates",
    type=click.IntRange(0, 500),
    help="Also the best N candidates without a code [default: 12 where no site has a code, else none].",
)
@click.option("--overwrite", is_flag=True, help="Replace forms that stand there already.")
@options.as_json
@options.machine_options
def scout(
    plan: Path, candidates: int | None, overwrite: bool, as_json: bool, threads: int | None, memory_gb: float
) -> None:
    """Write waypoints and a one-page form per site into scout/ beside plan.toml.

    Type the answers into scout_form.csv, save it under another name, name it in plan.toml ([scout] from = "…") and run
    again. Example: sitekit scout plan.toml --candidates 3
    """
    from sitekit.pipeline.scout_files import write_scout_files
    from sitekit.pipeline.stages import ShortfallWithReport, run_stages

    try:
        report = run_stages(plan, options.machine(threads, memory_gb), last="choose")
    except ShortfallWithReport as short:  # a plan that cannot be kept is a reason to look, not to stop
        report = short.report
    done = write_scout_files(report.project, report.run_id, uncoded=candidates, overwrite=overwrite)
    if as_json:
        click.echo(
            json.dumps({"folder": str(done.folder), "files": done.files, "sites": done.sites, "paste": done.paste})
        )
        return
    click.echo(f"{len(done.sites)} sites to look at: {', '.join(done.sites)}")
    click.echo("wrote " + ", ".join(f"{done.folder.name}/{n}" for n in done.files))
    if done.paste:
        click.echo("Forms need codes that last. Paste into plan.toml:\n\n" + "\n".join(done.paste))
