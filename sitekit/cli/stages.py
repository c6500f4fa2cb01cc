"""The stages one by one: each runs what comes before it, if that is not up to date."""

from __future__ import annotations

from pathlib import Path

import click

from sitekit.cli import options


def _stage(name: str, text: str) -> click.Command:
    @click.command(name, help=f"{text}\n\nExample: sitekit {name} plan.toml --json")
    @options.plan
    @options.as_json
    @options.machine_options
    @options.scheduler
    def command(plan: Path, as_json: bool, threads: int | None, memory_gb: float, scheduler: str | None) -> None:
        from sitekit.cli.project import tell
        from sitekit.pipeline.stages import run_stages

        tell(run_stages(plan, options.machine(threads, memory_gb, scheduler), last=name), as_json)

    return command


layers = _stage("layers", "Bring every file onto one grid: warped once, gaps stay gaps.")
score = _stage("score", "Score every cell for every species, with limiting criterion and reasons of exclusion.")
candidates = _stage("candidates", "Find contiguous patches that pass: area, depth, score, capacity and bound.")
sensitivity = _stage(
    "sensitivity", "See whether the ranking holds: other weights, depth error, misread bottom; fragile candidates."
)
choose = _stage("choose", "Choose the sites to work at.")
allocate = _stage("allocate", "Hand the nursery's stock out to the chosen sites in exact counts.")
place = _stage("place", "Place every outplant unit at a safe separation; print figures.")
outline = _stage("outline", "Draw work areas, the rules they meet, and what the permit packet says.")
export = _stage("export", "Write the files people read: GeoJSON, CSV, map, permit packet.")
