"""A queue of days as rows of the season's tables: days, dives, pull list, crates, leftovers, materials."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from sitekit.fieldwork.days import HARVEST, PLANT, Day
from sitekit.fieldwork.gas import UNITS
from sitekit.fieldwork.harvest import Batch, Wanted, pack_crates, pull_list
from sitekit.fieldwork.materials import materials
from sitekit.fieldwork.weather import leeward_places
from sitekit.pipeline.crew import Rates, limits_of, methods_of
from sitekit.pipeline.sheet_facts import Shelter
from sitekit.pipeline.tides import Tides
from sitekit.season.settings_fieldwork import Fieldwork

NO_SHELTER = "not worked out: shelter by wind direction needs [waves]"


@dataclass
class Rows:
    """Rows of the tables of the day's work, and units the stock did not serve."""

    days: list[dict[str, Any]] = field(default_factory=list)
    dives: list[dict[str, Any]] = field(default_factory=list)
    pull_list: list[dict[str, Any]] = field(default_factory=list)
    crates: list[dict[str, Any]] = field(default_factory=list)
    leftovers: list[dict[str, Any]] = field(default_factory=list)
    materials: list[dict[str, Any]] = field(default_factory=list)
    short: list[Wanted] = field(default_factory=list)


def clock(start: str, minutes: float) -> str:
    """Return a local time some minutes after `start`, to the whole minute up; past midnight hours go on counting."""
    hours, least = (int(v) for v in start.split(":"))
    total = 60 * hours + least + math.ceil(minutes - 1e-6)
    return f"{total // 60:02d}:{total % 60:02d}"


def spans(numbers: Sequence[int]) -> str:
    """Return sequence numbers as text: `12–23, 25`."""
    out: list[list[int]] = []
    for n in sorted(numbers):
        if out and n == out[-1][1] + 1:
            out[-1][1] = n
        else:
            out.append([n, n])
    return ", ".join(f"{a}–{b}" if b > a else f"{a}" for a, b in out)


def numbers_in(text: str) -> list[int]:
    """Return the sequence numbers that `spans` wrote.

    Examples
    --------
    >>> numbers_in("12–14, 25")
    [12, 13, 14, 25]
    """
    out: list[int] = []
    for part in text.split(", "):
        first, _, last = part.partition("–")
        out += range(int(first), int(last or first) + 1)
    return out


def day_rows(
    days: Sequence[Day],
    setting: Fieldwork,
    rates: Rates,
    *,
    colonies: pd.DataFrame,
    planted: pd.DataFrame,
    stock: pd.DataFrame,
    letters: Mapping[tuple[str, str], str],
    tides: Tides,
    shelter: Shelter,
    ranks: Mapping[tuple[str, float], int],
    notes: Sequence[str],
) -> Rows:
    """Return the tables of the day's work.

    Parameters
    ----------
    days : sequence of Day
        The queue.
    setting : Fieldwork
        The team's figures.
    rates : Rates
        Gas and table.
    planted : DataFrame
        Units of this plan that stand already: their fragments are no longer on the structures.
    colonies, stock : DataFrame
        Tables of the season.
    letters : mapping
        Letter of each species and genet.
    tides, shelter
        Of the season.
    ranks : mapping of (site, direction) to int
        1 = least sea arriving of all sites for wind from that direction.
    notes : sequence of str
        Sentences for every day.
    """
    out = Rows()
    rows: list[Any] = list(colonies.itertuples())
    units = {(str(u.plot), int(u.sequence)): u for u in rows}
    before = _batches(stock)
    left = _without_planted(before, planted)
    gone = [a.ready - b.ready for a, b in zip(before, left, strict=True)]
    seen: set[str] = set()
    totals: Counter[tuple[str, str, str]] = Counter()
    season: Counter[str] = Counter()
    season_tags = 0
    open_sites = list(dict.fromkeys(s for d in days for s in d.sites))
    for day in days:
        own = [(d, n) for d in day.dives if d.kind == PLANT for n in d.numbers]
        wanted = [
            Wanted(str(u.plot), int(u.sequence), str(u.species), str(u.genet), int(u.fragments))
            for u in (units[(str(d.plot), n)] for d, n in own)
        ]
        crates = pack_crates(wanted, setting.harvest.crate_fragments)
        pulls, left, short = pull_list(wanted, crates, left, spare_pct=setting.harvest.spare_pct)
        out.short += short
        date = day.date.isoformat()
        for pull in pulls:
            totals[(pull.structure, pull.species, pull.genet)] += pull.take + pull.spare
            out.pull_list.append(
                {
                    "day": day.number,
                    "date": date,
                    "structure": pull.structure,
                    "species": pull.species,
                    "genet": pull.genet,
                    "letter": letters[(pull.species, pull.genet)],
                    "take": pull.take,
                    "spare": pull.spare,
                    "crate": pull.crate,
                }
            )
        out.crates += [
            {
                "day": day.number,
                "date": date,
                "crate": c.label,
                "plot": c.plot,
                "numbers": spans(c.numbers),
                "fragments": c.fragments,
            }
            for c in crates
        ]
        tags = sum(1 for d, n in own if units[(str(d.plot), n)].tag)
        by_method = Counter(setting.attach[w.species] for w in wanted)
        plots = list(dict.fromkeys(str(d.plot) for d, _ in own))
        items = _materials(setting, by_method, tags, len([p for p in plots if p not in seen]))
        seen |= set(plots)
        season.update(by_method)
        season_tags += tags
        out.materials += [{"day": day.number, **i} for i in items]
        adhesive = sum(i["number"] for i in items if i["unit"] == "mL")
        spares = sum(p.spare for p in pulls)
        out.days.append(_day(day, setting, tides, shelter, ranks, open_sites, plots, spares, tags, adhesive, notes))
        out.dives += [_dive(d, day, setting, rates) for d in day.dives]
    out.materials += [
        {"day": None, **i} for i in _materials(setting, season, season_tags, len(seen), most_pairs=setting.divers // 2)
    ]
    out.leftovers = _leftovers(before, left, gone, out.pull_list)
    return out


def _batches(stock: pd.DataFrame) -> list[Batch]:
    usable = stock[stock["usable"]]
    return [
        Batch(str(s) if isinstance(s, str) else "structure not named", str(c), str(g), int(n))
        for s, c, g, n in zip(usable["structure"], usable["species"], usable["genet"], usable["ready"], strict=True)
    ]


def _without_planted(batches: list[Batch], planted: pd.DataFrame) -> list[Batch]:
    """What is left of a stock list that was made before those units were planted; taken off in its order."""
    due: Counter[tuple[str, str]] = Counter()
    for species, genet, n in planted[["species", "genet", "fragments"]].itertuples(index=False):
        due[(str(species), str(genet))] += int(n)
    out = []
    for batch in batches:
        taken = min(due[(batch.species, batch.genet)], batch.ready)
        due[(batch.species, batch.genet)] -= taken
        out.append(replace(batch, ready=batch.ready - taken))
    return out


def _materials(
    setting: Fieldwork, units: Mapping[str, int], tags: int, plots: int, most_pairs: int | None = None
) -> list[dict[str, Any]]:
    found = materials(
        units,
        methods_of(setting),
        tags=tags,
        plots=plots,
        pairs=most_pairs or setting.divers // 2,
        pins_per_plot=setting.materials.pins_per_plot,
        floats_per_plot=setting.materials.floats_per_plot,
        waste_pct=setting.materials.waste_pct,
        spare_pct=setting.materials.spare_pct,
    )
    return [{"item": i.item, "number": i.number, "unit": i.unit or None, "note": i.note or None} for i in found]


def _leftovers(
    before: list[Batch], left: list[Batch], gone: list[int], pulls: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    spare: Counter[tuple[str, str, str]] = Counter()
    for p in pulls:
        spare[(p["structure"], p["species"], p["genet"])] += p["spare"]
    rows = []
    for a, b, planted in zip(before, left, gone, strict=True):
        key = (a.structure, a.species, a.genet)
        spares = min(spare[key], a.ready - b.ready - planted)
        spare[key] -= spares
        rows.append(
            {
                "structure": a.structure,
                "species": a.species,
                "genet": a.genet,
                "ready": a.ready,
                "planted": planted,
                "pulled": a.ready - b.ready - planted - spares,
                "spare": spares,
                "left": b.ready,
            }
        )
    return rows


def _day(
    day: Day,
    setting: Fieldwork,
    tides: Tides,
    shelter: Shelter,
    ranks: Mapping[tuple[str, float], int],
    open_sites: Sequence[str],
    plots: Sequence[str],
    spares: int,
    tags: int,
    adhesive: float,
    notes: Sequence[str],
) -> dict[str, Any]:
    leave, back = setting.start, clock(setting.start, day.back_min)
    tide = tides.between(day.date, leave, back)
    weather = setting.weather
    window = tides.window(day.date, leave, back, weather.tide_least_m, weather.tide_greatest_m)
    harvest = [d for d in day.dives if d.kind == HARVEST]
    planted = [d for d in day.dives if d.kind == PLANT]
    own = list(notes)
    if any(s in setting.diseased_sites for s in day.sites):
        own.append("Disease at this site: worked after all clean sites; disinfect gear, tools and crates afterwards.")
    if window == "none":
        own.append("The tide stays outside the team's limits while the boat is out.")
    lines = limits_of(setting).lines()
    return {
        "day": day.number,
        "date": day.date.isoformat(),
        "sites": ", ".join(day.sites),
        "plots": ", ".join(plots),
        "dives": len(day.dives),
        "divers": 2 * len({d.pair for d in day.dives}),
        "cylinders": 2 * len(day.dives),
        "units": day.units,
        "fragments": sum(d.fragments for d in planted),
        "spares": spares,
        "tags": tags,
        "adhesive_ml": adhesive,
        "leave": leave,
        "back": back,
        "boat_min": day.back_min,
        "first_out": clock(setting.start, min(d.start_min for d in harvest)) if harvest else None,
        "last_attached": clock(setting.start, max(d.start_min + d.bottom_min for d in planted)) if harvest else None,
        "clock_min": day.clock_min,
        "tide_low_m": None if tide is None else tide[0],
        "tide_high_m": None if tide is None else tide[1],
        "tide_window": window,
        "limits": "; ".join(lines) or "none given",
        "alternates": "; ".join(_alternates(s, shelter, ranks, open_sites) for s in day.sites) or NO_SHELTER,
        "note": " ".join(own) or None,
    }


def _alternates(site: str, shelter: Shelter, ranks: Mapping[tuple[str, float], int], open_sites: Sequence[str]) -> str:
    """Leeward places of one site as text, directions with the same places together."""
    if not shelter:
        return NO_SHELTER
    if site not in shelter:
        return f"{site}: shelter not worked out"
    found = [(d, [s for s in places if s in open_sites]) for d, places in leeward_places(shelter, site)]
    if not found:
        return f"{site}: sheltered from every direction"
    groups: list[tuple[list[float], str]] = []
    for direction, places in found:
        word = "go to " + "/".join(places) if places else _least_sea(site, direction, ranks, open_sites)
        if groups and groups[-1][1] == word:
            groups[-1][0].append(direction)
        else:
            groups.append(([direction], word))
    text = [(f"{d[0]:03.0f}–{d[-1]:03.0f}°" if len(d) > 1 else f"{d[0]:03.0f}°") + f": {word}" for d, word in groups]
    return f"{site} is not in the lee of wind from " + ", ".join(text)


def _least_sea(site: str, direction: float, ranks: Mapping[tuple[str, float], int], open_sites: Sequence[str]) -> str:
    """Where least sea arrives when no open site is sheltered."""
    known = {s: ranks[(s, direction)] for s in dict.fromkeys([site, *open_sites]) if (s, direction) in ranks}
    if not known:
        return "no site known to be in the lee"
    least = min(known.values())
    best = [s for s, r in known.items() if r == least]
    return (
        "no site in the lee, least sea here" if site in best else "no site in the lee, least sea at " + "/".join(best)
    )


def _dive(dive: Any, day: Day, setting: Fieldwork, rates: Rates) -> dict[str, Any]:
    volume, pressure, _ = UNITS[rates.cylinder.system]
    letter = "ABCDEFGHJKLMNPQRSTUVWXYZ"[dive.pair % 24] + (str(dive.pair // 24) if dive.pair >= 24 else "")
    table_min = dive.allowed.table_min
    unlimited = table_min is not None and math.isinf(table_min)
    notes = [] if dive.first_of_day else ["later dive: no table read; the supervisor decides"]
    earlier = [d.depth_m for d in day.dives if d.pair == dive.pair and d.start_min < dive.start_min]
    if earlier and dive.depth_m > max(earlier) + 0.05:
        notes.append(f"deeper than this pair's dive before ({max(earlier):.1f} m): ask the supervisor")
    if unlimited:
        notes.append("table: unlimited")
    return {
        "dive": f"D{day.number:02d}-{'H' if dive.kind == HARVEST else dive.round}{letter}",
        "day": day.number,
        "date": day.date.isoformat(),
        "round": dive.round,
        "pair": letter,
        "kind": dive.kind,
        "site": dive.site,
        "plot": dive.plot,
        "numbers": spans(dive.numbers) or None,
        "units": len(dive.numbers),
        "fragments": dive.fragments,
        "depth_m": dive.depth_m,
        "first_of_day": dive.first_of_day,
        "gas_min": dive.allowed.gas_min,
        "table_row_ft": dive.allowed.table_row_ft,
        "table_min": None if unlimited else table_min,
        "supervisor_min": dive.allowed.supervisor_min,
        "allowed_min": dive.allowed.minutes,
        "limited_by": dive.allowed.limited_by,
        "bottom_min": dive.bottom_min,
        "work_min": dive.work_min,
        "gas_used": rates.used(dive.depth_m, dive.bottom_min),
        "gas_unit": volume,
        "turn_pressure": rates.turn(dive.depth_m),
        "pressure_unit": pressure,
        "start": clock(setting.start, dive.start_min),
        "end": clock(setting.start, dive.end_min),
        "note": "; ".join(notes) or None,
    }
