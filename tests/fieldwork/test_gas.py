"""Gas: published figures, closed forms, refusals."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.fieldwork.gas import (
    UNITS,
    Cylinder,
    ambient_pressure,
    breathing_rate,
    gas_minutes,
    gas_used,
    to_depth_unit,
    turn_pressure,
)

ROWS: dict[str, Any] = {r["id"]: r for r in json.loads(shared_file("reference/diving.json").read_text("utf-8"))}
EIGHTY = Cylinder("80", 77.4, 3000.0, 0.0, "imperial")


@pytest.mark.parametrize("key", ["fsw", "msw"])
def test_pressure_is_the_published_one(key: str) -> None:
    """A wrong step per atmosphere spoils every gas figure."""
    row = ROWS["dive-pressure"]
    system = "imperial" if key == "fsw" else "metric"
    found = [ambient_pressure(d, system) for d in row["inputs"][f"depth_{key}"]]  # type: ignore[arg-type]
    assert found == pytest.approx(row["expected"][f"ata_{key}"], abs=row["tolerance"]["abs"])


def test_gas_of_a_dive_is_the_published_one() -> None:
    """Gas for a dive comes out as in the handbook's formula, in both systems."""
    row = ROWS["dive-gas-plan"]
    given_, metric = row["inputs"], row["inputs"]["metric"]
    used = gas_used(given_["sac_ft3_min"], given_["depth_fsw"], given_["minutes"], "imperial")
    assert used == pytest.approx(row["expected"]["gas_ft3"], abs=1e-9)
    litres = gas_used(metric["sac_l_min"], metric["depth_msw"], metric["minutes"], "metric")
    assert litres == pytest.approx(row["expected"]["gas_l"], abs=1e-9)
    cylinder = Cylinder("80", 77.4, 3000.0, 500.0, "imperial")
    lasts = gas_minutes(cylinder, 0.75, 40.0)
    assert lasts == pytest.approx(row["expected"]["al80_duration_min_at_40fsw_3000_to_500"], abs=1e-9)


def test_breathing_rate_from_a_log_is_the_published_one() -> None:
    """A rate that is not brought to the surface plans too much gas."""
    row = ROWS["dive-sac"]
    rate = breathing_rate(EIGHTY, row["inputs"]["psi_used"], row["inputs"]["avg_depth_fsw"], row["inputs"]["minutes"])
    assert rate == pytest.approx(row["expected"]["sac_ft3_min"], abs=1e-9)


@pytest.mark.parametrize(("start", "due"), [(3000.0, 2000.0), (207.0, 140.0), (200.0, 140.0)])
def test_turn_pressure_by_thirds_rounds_up(start: float, due: float) -> None:
    """133 bar printed as 130 takes gas from the way back (reference row dive-thirds)."""
    exact = ROWS["dive-thirds"]["expected"]["turn_pressure"][ROWS["dive-thirds"]["inputs"]["start"].index(start)]
    system = "imperial" if start > 1000 else "metric"
    found = turn_pressure(Cylinder("x", 80.0, start, 0.0, system), 0.0, "thirds")  # type: ignore[arg-type]
    assert found == due
    assert found >= exact - 1e-6


def test_an_eighty_lasts_about_an_hour_at_thirty_feet_to_empty() -> None:
    """Common practice, no source: 45 to 75 min at 0.75 ft³/min with no reserve."""
    row = ROWS["dive-al80"]
    assert pytest.approx(row["expected"]["rated_capacity_ft3"]) == EIGHTY.capacity
    assert 45.0 <= gas_minutes(EIGHTY, 0.75, 30.0) <= 75.0


def test_units_are_the_exact_ones() -> None:
    """Feet and metres from one definition."""
    assert to_depth_unit(1.0, "imperial") == pytest.approx(ROWS["units"]["expected"]["ft_per_m"], rel=1e-9)
    assert to_depth_unit(7.5, "metric") == 7.5
    assert set(UNITS) == {"imperial", "metric"}


@given(
    depth=st.floats(0, 60), deeper=st.floats(0.1, 20), rate=st.floats(5, 60), reserve=st.floats(0, 150),
)  # fmt: skip
def test_deeper_never_lasts_longer_and_the_reserve_stays(
    depth: float, deeper: float, rate: float, reserve: float
) -> None:
    """Gas that lasts longer deeper would be an error of sign; breathing it all must leave the reserve."""
    cylinder = Cylinder("12", 2400.0, 200.0, reserve, "metric")
    minutes = gas_minutes(cylinder, rate, depth)
    assert gas_minutes(cylinder, rate, depth + deeper) < minutes
    left = cylinder.capacity - gas_used(rate, depth, minutes, "metric")
    assert left / cylinder.capacity * cylinder.rated == pytest.approx(reserve, abs=1e-6)


@given(leave=st.floats(0, 30), reserve=st.floats(300, 1200))
def test_turn_pressure_never_falls_below_what_is_needed(leave: float, reserve: float) -> None:
    """Rounding down would plan to surface below the reserve."""
    cylinder = Cylinder("80", 77.4, 3000.0, reserve, "imperial")
    found = turn_pressure(cylinder, leave)
    assert found >= reserve + leave / 77.4 * 3000.0 - 1e-6
    assert found % 100.0 == 0.0


@pytest.mark.parametrize("rate", [0.0, -0.5, math.nan])
def test_a_breathing_rate_that_is_not_positive_is_refused(rate: float) -> None:
    """A rate of 0 would make every dive endless."""
    with pytest.raises(InputFault, match=r"breathing rate: .* due: above 0"):
        gas_minutes(EIGHTY, rate, 30.0)


def test_impossible_cylinders_and_depths_are_refused() -> None:
    """Each wrong figure is named."""
    with pytest.raises(InputFault, match="reserve 3500 psi; due: 0 to below 3000 psi"):
        Cylinder("80", 77.4, 3000, 3500, "imperial")
    with pytest.raises(InputFault, match="capacity 0 ft³; due: above 0"):
        Cylinder("80", 0, 3000, 500, "imperial")
    with pytest.raises(InputFault, match="-3 m; due: 0 or more, positive down"):
        ambient_pressure(-3, "metric")
    with pytest.raises(InputFault, match="logged dive, minutes: 0; due: above 0"):
        breathing_rate(EIGHTY, 1500, 45, 0)
