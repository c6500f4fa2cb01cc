"""What `sitekit survey` and a run print of what was planted and what lives."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

LIMITS = (
    "Intervals are 95 % and too narrow: units of one plot share their fate.",
    "A death is dated to the visit that found it. Carry no rate on beyond the days it was seen over.",
)
_SHOWN = {"all": "all units", "species": "species", "genet": "genets", "site": "sites", "plot": "plots"}


def planted_lines(figures: Mapping[str, Any]) -> list[str]:
    """Return what a run says of the records; nothing where nothing is recorded.

    Parameters
    ----------
    figures : mapping
        Of the stage.
    """
    if not figures["planted"]:
        return []
    lines = [
        f"planted: {figures['as_drawn']} of the {figures['planned']} units of this plan, {figures['planted']} in all "
        f"in the records; {figures['looked_at']} looked at since"
    ]
    if figures["nearest_m"] is not None:
        lines.append(
            f"  as planted, the nearest two stand {figures['nearest_m']:.2f} m apart (on paper at least "
            f"{figures['planned_m']:.2f} m)"
        )
    if figures["looked_at_before"]:
        lines.append(
            f"  planted anew or dated later after a look, so that former looks do not count: {figures['looked_at_before']}"
        )
    if figures["this_season"] < figures["planted"]:
        lines.append(
            f"  of earlier seasons: {figures['planted'] - figures['this_season']}; survey sheets of these come from their own "
            "season's folder"
        )
    counts = figures["counts"]
    if counts["contradictory"]:
        lines.append(f"  noted dead and later alive: {counts['contradictory']}; the later look holds, check tags")
    if counts["only_missing"]:
        lines.append(f"  not found again, counted as dead (survey.missing): {counts['only_missing']}")
    return lines


def survey_lines(tables: Mapping[str, pd.DataFrame], figures: Mapping[str, Any]) -> list[str]:
    """Return survival and visits as text.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        `survival` and `visits` of the season.
    figures : mapping
        Of the stage.
    """
    if not figures["planted"]:
        return [
            "nothing is recorded as planted",
            "Next: fill in out/planting_form.csv, then sitekit record planted FILE",
        ]
    lines = planted_lines(figures)
    survival = tables["survival"]
    if figures["looked_at"]:
        lines += ["", "WHAT LIVES (alive when last seen, of those looked at; survival by Kaplan and Meier)"]
        lines += _table(survival)
        lines += [_compared(c) for c in figures["compared"]]
        lines += LIMITS
    lines += ["", "VISITS STILL DUE (in brackets: units not looked at since)"]
    open_visits = tables["visits"][tables["visits"]["done"] < tables["visits"]["units"]]
    if not len(open_visits):
        lines.append("none")
    for visit, part in open_visits.groupby("visit", sort=False):
        first, last = part["first"].min(), part["last"].max()
        when = first if first == last else f"{first} to {last}"
        plots = (
            f"{plot} ({units - done} of {units})" if done else str(plot)
            for plot, units, done in part[["plot", "units", "done"]].itertuples(index=False)
        )
        lines.append(f"  {visit} after planting, {when}: {', '.join(plots)}")
    return lines


def _table(survival: pd.DataFrame) -> list[str]:
    head = f"  {'':24s} planted  seen  alive  dead  missing   alive %            days  survival %         1 year %"
    out = [head]
    for of in _SHOWN:
        rows = survival[(survival["of"] == of) & (survival["looked_at"] > 0)]
        if of in ("species", "site") and len(rows) < 2:
            continue
        for r in rows.to_dict("records"):
            out.append(
                f"  {r['name'][:24]:24s} {r['planted']:7d} {r['looked_at']:5d} {r['alive']:6d} {r['dead']:5d} "
                f"{r['missing']:8d}   {_share(r, 'alive'):17s} {_whole(r['days']):>5s}  {_share(r, 'survival'):17s}  "
                f"{_whole(r['year_pct']):>4s}"
            )
    return out


def _share(row: Mapping[Any, Any], name: str) -> str:
    value, low, high = (row[f"{name}{end}_pct"] for end in ("", "_low", "_high"))
    if pd.isna(value):
        return "—"
    return f"{value:.0f}" if pd.isna(low) or pd.isna(high) else f"{value:.0f} ({low:.0f} to {high:.0f})"


def _whole(value: Any) -> str:
    return "—" if pd.isna(value) else f"{value:.0f}"


def _compared(row: Mapping[str, Any]) -> str:
    kind = _SHOWN[row["of"]]
    if not row["degrees"]:
        return f"  {row['groups']} {kind} not compared: no visit that found deaths left survivors to compare"
    if row["p"] is None:
        return f"  {row['groups']} {kind} not compared: too few deaths (due are 5 expected in four of five groups, 1 in each)"
    p = "below 0.001" if row["p"] < 0.001 else f"{row['p']:.3f}"
    return (
        f"  {row['groups']} {kind} compared (log-rank): chi-square {row['chi2']:.1f}, {row['degrees']} degrees of freedom, "
        f"p {p}; it takes units for independent, which neighbours are not"
    )
