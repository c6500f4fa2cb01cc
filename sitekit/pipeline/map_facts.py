"""What a click on the map tells of candidates and sites, as words made from the season's tables."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from sitekit.base.wording import retell, say
from sitekit.pipeline.sea_pictures import shelter_words

MOST_NAMED = 8  # sites in one stamp
_UNSEEN = "chosen, not scouted"


def candidate_facts(tables: dict[str, pd.DataFrame], mode: str) -> gpd.GeoDataFrame:
    """Return the candidates with ranks and room of each species in the plan's mode as text, for reading."""
    frame = gpd.GeoDataFrame(tables["candidates"]).copy()
    ranks: dict[str, list[str]] = {}
    for row in _rows(tables, "candidate_ranks"):
        key = "layer.rank_fragile" if row["fragile"] else "layer.rank_range"
        words = say(key, species=row["species"], rank=row["rank"], low=row["rank_low"], high=row["rank_high"])
        ranks.setdefault(row["candidate"], []).append(words)
    room: dict[str, list[str]] = {}
    for row in _rows(tables, "candidate_species"):
        if not pd.isna(row["capacity"]):
            key = "layer.room_plots" if mode == "plots" else "layer.room"
            number, most = f"{row['capacity']:.0f}", f"{row['bound']:.0f}"
            words = say(key, species=row["species"], number=number, most=most)
            room.setdefault(row["candidate"], []).append(words)
    frame["ranks"] = ["; ".join(ranks.get(c, [])) for c in frame["candidate"]]
    frame["room"] = ["; ".join(room.get(c, [])) for c in frame["candidate"]]
    why = {row["candidate"]: row["reason"] for row in _rows(tables, "sites") if not _marked(row)}
    frame["choice"] = [why.get(c, "") for c in frame["candidate"]]
    return frame


def _rows(tables: dict[str, pd.DataFrame], name: str) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in tables[name].to_dict("records")] if name in tables else []


def _marked(row: dict[str, Any]) -> bool:
    return bool(row["coded"] == True or row["chosen"] == True)  # noqa: E712


def site_facts(tables: dict[str, pd.DataFrame], asked: Mapping[str, str]) -> gpd.GeoDataFrame:
    """Return sites that bear a code or are chosen, with what decides their mark: chosen or not, scouted or not.

    A candidate that is neither is no site: its outline tells why it was not taken. `asked` are the go/no-go questions.
    """
    frame = gpd.GeoDataFrame(tables["sites"])
    frame = frame.loc[np.array([_marked(row) for row in _rows(tables, "sites")], bool)].copy()
    frame["mark"] = [
        ("chosen" if chosen else "not chosen") + ("" if scouted else ", not scouted")
        for chosen, scouted in zip(frame["chosen"] == True, frame["scouted"] == True, strict=True)  # noqa: E712
    ]
    frame["answers"] = [_said(text, asked) for text in frame["answers"]]
    shelter = shelter_words(tables["shelter"]) if "shelter" in tables else {}
    frame["shelter"] = [shelter.get(str(site), "") for site in frame["site"]]
    return frame


def _said(answers: Any, asked: Mapping[str, str]) -> str:
    """Return a site's answers as words, in the order of the questions; empty without any."""
    found = json.loads(answers) if isinstance(answers, str) and answers else {}
    keys = [k for k in asked if k in found] + [k for k in found if k not in asked]
    told = []
    for k in keys:
        known = [str(found[k][part]) for part in ("note", "who", "when") if found[k].get(part)]
        question, answer = retell(asked.get(k, k), typed=True), retell(found[k]["answer"])
        who = ", ".join(known) or say("layer.not_answered")
        told.append(say("layer.answer", question=question, answer=answer, who=who))
    return " ".join(told)


def stamps(sites: gpd.GeoDataFrame) -> tuple[str, ...]:
    """Return the stamp that names chosen sites nobody has looked at, from `site_facts`."""
    unseen = [str(s) for s, mark in zip(sites["site"], sites["mark"], strict=True) if mark == _UNSEEN]
    if not unseen:
        return ()
    named = ", ".join(unseen) if len(unseen) <= MOST_NAMED else say("map.chosen_sites", number=len(unseen))
    return (say("map.not_scouted", sites=named),)
