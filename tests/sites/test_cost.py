"""Costs by rates: closed forms."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from sitekit.base.sources import shared_file
from sitekit.sites.cost import Rates, published_ranges, site_costs


def test_costs_follow_the_rates() -> None:
    """10 units a dive, 2 dives to set up, 8 dives a day: 80 units take 10 dives and 1.25 days."""
    found = site_costs(Rates(10, 2, 8, None, None, 50, 1, 20, 400), [np.nan])
    dives = found.dives_per_site[0] + 80 * found.dives_per_unit[0]
    days = found.boat_days_per_site[0] + 80 * found.boat_days_per_unit[0]
    money = found.money_per_site[0] + 80 * found.money_per_unit[0]
    assert dives == pytest.approx(10.0)
    assert days == pytest.approx(1.25)
    assert money == pytest.approx(50 + 80 + 10 * 20 + 1.25 * 400)


def test_travel_takes_its_share_of_the_day() -> None:
    """At 10 kn (18.52 km/h) a site 9.26 km off takes one hour of eight: 7/8 of the dives of a day are left."""
    near, far = site_costs(Rates(10, 0, 8, 8, 10), [0.0, 9260.0]).boat_days_per_unit
    assert near / far == pytest.approx(7 / 8)


def test_a_site_beyond_a_days_travel_is_out_of_reach() -> None:
    """Two hours a day at 5 kn are 18.52 km, there and back 9.26 km."""
    found = site_costs(Rates(10, 1, 8, 2, 5, money_per_boat_day=100), [9259.0, 9261.0])
    assert math.isfinite(found.money_per_unit[0])
    assert math.isinf(found.boat_days_per_unit[1])
    assert math.isinf(found.money_per_site[1])


def test_rates_that_are_not_given_cost_nothing() -> None:
    """Without a rate for dives no dive is counted."""
    found = site_costs(Rates(money_per_unit=2.5), [1000.0, np.nan])
    assert found.dives_per_unit.tolist() == [0.0, 0.0]
    assert found.money_per_unit.tolist() == [2.5, 2.5]


@pytest.mark.parametrize(
    "row", json.loads(shared_file("reference/trade_decide.json").read_text("utf-8")), ids=lambda r: r["id"]
)
def test_published_ranges_are_shown_as_published(row: dict[str, str]) -> None:
    """A range shown beside the team's own rate must be the printed one, with its source."""
    shown = {r["id"]: r for r in published_ranges()}
    if row["topic"] == "productivity" or row["id"] == "TV-089":
        assert shown[row["id"]]["value"] == row["value"]
        assert shown[row["id"]]["source"]
    else:
        assert row["id"] not in shown


def test_corals_per_dive_of_the_paper_give_its_dives() -> None:
    """TV-089: 150 corals at 11 per diver-dive are 14 diver-dives, at 6 they are 25."""
    for rate, dives in ((11, 14), (6, 25)):
        assert math.ceil(150 * site_costs(Rates(rate), [0.0]).dives_per_unit[0]) == dives
