"""Options that several commands share, so that a word means one thing everywhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from sitekit.pipeline.project import Machine

plan = click.argument("plan", type=click.Path(path_type=Path), default="plan.toml")
as_json = click.option("--json", "as_json", is_flag=True, help="Print data as JSON to standard output.")
threads = click.option("--threads", type=click.IntRange(1, 256), help="Worker threads [default: all cores].")
memory = click.option(
    "--memory-gb",
    type=click.FloatRange(0.1, 4096),
    default=0.8,
    show_default=True,
    help="Most memory for rasters [GB].",
)


scheduler = click.option(
    "--scheduler", help="Score on the workers of this dask scheduler, such as tcp://127.0.0.1:8786 (extra: cluster)."
)


def machine_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that say how this machine works (never part of a plan)."""
    return threads(memory(function))


def machine(threads: int | None, memory_gb: float, scheduler: str | None = None) -> Machine:
    """Return the machine with its progress shown on a terminal, and only there."""
    import os
    import sys

    from sitekit.base.compile_cache import cache_note
    from sitekit.pipeline.project import Machine

    def talk(line: str) -> None:
        click.echo(line, err=True)

    def progress(done: int, total: int) -> None:
        if sys.stderr.isatty():
            click.echo(f"\r  {100 * done // max(total, 1):3d} %", err=True, nl=done >= total)

    note = cache_note()
    if note:
        talk(note)
    return Machine(threads or os.cpu_count() or 1, memory_gb, talk, progress, scheduler)
