"""Stage 5: the stock as read, and who gets which genets."""

from __future__ import annotations

from typing import Any

import pandas as pd

from sitekit.base.tables import build, conform
from sitekit.errors import Fault
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.given import given_allotment
from sitekit.pipeline.project import Done, Project
from sitekit.season.plan_tables import read_plan, write_plan
from sitekit.sites.allocate import Share, hand_out
from sitekit.stock.inventory import Gate, check_stock, read_stock, usable_counts

UNNAMED = "any"  # genet of units planned without a stock list


def run(project: Project, run_id: str) -> Done:
    """Write the tables `stock`, `allotment` and the first rows of `unplaced`."""
    settings = project.settings
    season = project.result("season.gpkg")
    tables = read_plan(season)
    crs = read_ground(project).grid.crs
    stock = read_stock_rows(project)
    units = _units(project, stock)
    capacity = _capacity(tables)
    sites = tables["sites"]
    chosen = [(str(s.site), capacity.get(str(s.candidate), {})) for s in sites[sites["chosen"]].itertuples()]
    wanted = dict(settings.spacing.numbers)
    if settings.spacing.mode == "fill":
        units, wanted = _fill(project, chosen), {}
    shares = hand_out(chosen, units, wanted)
    edited = given_allotment(project, [name for name, _ in chosen], units)
    missing = {} if edited is not None else _missing(units, wanted)
    reason = "no chosen site has room" if chosen else "no site is chosen"
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
    computed = build("allotment", [_row(s) for s in shares if s.site is not None])
    tables["allotment"] = computed if edited is None else edited
    tables["unplaced"] = build("unplaced", unplaced)
    keep = (
        "candidates",
        "candidate_species",
        "candidate_ranks",
        "influence",
        "sites",
        "stock",
        "allotment",
        "unplaced",
    )
    write_plan(project.target("season.gpkg"), {n: tables[n] for n in keep}, crs)
    handed = tables["allotment"]
    figures = {
        "units": {str(k): int(v) for k, v in handed.groupby("species")["number"].sum().items()},
        "genets": int(handed.groupby(["species", "genet"]).ngroups) if len(handed) else 0,
        "edited": edited is not None,
    }
    return Done(["season.gpkg"], figures, _shortfalls(project, unplaced, bool(chosen)))


def read_stock_rows(project: Project) -> pd.DataFrame:
    """Return the stock as read, each row judged by the gate; empty without a stock list."""
    settings = project.settings
    if settings.stock is None:
        return build("stock", [])
    gate = Gate(
        least_size_cm={s.code: s.least_size_cm for s in settings.species if s.least_size_cm is not None},
        accept_watch=settings.stock.accept_watch,
        planting_date=settings.plan.date,
        health_days=settings.stock.oldest_health_days,
    )
    path = project.input(settings.stock.file, "stock.file")
    return check_stock(read_stock(path), species=[s.code for s in settings.species], gate=gate)


def _units(project: Project, stock: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Return outplant units by species and genet: whole units of the usable fragments."""
    settings = project.settings
    per_unit = {s.code: s.fragments_per_unit for s in settings.species}
    if settings.stock is None:
        return {(code, UNNAMED): number for code, number in settings.spacing.numbers.items()}
    return {key: fragments // per_unit[key[0]] for key, fragments in usable_counts(stock).items()}


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


def _shortfalls(project: Project, unplaced: list[dict[str, Any]], any_site: bool) -> list[Fault]:
    if not any_site and not unplaced:
        return []
    return [
        Fault(
            f"species {row['species']}" + (f", genet {row['genet']}" if row.get("genet") else ""),
            f"{row['number']} units stay without a place: {row['reason']}",
            "room and stock for every unit wanted",
            "Add sites, lower spacing.numbers, or accept the shorter plan; the rows stand in `unplaced`.",
        )
        for row in unplaced
    ]
