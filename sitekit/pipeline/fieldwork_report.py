"""What `sitekit fieldwork` prints: the queue, the dives, what to bring, and whether today's weather is within limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from sitekit.fieldwork.weather import in_the_lee, reasons_against
from sitekit.pipeline.crew import limits_of
from sitekit.season.settings_fieldwork import Fieldwork

CAUTION = (
    "Planning aid only: dive supervisor, the team's tables, computers and manual, and local rules decide. "
    "No decompression or repetitive-dive advice is computed."
)


def fieldwork_lines(tables: Mapping[str, pd.DataFrame], figures: Mapping[str, Any]) -> list[str]:
    """Return the tables of the day's work as text.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The season.
    figures : mapping
        Of the stage.
    """
    lines = [f"note: {n}" for n in figures.get("notes", [])]
    days = tables["days"]
    if not len(days):
        return [*lines, "no day is laid out: add [fieldwork] to plan.toml, or see the notes above", CAUTION]
    lines.append(f"table of first dives: {figures['no_stop_table']}. {figures['table_caveat']}")
    lines += ["", "DAYS"]
    lines += _text_table(
        ["day", "date", "sites", "plots", "dives", "divers", "cyl.", "units", "+ spares", "leave", "back", "clock"],
        [
            [d.day, d.date, d.sites, d.plots, d.dives, d.divers, d.cylinders, d.units, d.spares, d.leave, d.back,
             _minutes(d.clock_min)]
            for d in days.itertuples()
        ],
    )  # fmt: skip
    lines += ["", "DIVES (depth for plan = charted + highest tide + stated error)"]
    lines += _text_table(
        ["dive", "where", "numbers", "depth", "first", "gas", "table", "superv.", "allowed", "by", "bottom", "gas used",
         "leave at"],
        [
            [
                d.dive, _or(d.plot, d.site), _or(d.numbers, f"harvest {d.fragments}"), f"{d.depth_m:.1f} m",
                "yes" if d.first_of_day else "no", f"{d.gas_min:.0f}", _table_minutes(d), _number(d.supervisor_min),
                f"{d.allowed_min:.0f} min", d.limited_by, f"{d.bottom_min:.0f}", f"{d.gas_used:.0f} {d.gas_unit}",
                f"{d.turn_pressure:.0f} {d.pressure_unit}",
            ]
            for d in tables["dives"].itertuples()
        ],
    )  # fmt: skip
    season = tables["materials"][tables["materials"]["day"].isna()]
    lines += ["", "BRING, WHOLE SEASON"]
    lines += _text_table(
        ["item", "number", ""],
        [[m.item, f"{m.number:g} {_or(m.unit, '')}", _or(m.note, "")] for m in season.itertuples()],
    )
    lines += ["", CAUTION]
    return lines


def today(
    tables: Mapping[str, pd.DataFrame],
    work: Fieldwork,
    *,
    wind_ms: float | None,
    wind_from_deg: float | None,
    swell_m: float | None,
    visibility_m: float | None,
) -> list[dict[str, Any]]:
    """Return for each day of the queue whether the team's own limits speak against it today.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The season.
    work : Fieldwork
        With the limits.
    wind_ms, wind_from_deg, swell_m, visibility_m : float, optional
        As observed or forecast by others.

    Returns
    -------
    list of dict
        `day`, `date`, `sites`, `go` (bool), `reasons`, `shelter` (word per site where worked out, for the wind given).
    """
    reasons = reasons_against(
        limits_of(work), wind_ms=wind_ms, wind_from_deg=wind_from_deg, swell_m=swell_m, visibility_m=visibility_m
    )
    lee: dict[str, str] = {}
    if wind_from_deg is not None and len(tables["shelter"]):
        words: dict[str, list[tuple[float, str]]] = {}
        for site, direction, word in tables["shelter"][["site", "direction_deg", "shelter"]].itertuples(index=False):
            words.setdefault(str(site), []).append((float(direction), str(word)))
        lee = in_the_lee(words, wind_from_deg)
    return [
        {
            "day": int(d["day"]),
            "date": str(d["date"]),
            "sites": str(d["sites"]),
            "go": not reasons,
            "reasons": reasons,
            "shelter": {s: lee[s] for s in str(d["sites"]).split(", ") if s in lee},
        }
        for d in tables["days"].to_dict("records")
    ]


def today_lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return today's judgement as text."""
    if not rows:
        return []
    reasons = rows[0]["reasons"]
    head = "TODAY: outside the team's limits: " + "; ".join(reasons) if reasons else "TODAY: within the team's limits"
    lines = [head]
    for row in rows:
        words = ", ".join(f"{s} {w}" for s, w in row["shelter"].items()) or "shelter not worked out"
        lines.append(f"  day {row['day']} ({row['sites']}): {words}")
    return lines


def _table_minutes(dive: Any) -> str:
    if not dive.first_of_day:
        return "not read"
    return "unlimited" if pd.isna(dive.table_min) else f"{dive.table_min:.0f} ({dive.table_row_ft:.0f} ft)"


def _minutes(value: Any) -> str:
    return "" if pd.isna(value) else f"{round(value) // 60}:{round(value) % 60:02d} h"


def _number(value: Any) -> str:
    return "" if pd.isna(value) else f"{value:g}"


def _or(value: Any, other: Any) -> str:
    return str(value) if isinstance(value, str) else str(other)


def _text_table(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[str]:
    cells = [[str(c) for c in row] for row in rows]
    wide = [max([len(h), *(len(r[k]) for r in cells)]) for k, h in enumerate(head)]
    lines = ["  ".join(h.ljust(w) for h, w in zip(head, wide, strict=True)).rstrip()]
    lines += ["  ".join(c.ljust(w) for c, w in zip(row, wide, strict=True)).rstrip() for row in cells]
    return lines
