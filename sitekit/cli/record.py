"""What happened on the reef, appended to records.gpkg: pins as they were set."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sitekit.cli import options


@click.group()
def record() -> None:
    """Append what happened on the reef to records.gpkg; nothing in it is ever changed.

    Example: sitekit record pins pins.csv plan.toml
    """


@record.command()
@click.argument("file", type=click.Path(path_type=Path))
@options.plan
@click.option("--date", help="Day the pins were set, where the file does not say: 2026-05-04.")
@click.option("--error-m", type=click.FloatRange(0, 1000), help="Error of the positions, where the file does not say.")
@options.as_json
def pins(file: Path, plan: Path, date: str | None, error_m: float | None, as_json: bool) -> None:
    """Append pins as they were set, from a CSV or a GPX file of the boat's receiver.

    CSV: columns plot, pin (A or B), latitude and longitude (or position), date, error_m, note. GPX: names as in
    waypoints.gpx. The next run moves the plots. Example: sitekit record pins pins.csv plan.toml
    """
    from sitekit.pipeline.set_pins import record_pins

    rows = record_pins(plan, file, date=date, error_m=error_m)
    if as_json:
        click.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    for row in rows:
        click.echo(
            f"{row['plot']} pin {'AB'[row['pin'] - 1]}: {row['moved_m']:.1f} m from the planned place"
            f" ({row['bearing_deg']:03.0f}° true)" + (f"; {row['warning']}" if row["warning"] else "")
        )
    click.echo(f"recorded {len(rows)} pins in records.gpkg\nNext: sitekit run {plan}")
