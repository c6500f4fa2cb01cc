"""The nursery's stock as the plan may use it: rows judged by the gate, whole outplant units by species and genet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from sitekit.base.tables import build
from sitekit.errors import Fault, InputFault
from sitekit.layers.aliases import Aliases, Named, genet_doubts
from sitekit.layers.cells import Doubt, Refused
from sitekit.pipeline.partners import partner_names
from sitekit.pipeline.project import Project
from sitekit.stock.inventory import Gate, check_stock, read_stock, usable_counts

UNNAMED = "any"  # genet of units planned without a stock list


@dataclass(frozen=True)
class StockRead:
    """The stock as read: its table, how the file was understood, rows set aside, names to look at."""

    rows: pd.DataFrame
    said: tuple[str, ...] = ()
    refused: tuple[Refused, ...] = ()
    doubts: tuple[Doubt, ...] = ()


def stock_reading(project: Project) -> StockRead:
    """Return the stock as read, names of partners mapped, each row judged by the gate; empty without a stock list.

    Raises
    ------
    InputFault
        With every fault of the list, or if no row of it can be used.
    """
    settings = project.settings
    stock = settings.stock
    if stock is None:
        return StockRead(build("stock", []))
    gate = Gate(
        least_size_cm={s.code: s.least_size_cm for s in settings.species if s.least_size_cm is not None},
        accept_watch=stock.accept_watch,
        planting_date=settings.plan.date,
        health_days=stock.oldest_health_days,
    )
    names = partner_names(project)
    refused: list[Refused] | None = [] if stock.accept_partial else None
    columns = {str(k): v for k, v in stock.columns.items()}
    path = project.input(stock.file, "stock.file")
    rows, said = read_stock(path, reading=stock.reading, columns=columns, refused=refused)
    rows = _named(rows, names, stock.partner or "")
    found = check_stock(rows, species=[s.code for s in settings.species], gate=gate, refused=refused)
    if not len(found):
        raise InputFault(Fault("stock", f"no row of {path.name} can be used", "at least one", "Correct the list."))
    mapped = {n: int((found[n] != "").sum()) for n in ("species_written", "genet_written")}
    notes = [f"{n} names of {k.split('_')[0]} mapped by the list of partners' names" for k, n in mapped.items() if n]
    lines = {int(r) for r in found["line"]}
    named = [
        Named(str(r["species"]), str(r["genet"]), str(r.get("source", "")), str(r["partner"]), bool(r["settled"]))
        for r in rows.to_dict("records")
        if int(r["line"]) in lines
    ]
    return StockRead(found, (*said, *notes), tuple(refused or ()), genet_doubts(named))


def _named(rows: pd.DataFrame, names: Aliases, partner: str) -> pd.DataFrame:
    """Rows with the plan's names, and those the partner wrote where they differ.

    The partner of a row is its own, else the one that the plan names, else its owner.
    """
    blank = pd.Series([""] * len(rows), index=rows.index, dtype="str")
    own = rows.get("partner", blank)
    owner = rows.get("owner", blank)
    whose = [str(p) or partner or str(o) for p, o in zip(own, owner, strict=True)]
    out = rows.assign(partner=whose)
    settled = [False] * len(rows)
    if "species" in rows:
        code = [names.species(str(s), p) for s, p in zip(rows["species"], whose, strict=True)]
        out = out.assign(species=code, species_written=_changed(rows["species"], code))
        if "genet" in rows:
            genet = [names.genet(str(g), s, p) for g, s, p in zip(rows["genet"], code, whose, strict=True)]
            settled = [names.settled(str(g), s, p) for g, s, p in zip(rows["genet"], code, whose, strict=True)]
            out = out.assign(genet=genet, genet_written=_changed(rows["genet"], genet))
    return out.assign(settled=settled)


def _changed(written: Iterable[object], means: Iterable[str]) -> list[str]:
    return ["" if str(a) == b else str(a) for a, b in zip(written, means, strict=True)]


def read_stock_rows(project: Project) -> pd.DataFrame:
    """Return the stock as read, each row judged by the gate; empty without a stock list."""
    return stock_reading(project).rows


def usable_units(project: Project, stock: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Return outplant units by species and genet: whole units of the usable fragments."""
    settings = project.settings
    per_unit = {s.code: s.fragments_per_unit for s in settings.species}
    if settings.stock is None:
        return {(code, UNNAMED): number for code, number in settings.spacing.numbers.items()}
    return {key: fragments // per_unit[key[0]] for key, fragments in usable_counts(stock).items()}


def units_to_plant(project: Project, units: dict[tuple[str, str], int]) -> dict[str, int]:
    """Return units to plant of each species: what the stock yields, no more than `[spacing.numbers]` asks for."""
    wanted = project.settings.spacing.numbers
    have = {s.code: sum(n for (code, _), n in units.items() if code == s.code) for s in project.settings.species}
    return {code: min(number, wanted.get(code, number)) for code, number in have.items()}
