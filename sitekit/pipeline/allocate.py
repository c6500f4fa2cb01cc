"""Stage 5: the stock as read, and who gets which genets."""

from __future__ import annotations

from typing import Any

import pandas as pd

from sitekit.base.tables import build, conform
from sitekit.errors import Fault
from sitekit.pipeline.fields import SCOUT_FIRST, read_ground
from sitekit.pipeline.given import given_allotment
from sitekit.pipeline.lineage import lineage_tables
from sitekit.pipeline.partners import UNPLACED, with_origins
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.stocks import UNNAMED, stock_reading, usable_units
from sitekit.sites.allocate import Share, hand_out, hand_out_as_chosen
from sitekit.stock.inventory import usable_counts

# tables of the stages before, kept, and this stage's own
EARLIER = (
    "candidates",
    "candidate_species",
    "candidate_ranks",
    "influence",
    "place_scores",
    "sites",
    "site_species",
    "alternatives",
    "budget_use",
    "budget_curve",
    "held_back",
    "scouting",
    "control_areas",
)
NO_ROOM = "no chosen site has room"
OWN = ("stock", "living", "refused_rows", "doubts", "allotment", "unallotted", "unplaced")


def run(project: Project, run_id: str) -> Done:
    """Write the tables `stock`, `allotment`, `unallotted` and the first rows of `unplaced`."""
    settings = project.settings
    tables = project.season()
    ground = read_ground(project)
    crs = ground.grid.crs
    read = stock_reading(project)
    stock = read.rows
    units = usable_units(project, stock)
    capacity = _capacity(tables)
    sites = tables["sites"]
    chosen = [(str(s.site), capacity.get(str(s.candidate), {})) for s in sites[sites["chosen"]].itertuples()]
    wanted = dict(settings.spacing.numbers)
    if settings.spacing.mode == "fill":
        units, wanted = _fill(project, chosen), {}
    shares = _shares(project, tables, chosen, units, wanted)
    edited = given_allotment(project, [name for name, _ in chosen], units)
    missing = {} if edited is not None else _missing(units, wanted)
    reason = NO_ROOM if chosen else ground.scout_reason or "no site is chosen"
    unplaced = [
        {"species": s.species, "genet": s.genet, "number": s.number, "reason": reason} for s in shares if s.site is None
    ]
    if settings.spacing.mode == "fill" or edited is not None:
        unplaced = []
    unplaced += [
        {"species": species, "number": number, "reason": "the stock holds fewer usable units than wanted"}
        for species, number in missing.items()
    ]
    tables["stock"] = conform(stock, "stock")
    tables |= lineage_tables(project, read)
    computed = build("allotment", [_row(s) for s in shares if s.site is not None])
    tables["allotment"] = with_origins(computed if edited is None else edited, tables["stock"])
    tables["unplaced"] = build("unplaced", unplaced)
    left = build("unallotted", _unallotted(project, stock, units, tables, unplaced))
    tables["unallotted"] = with_origins(left, tables["stock"])
    project.write_season({n: tables[n] for n in (*EARLIER, *OWN)}, crs)
    handed = tables["allotment"]
    figures = {
        "refused_rows": len(tables["refused_rows"]),
        "doubts": len(tables["doubts"]),
        "wanted": wanted,
        "units": {str(k): int(v) for k, v in handed.groupby("species")["number"].sum().items()},
        "genets": int(handed.groupby(["species", "genet"]).ngroups) if len(handed) else 0,
        "edited": edited is not None,
        "unallotted": {str(k): int(v) for k, v in tables["unallotted"].groupby("species")["number"].sum().items()},
    }
    return Done(["season.gpkg"], figures, _shortfalls(project, unplaced, bool(chosen), scout=ground.scout_reason))


def _shares(
    project: Project,
    tables: dict[str, pd.DataFrame],
    chosen: list[tuple[str, dict[str, int]]],
    units: dict[tuple[str, str], int],
    wanted: dict[str, int],
) -> list[Share]:
    """Return who gets what: the numbers that choose settled, or best site first where it settled none."""
    settled = tables["site_species"]
    if len(settled) and project.settings.spacing.mode != "fill":
        numbers: dict[str, dict[str, int]] = {name: {} for name, _ in chosen}
        rows: list[Any] = list(settled.itertuples())
        for row in rows:
            numbers[str(row.site)][str(row.species)] = int(row.units)
        plan = [(name, numbers[name]) for name, _ in chosen]
        return hand_out_as_chosen(plan, units, genet_sites=project.settings.choose.genet_sites)
    sites = tables["sites"]
    most = {str(s): int(m) for s, m in zip(sites["site"], sites["most_units"], strict=True) if not pd.isna(m)}
    return hand_out(chosen, units, wanted, most)


def _unallotted(
    project: Project,
    stock: pd.DataFrame,
    units: dict[tuple[str, str], int],
    tables: dict[str, pd.DataFrame],
    unplaced: list[dict[str, Any]],
) -> list[dict[str, Any]]:
    """Return a line for all usable stock that no site takes, and where it goes."""
    settings = project.settings
    if settings.stock is None or settings.spacing.mode == "fill":
        return []
    per_unit = {s.code: s.fragments_per_unit for s in settings.species}
    usable = usable_counts(stock)
    rows: list[Any] = list(tables["allotment"].itertuples())
    taken: dict[tuple[str, str], int] = {}
    for row in rows:
        key = (str(row.species), str(row.genet))
        taken[key] = taken.get(key, 0) + int(row.number)
    planned = {s.code: sum(n for (code, _), n in taken.items() if code == s.code) for s in settings.species}
    lost = {(str(r["species"]), str(r["genet"])) for r in unplaced if r.get("genet")}
    goes = "stays in the nursery" if settings.choose.leftovers == "return" else "reserve plot"
    found = []
    for key in sorted(units):
        left = units[key] - taken.get(key, 0)
        fragments = usable[key] - taken.get(key, 0) * per_unit[key[0]]
        if fragments <= 0:
            continue
        if left == 0:
            reason = "too few fragments for a whole unit"
        elif key in lost:
            reason = "no chosen site has room for it"
        else:
            reason = _why_left(project, key[0], planned)
        found.append(
            {"species": key[0], "genet": key[1], "number": left, "fragments": fragments, "goes": goes, "reason": reason}
        )
    return found


def _why_left(project: Project, species: str, planned: dict[str, int]) -> str:
    """Return why usable stock of a species stays over."""
    wanted = project.settings.spacing.numbers.get(species)
    if wanted is not None and planned[species] >= wanted:
        return f"the {wanted} units wanted are planned"
    return (
        "the limits and rules of the choice allow no more"
        if wanted is None
        else (f"the limits and rules of the choice allow {planned[species]} of {wanted} units wanted")
    )


def _capacity(tables: dict[str, pd.DataFrame]) -> dict[str, dict[str, int]]:
    found: dict[str, dict[str, int]] = {}
    rows: list[Any] = list(tables["candidate_species"].itertuples())
    for row in rows:
        if not pd.isna(row.capacity):
            found.setdefault(str(row.candidate), {})[str(row.species)] = int(row.capacity)
    return found


def _fill(project: Project, chosen: list[tuple[str, dict[str, int]]]) -> dict[tuple[str, str], int]:
    """Return as many units as all chosen sites hold of each species alone; `place` finds what fits together."""
    return {(s.code, UNNAMED): sum(capacity.get(s.code, 0) for _, capacity in chosen) for s in project.settings.species}


def _missing(units: dict[tuple[str, str], int], wanted: dict[str, int]) -> dict[str, int]:
    have = {code: sum(n for (s, _), n in units.items() if s == code) for code in wanted}
    return {code: number - have[code] for code, number in wanted.items() if have[code] < number}


def _row(share: Share) -> dict[str, Any]:
    return {"site": share.site, "species": share.species, "genet": share.genet, "number": share.number}


def _shortfalls(project: Project, unplaced: list[dict[str, Any]], any_site: bool, *, scout: str) -> list[Fault]:
    """One fault per species and reason, its genets counted."""
    if not any_site and not unplaced:
        return []
    short: dict[tuple[str, str], list[int]] = {}
    for row in unplaced:
        short.setdefault((str(row["species"]), str(row["reason"])), []).append(int(row["number"]))
    spacing = project.settings.spacing
    another = f" for another {spacing.plot.said}" if spacing.mode == "plots" else ""
    room = (
        f"Make plots smaller ({spacing.plot.size_keys}) or spacing.plot.gap_m shorter" if spacing.mode == "plots"
        else "Bring units nearer (spacing.separation_m)"
    )  # fmt: skip
    if scout:
        numbers = [int(row["number"]) for row in unplaced]
        due = "a bottom mapped finely enough for plots"
        return [
            Fault("layers.substrate", f"{sum(numbers)} units stay without a place: {scout}", due, f"{SCOUT_FIRST}.")
        ]
    do = {
        "stock": "Get more stock or lower spacing.numbers",
        "sites": f"{room}, open more sites, or want fewer (spacing.numbers)",
    }
    return [
        Fault(
            f"species {species}",
            f"{sum(numbers)} units stay without a place: {reason}{another if reason == NO_ROOM else ''}",
            "room and stock for every unit wanted",
            f"{do['stock' if reason.startswith('the stock') else 'sites']}; or accept the shorter plan. out/sites.csv "
            f"says why a site was left out; {UNPLACED}",
        )
        for (species, reason), numbers in short.items()
    ]
