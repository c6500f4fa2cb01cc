"""What a run says about the mix of genets: the figures a planner needs before the boat leaves."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from sitekit.pipeline.mixes import site_mixes


def _mixes(genets: list[str], stock: pd.DataFrame) -> list[dict[str, Any]]:
    """One plot of 4 × 1 m with units 1 m apart along its tape."""
    points = [shapely.Point(float(i), 0.5) for i in range(len(genets))]
    colonies = gpd.GeoDataFrame(
        {"site": "WS", "species": "APAL", "plot": "WS-1", "genet": genets}, geometry=points, crs=32620
    )
    plots = gpd.GeoDataFrame({"plot": ["WS-1"], "role": ["planted"]}, geometry=[shapely.box(0, 0, 4, 1)], crs=32620)
    species = SimpleNamespace(code="APAL", separation_m=1.0)
    spacing = SimpleNamespace(mode="plots", separation_m=1.0, lay_tolerance_m=0.0)
    project: Any = SimpleNamespace(settings=SimpleNamespace(species=[species], spacing=spacing))
    ground: Any = SimpleNamespace(scale=1.0)
    return site_mixes(project, ground, {"colonies": colonies, "plots": plots, "stock": stock})


def _ready(*genets: str) -> pd.DataFrame:
    return pd.DataFrame({"species": "APAL", "genet": genets, "ready": 9})


def test_a_genet_with_over_a_third_says_how_many_like_neighbours_are_unavoidable() -> None:
    """Four of five in a row of five: two stand apart, the third and fourth cost a pair each at least."""
    row = _mixes(["a", "a", "b", "a", "a"], _ready("a", "b"))[0]
    assert (row["genets"], row["like_neighbours"], row["neighbours"]) == (2, 2, 4)
    said = " ".join(row["cautions"])
    assert "a has 4 of 5 units, over a third" in said
    assert "at least 1 pairs" in said


def test_more_genets_than_units_are_told_and_a_good_mix_is_not() -> None:
    """A genet left in the nursery without a word is missed when the next season is bred."""
    row = _mixes(["a", "b", "c", "d"], _ready("a", "b", "c", "d", "e"))[0]
    assert row["cautions"] == ["APAL has 5 genets ready, more than its 4 units: some stay out"]
    assert _mixes(["a", "b", "c", "d"], _ready("a", "b", "c", "d"))[0]["cautions"] == []
