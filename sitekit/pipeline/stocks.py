"""The nursery's stock as the plan may use it: rows judged by the gate, whole outplant units by species and genet."""

from __future__ import annotations

import pandas as pd

from sitekit.base.tables import build
from sitekit.pipeline.project import Project
from sitekit.stock.inventory import Gate, check_stock, read_stock, usable_counts

UNNAMED = "any"  # genet of units planned without a stock list


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
