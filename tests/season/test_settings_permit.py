"""Permits in plan.toml: what does not hold together is refused, with its place and what was due."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from sitekit.base.crs import read_crs
from sitekit.errors import InputFault
from sitekit.season.settings import settings_from
from sitekit.season.settings_permit import DATUMS, Permit

DEMO = Path(__file__).resolve().parents[2] / "data_samples" / "plan.toml"


def plan(**permit: Any) -> dict[str, Any]:
    data = tomllib.loads(DEMO.read_text("utf-8"))
    data["permit"][0].update(permit)
    return data


def test_the_demo_permit_is_read_whole() -> None:
    """Every key of the reference plan must be one that is understood."""
    permit = settings_from(plan()).permit[0]
    assert permit.named() == "Office of Reefs, FICTIONAL, no. FICTIONAL-26-014"
    assert [c.most for c in permit.caps] == [200, 400, 450]
    assert permit.text_limits == {"abstract": 2000, "methods": 4000}


FAULTS: list[tuple[dict[str, Any], str]] = [
    ({"valid_from": "2027-05-01"}, r"permit.1..valid_from: .* due: a date as year-month-day"),
    ({"datum": "OSGB"}, r"datum 'OSGB' is unknown: one of WGS 84, NAD83"),
    ({"amends": "last/season.gpkg"}, "amends needs amendment_reason: an office asks why"),
    ({"low_water_m": 2.0, "high_water_m": 0.55}, r"low_water_m 2 is above high_water_m 0\.55"),
    ({"caps": [{"most": 10, "species": "XYZ"}]}, "permit.1. names species 'XYZ'; known: APAL, ACER"),
    ({"caps": [{"most": 0}]}, "greater than or equal to 1"),
    ({"caps": [{"most": 5, "counts": "tons"}]}, "'fragments', 'units' or 'genets'"),
    ({"materials": [{"item": "pins", "stays": True, "removed_by": "x"}]}, "removed_by"),
    ({"revision": "a!"}, "revision"),
    ({"autority": "x"}, r"unknown key 'autority'.*Did you mean 'authority'"),
    ({"heights": [{"species": "APAL", "now_cm": 12, "later_cm": 50}]}, "later_cm and later_years belong together"),
]


@pytest.mark.parametrize(("change", "message"), FAULTS, ids=[next(iter(c)) + str(k) for k, (c, _) in enumerate(FAULTS)])
def test_a_permit_that_does_not_hold_together_is_refused(change: dict[str, Any], message: str) -> None:
    """A wrong permit taken for a right one is found out by the officer."""
    with pytest.raises(InputFault, match=message):
        settings_from(plan(**change))


def test_a_period_that_ends_before_it_starts_is_refused() -> None:
    """Both dates are named."""
    data = plan()
    start = data["permit"][0]["valid_from"]
    data["permit"][0]["valid_to"] = start.replace(year=start.year - 1)
    with pytest.raises(InputFault, match="ends before it starts: valid_from 2026-05-01, valid_to 2025-05-01"):
        settings_from(data)


@pytest.mark.parametrize("name", DATUMS)
def test_each_named_datum_is_a_system_of_degrees(name: str) -> None:
    """EPSG register as PROJ carries it: the code's name must be the datum's."""
    crs = read_crs(DATUMS[name])
    assert crs.is_geographic
    assert crs.name == name


def test_a_permit_needs_its_authority_only() -> None:
    """All else may be missing: it becomes an open item, never an invention."""
    assert Permit(authority="Office").number is None
