"""What a run says where the reef has less room than the plan wants: the cause, and the settings it hangs on."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from sitekit.pipeline.report import lines_of
from sitekit.pipeline.room_lacking import NO_PLOT, room_lacking
from sitekit.pipeline.stages import Report
from tests.pipeline.test_given import project
from tests.season.conftest import command, edit


@pytest.mark.slow
def test_a_site_without_room_for_a_plot_names_the_plot(patch: Path) -> None:
    """A planner who lowers separation and numbers for an evening, where only smaller plots help.

    Slow: it plans a season again.
    """
    plan = patch / "plan.toml"
    edit(plan, 'mode = "number"\n', "")
    edit(plan, "[stock]", "[spacing.plot]\nlength_m = 28\nwidth_m = 7\ngap_m = 2\n[stock]")
    said = command("run", patch)
    assert said.code == 4, said.err
    assert "60 units could not be placed: no room for another plot (by site C01: 60)" in said.err
    assert "a few units take a whole plot of 28 m × 7 m" in said.err
    assert "spacing.plot.length_m and width_m" in said.err
    with (patch / "out/sites.csv").open(encoding="utf-8-sig") as file:
        reasons = [r["reason"] for r in csv.DictReader(file)]
    assert any(r.startswith("no plot of 28 m × 7 m fits: 80 % of it must be passing bottom") for r in reasons), reasons


def test_units_left_over_are_shown_to_free_slots_at_other_sites(tmp_path: Path) -> None:
    """Four colonies left out although plots with free slots lie at the next site."""
    row = {"site": "C01", "species": "APAL", "genet": "a1", "number": 4, "reason": NO_PLOT}
    (fault,) = room_lacking(project(tmp_path), [row], {"C01": {}, "C02": {"APAL": 3}})
    assert "Free slots of APAL, by site C02: 3: move units there in a copy of out/allotment.csv" in fault.do
    (fault,) = room_lacking(project(tmp_path), [row], {"C01": {"ACER": 2}})
    assert "allotment.csv" not in fault.do


def test_conflicts_of_the_packet_are_named_in_the_terminal() -> None:
    """FORBIDDEN: move the work area, known to nobody who reads only the run's lines."""
    figures = {"work_areas": 1, "area_m2": 30.0, "caps_kept": 0, "caps": 0, "missing_facts": 2, "conflicts": 1,
               "conflicts_told": ["work area C01, Core: FORBIDDEN: move the work area (work_rules)"]}  # fmt: skip
    project: Any = SimpleNamespace(settings=SimpleNamespace(plan=SimpleNamespace(name="a")))
    lines = lines_of(Report(project, "1", [], [], {"outline": figures}, [], {}))
    assert "    conflict: work area C01, Core: FORBIDDEN: move the work area (work_rules)" in lines
