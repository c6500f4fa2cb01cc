"""A user's script, checked by mypy and never run: every public name keeps the type that scripts rely on."""

from __future__ import annotations

from pathlib import Path
from typing import Any, assert_type

import numpy as np
import pandas as pd
from numpy.typing import NDArray

import sitekit


def season(folder: Path) -> None:
    plan = sitekit.demo(folder)
    assert_type(plan, Path)
    assert_type(sitekit.read_settings(plan), sitekit.Settings)
    assert_type(sitekit.open_project(plan), sitekit.Project)
    assert_type(sitekit.check(str(plan)), list[dict[str, Any]])
    try:
        report = sitekit.run(plan, threads=2)
    except sitekit.Shortfall as short:
        print([f.do for f in short.faults])
        raise
    assert_type(report, sitekit.Report)
    assert_type(sitekit.read_plan(report.project.out / "season.gpkg"), dict[str, pd.DataFrame])
    assert_type(sitekit.read_plan("season-2027/out/season.gpkg"), dict[str, pd.DataFrame])
    place = sitekit.explain(plan, at="18 02.965 N, 50 17.781 W")
    assert_type(place, sitekit.PlaceExplained)
    assert_type(place.species[0].cell.score, float | None)
    broken = [finding for finding in sitekit.audit_plan(plan) if not finding.ok]
    assert_type(broken, list[sitekit.Finding])


def spacing() -> int:
    allowed = np.ones((20, 20), dtype=np.bool_)
    score = np.ones((20, 20))
    placed = sitekit.place(allowed, score, west_m=0.0, north_m=20.0, cell_m=1.0, separation_m=2.0)
    most = sitekit.bound(allowed, score, cell_m=1.0, separation_m=2.0)
    assert_type(most.count, int)
    return most.count - len(placed.easting)


def patches(passing: np.ndarray[Any, np.dtype[np.bool_]], grid: sitekit.Grid) -> list[float]:
    finder = sitekit.PatchFinder()
    finder.add(passing, 0)
    return [float(patch.outline(grid).area) for patch in finder.patches(150.0)]


def firmness(scores: np.ndarray[Any, np.dtype[np.float64]]) -> bool:
    drawn = sitekit.draw_weights([0.5, 0.3, 0.2], 256, concentration=30.0, seed=1)
    ranges = sitekit.rank_ranges(drawn @ scores, np.array([0.5, 0.3, 0.2]) @ scores)
    assert_type(ranges, sitekit.RankRanges)
    terms = scores.astype(np.float32)[:, np.newaxis, :]
    least = np.full(256, 0.7, np.float32)
    assert_type(sitekit.count_best(terms, drawn.astype(np.float32), least), NDArray[np.int32])
    return bool(ranges.fragile.any())
