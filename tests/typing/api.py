"""A user's script, checked by mypy and never run: every public name keeps the type that scripts rely on."""

from __future__ import annotations

from pathlib import Path
from typing import Any, assert_type

import numpy as np
import pandas as pd

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
