"""Ways of the boat: around land where that is longer than the team's factor, straight where no water is known."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pyproj import CRS

from sitekit.layers.grid import Grid
from sitekit.pipeline import ways
from sitekit.pipeline.crew import trips

PLACES = {"harbour": (5.0, 55.0), "nursery": (95.0, 55.0), "OT": (5.0, 95.0)}


@pytest.fixture
def island(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Ten by ten cells of 10 m; column 5 is land but for its lowest cell."""
    water = np.ones((10, 10), bool)
    water[:9, 5] = False
    grid = Grid(CRS.from_epsg(32620), 0.0, 100.0, 10.0, (10, 10))
    monkeypatch.setattr(ways, "_water", lambda *_: (grid, water, ["cells of 10 m"]))
    return water


def legs() -> dict[tuple[str, str], float]:
    ground: Any = SimpleNamespace(scale=2.0)
    project: Any = None
    return ways.legs_by_sea(project, ground, PLACES)[0]


def test_a_way_leads_around_land(island: Any) -> None:
    """A boat that is planned across an island is late. On the ellipsoid: map lengths over the scale."""
    found = legs()
    assert found[("harbour", "OT")] == pytest.approx(40.0 / 2.0)
    # the tight string round both corners of the gap; a route on cells is never shorter
    tight = (math.hypot(45, 45) + 10 + math.hypot(45, 35)) / 2.0
    assert tight <= found[("harbour", "nursery")] <= 1.1 * tight
    assert found[("harbour", "nursery")] > math.dist(PLACES["harbour"], PLACES["nursery"]) / 2.0 * 1.2
    assert found[("nursery", "harbour")] == found[("harbour", "nursery")]


def test_places_that_no_water_joins_are_left_out(island: Any) -> None:
    """Infinity would make every day too long; the straight line stays, and the run says so."""
    island[9, 5] = False
    found = legs()
    assert set(found) == {("harbour", "OT"), ("OT", "harbour")}


def test_the_longer_of_factor_and_way_by_sea_counts() -> None:
    """A way on coarse cells must not undercut the team's own factor."""
    by_sea = {("a", "b"): 4000.0, ("a", "c"): 1000.0}
    minutes = trips({"a": (0.0, 0.0), "b": (3000.0, 0.0), "c": (0.0, 1000.0)}, 10.0, 1.2, by_sea)
    per_m = 3600.0 / (10.0 * 1852.0) / 60.0
    assert minutes("a", "b") == pytest.approx(4000.0 * per_m)
    assert minutes("a", "c") == pytest.approx(1200.0 * per_m)
    assert minutes("b", "c") == pytest.approx(1.2 * math.hypot(3000, 1000) * per_m)
