"""What a click on the map tells of candidates and sites, as words made from the season's tables."""

from __future__ import annotations

import json
from typing import Any

import geopandas as gpd
import pandas as pd

from sitekit.pipeline.sea_pictures import shelter_words

MOST_NAMED = 8  # sites in one stamp
_UNSEEN = "chosen, not scouted"


def candidate_facts(tables: dict[str, pd.DataFrame]) -> gpd.GeoDataFrame:
    """Return the candidates with ranks and room of each species as text, for reading."""
    frame = gpd.GeoDataFrame(tables["candidates"]).copy()
    ranks: dict[str, list[str]] = {}
    for row in _rows(tables, "candidate_ranks"):
        words = f"{row['species']}: {row['rank']}, {row['rank_low']} to {row['rank_high']}"
        ranks.setdefault(row["candidate"], []).append(words + (", fragile" if row["fragile"] else ""))
    room: dict[str, list[str]] = {}
    for row in _rows(tables, "candidate_species"):
        if not pd.isna(row["capacity"]):
            words = f"{row['species']}: {row['capacity']:.0f} (at most {row['bound']:.0f})"
            room.setdefault(row["candidate"], []).append(words)
    frame["ranks"] = ["; ".join(ranks.get(c, [])) for c in frame["candidate"]]
    frame["room"] = ["; ".join(room.get(c, [])) for c in frame["candidate"]]
    return frame


def _rows(tables: dict[str, pd.DataFrame], name: str) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in tables[name].to_dict("records")] if name in tables else []


def site_facts(tables: dict[str, pd.DataFrame]) -> gpd.GeoDataFrame:
    """Return the sites with what decides their mark: chosen or not, scouted or not."""
    frame = gpd.GeoDataFrame(tables["sites"]).copy()
    frame["mark"] = [
        ("chosen" if chosen else "not chosen") + ("" if scouted else ", not scouted")
        for chosen, scouted in zip(frame["chosen"] == True, frame["scouted"] == True, strict=True)  # noqa: E712
    ]
    frame["answers"] = [_said(text) for text in frame["answers"]]
    shelter = shelter_words(tables["shelter"]) if "shelter" in tables else {}
    frame["shelter"] = [shelter.get(str(site), "") for site in frame["site"]]
    return frame


def _said(answers: Any) -> str:
    """Return a site's answers as words; empty without any."""
    found = json.loads(answers) if isinstance(answers, str) and answers else {}
    return "; ".join(f"{k}: {v}" for k, v in found.items()) if isinstance(found, dict) else str(answers)


def stamps(tables: dict[str, pd.DataFrame]) -> tuple[str, ...]:
    """Return the stamp that names chosen sites nobody has looked at."""
    sites = tables["sites"]
    unseen = [str(s) for s, mark in zip(sites["site"], site_facts(tables)["mark"], strict=True) if mark == _UNSEEN]
    if not unseen:
        return ()
    return ("NOT SCOUTED: " + (", ".join(unseen) if len(unseen) <= MOST_NAMED else f"{len(unseen)} chosen sites"),)
