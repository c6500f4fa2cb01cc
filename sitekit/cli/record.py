"""What happened on the reef, appended to records.gpkg: pins as set, units as planted, what lives of them."""

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


@record.command(short_help="Append pins as they were set.")
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


@record.command(short_help="Append units as planted.")
@click.argument("file", type=click.Path(path_type=Path))
@options.plan
@click.option("--date", help="Day of planting, where the file does not say: 2026-05-04.")
@options.as_json
def planted(file: Path, plan: Path, date: str | None, as_json: bool) -> None:
    """Append units as planted, from a CSV or XLSX: out/planting_form.csv filled in, or a list of the team's own.

    Columns: plot and numbers (5, or 1-12, 15, or all), or tag; date; where they differ from the sheet also fragments,
    genet, tag, along_m and offset_m. A later row corrects an earlier one. The next run plans only what is left.
    Example: sitekit record planted planted.csv plan.toml --date 2026-05-04
    """
    from sitekit.pipeline.planted import record_planted

    rows = record_planted(plan, file, date=date)
    if as_json:
        click.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    for row in rows:
        told = [f"{row['plot']}: {row['planted']} of {row['of']} units planted ({', '.join(row['dates'])})"]
        told += [f"not planted: {_some(row['not_planted'])}"] if row["not_planted"] else []
        told += [f"other than planned: {_some(row['changed'])}"] if row["changed"] else []
        told += [row["warning"]] if row["warning"] else []
        click.echo("; ".join(told))
    total = sum(r["planted"] for r in rows)
    click.echo(f"recorded {total} units planted in records.gpkg\nNext: sitekit run {plan}")


@record.command(short_help="Append how planted units were found.")
@click.argument("file", type=click.Path(path_type=Path))
@options.plan
@click.option("--date", help="Day of the visit, where the file does not say: 2026-06-04.")
@options.as_json
def survey(file: Path, plan: Path, date: str | None, as_json: bool) -> None:
    """Append how planted units were found, from a CSV or XLSX: out/survey_form.csv filled in, or a list of the team's own.

    Columns: plot and numbers (5, or 1-12, 15, or all), or tag; date; state (alive, dead or missing); where judged also
    live_pct, cause, note. Units that nobody looked at have no row; state none takes the look of that day back.
    Example: sitekit record survey june.csv plan.toml --date 2026-06-04
    """
    from sitekit.pipeline.surveyed import NONE, STATES, record_survey

    rows = record_survey(plan, file, date=date)
    if as_json:
        click.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    for row in rows:
        states = ", ".join(f"{row[s]} {s}" for s in STATES if row[s])
        back = [f"{row[NONE]} taken back"] if row[NONE] else []
        click.echo(
            f"{row['plot']}, {row['date']}: {'; '.join([*filter(None, [states]), *back])}; {row['of']} planted there"
        )
    click.echo(f"recorded {sum(r[s] for r in rows for s in STATES)} looks in records.gpkg\nNext: sitekit run {plan}")


def _some(numbers: list[int]) -> str:
    shown = ", ".join(str(n) for n in numbers[:12])
    return f"{shown} and {len(numbers) - 12} more" if len(numbers) > 12 else shown
