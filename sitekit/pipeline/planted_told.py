"""What is said of units just recorded as planted: how many, what differs from the plan, what they replace."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import pandas as pd

from sitekit.base.tables import build
from sitekit.season.settings import Settings

MOST_SHOWN = 3  # replaced rows told one by one; the rest is counted
ELSEWHERE_DEG = 5e-6  # about 0.5 m: half a metre is what tells two places apart


def told(
    settings: Settings, made: list[dict[str, Any]], colonies: pd.DataFrame, before: pd.DataFrame, looked: pd.DataFrame
) -> list[dict[str, Any]]:
    """Return a row per plot on rows just recorded.

    Parameters
    ----------
    settings : Settings
        For the dates of permits.
    made : list of dict
        Rows of the records' table `planted`.
    colonies : DataFrame
        Units of the plan.
    before : DataFrame
        Units that stood recorded until now.
    looked : DataFrame
        The records' table `surveys`.

    Returns
    -------
    list of dict
        As `record_planted`.
    """
    planned = {(str(u["site"]), int(u["sequence"])): u for u in colonies.to_dict("records")}
    counts = {str(k): int(v) for k, v in colonies["plot"].value_counts().items()}
    out = []
    frame = build("planted", made)
    stood = {(str(r["site"]), int(r["sequence"])): r for r in before.to_dict("records")}
    days: dict[tuple[str, int], list[str]] = {}
    for s, n, d in looked[["site", "sequence", "date"]].itertuples(index=False):
        days.setdefault((str(s), int(n)), []).append(str(d))
    for plot, part in frame.groupby("plot", sort=True):
        rows = part.to_dict("records")
        changed = [r for r in rows if r["fragments"] and _differs(r, planned[(r["site"], r["sequence"])])]
        dates = sorted(set(part["date"]))
        former = [r["sequence"] for r in rows if any(d < r["date"] for d in days.get((r["site"], r["sequence"]), []))]
        warnings = [_outside_permits(settings, dates)]
        if former:
            warnings.append(f"looked at before that day, which no longer counts: {', '.join(map(str, former))}")
        replaced = [text for r in rows if (text := _replaced(r, stood.get((r["site"], r["sequence"]))))]
        if replaced:
            more = f" and {len(replaced) - MOST_SHOWN} more" if len(replaced) > MOST_SHOWN else ""
            warnings.append(f"replaces what was recorded: {'; '.join(replaced[:MOST_SHOWN])}{more}")
        out.append(
            {
                "plot": str(plot),
                "dates": dates,
                "planted": sum(r["fragments"] > 0 for r in rows),
                "of": counts[str(plot)],
                "not_planted": [int(r["sequence"]) for r in rows if not r["fragments"]],
                "changed": [int(r["sequence"]) for r in changed],
                "warning": "; ".join(w for w in warnings if w),
            }
        )
    return out


def _replaced(row: Mapping[Any, Any], old: Mapping[Any, Any] | None) -> str:
    """What a row says otherwise than the one it replaces; empty where nothing was recorded or nothing differs."""
    if old is None:
        return ""
    names = {n: n for n in ("plot", "species", "genet", "fragments", "tag", "date", "along_m", "offset_m")}
    names |= {"planned_along_m": "planned along_m", "planned_offset_m": "planned offset_m"}
    said = [f"{shown} {old[n]} becomes {row[n]}" for n, shown in names.items() if not _same(old[n], row[n])]
    if not said and max(abs(old[n] - row[n]) for n in ("longitude_deg", "latitude_deg")) > ELSEWHERE_DEG:
        said = ["it stood elsewhere"]
    return f"{row['sequence']} ({', '.join(said)})" if said else ""


def _same(a: Any, b: Any) -> bool:
    return bool(a == b or (pd.isna(a) and pd.isna(b)))


def _differs(row: Mapping[Any, Any], unit: Mapping[Any, Any]) -> bool:
    pairs = ((row["genet"], unit["genet"]), (row["fragments"], unit["fragments"]), (row["tag"], unit["tag"]))
    places = ((row[n], row[f"planned_{n}"]) for n in ("along_m", "offset_m"))
    return not all(_same(a, b) for a, b in (*pairs, *places))


def _outside_permits(settings: Settings, dates: list[str]) -> str:
    """Days on which a held permit does not allow planting; empty if none."""
    days = [datetime.date.fromisoformat(d) for d in dates]
    told = []
    for permit in settings.permit:
        out = [
            d.isoformat()
            for d in days
            if (permit.valid_from and d < permit.valid_from) or (permit.valid_to and d > permit.valid_to)
        ]
        if out:
            name = f"{permit.authority} {permit.number or ''}".strip()
            told.append(f"{', '.join(out)} OUTSIDE the dates of {name}")
    return "; ".join(told)
