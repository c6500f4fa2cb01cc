"""What planting a site takes: dives, boat days, money, by a linear estimate from rates that the team types.

An estimate for choosing, stated as such; the day plan of fieldwork has the exact figures. No rate has a default: published
ones differ too much and stand beside the team's own (`published_ranges`).
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.sources import shared_file

Floats = NDArray[np.float64]
METRES_PER_NAUTICAL_MILE = 1852.0  # exact [source key: si-brochure]


@dataclass(frozen=True)
class Rates:
    """Rates as typed; see `[budget]` in plan.toml.

    Parameters
    ----------
    units_per_dive : float
        Units one diver plants per dive, > 0; infinite where dives do not count.
    dives_per_site : float
        Dives a site takes whatever is planted (setting pins, photographs).
    dives_per_boat_day : float
        Dives a boat carries on a day without travel, > 0; infinite where boat days do not count.
    boat_hours_per_day, boat_speed_kn : float or None
        Working hours of a boat day and its speed; None where travel is not counted.
    money_per_site, money_per_unit, money_per_dive, money_per_boat_day : float
        Prices, ≥ 0.
    """

    units_per_dive: float = math.inf
    dives_per_site: float = 0.0
    dives_per_boat_day: float = math.inf
    boat_hours_per_day: float | None = None
    boat_speed_kn: float | None = None
    money_per_site: float = 0.0
    money_per_unit: float = 0.0
    money_per_dive: float = 0.0
    money_per_boat_day: float = 0.0


@dataclass(frozen=True)
class Costs:
    """What each site takes: a part per site and a part per unit, each of shape (n,)."""

    dives_per_site: Floats
    dives_per_unit: Floats
    boat_days_per_site: Floats
    boat_days_per_unit: Floats
    money_per_site: Floats
    money_per_unit: Floats


def site_costs(rates: Rates, route_m: ArrayLike) -> Costs:
    """Return what each site takes, in a part per site and a part per unit.

    Parameters
    ----------
    rates : Rates
        As the team typed them.
    route_m : array_like, shape (n,)
        One way by sea from the harbour [m]; NaN where unknown: then no travel is counted there.

    Returns
    -------
    Costs
        Infinite boat days where travel alone fills a day.

    Notes
    -----
    dives = dives_per_site + units / units_per_dive; dives a day at a site = dives_per_boat_day × (1 − 2·route /
    (speed × hours)); boat days = dives / dives a day; money = Σ price × amount. Whole dives and whole days are not
    rounded up: sites may share a day.
    """
    route = np.asarray(route_m, np.float64)
    n = route.size
    working = np.ones(n)
    if rates.boat_speed_kn is not None and rates.boat_hours_per_day is not None:
        reach = rates.boat_speed_kn * METRES_PER_NAUTICAL_MILE * rates.boat_hours_per_day
        working = np.clip(1.0 - 2.0 * np.nan_to_num(route, nan=0.0) / reach, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        days_per_dive = np.where(working > 0, 1.0 / (rates.dives_per_boat_day * working), np.inf)
    dives_site = np.full(n, rates.dives_per_site)
    dives_unit = np.full(n, 1.0 / rates.units_per_dive)
    days_site = np.where(dives_site > 0, dives_site * days_per_dive, 0.0)
    days_unit = np.where(dives_unit > 0, dives_unit * days_per_dive, 0.0)
    return Costs(
        dives_site,
        dives_unit,
        days_site,
        days_unit,
        rates.money_per_site + rates.money_per_dive * dives_site + _priced(rates.money_per_boat_day, days_site),
        rates.money_per_unit + rates.money_per_dive * dives_unit + _priced(rates.money_per_boat_day, days_unit),
    )


def _priced(price: float, amount: Floats) -> Floats:
    return np.where(amount > 0, price * amount, 0.0) if price > 0 else np.zeros(amount.size)


@cache
def published_ranges() -> tuple[dict[str, str], ...]:
    """Return published rates and prices to show beside the team's own: quantity, value, unit, context, source."""
    rows = json.loads(shared_file("reference/trade_decide.json").read_text("utf-8"))
    return tuple(
        dict(row) for row in rows if row["topic"] == "productivity" or row["id"] == "TV-089"
    )  # corals per dive
