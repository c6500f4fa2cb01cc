"""Answers to a draft's questions: what they do to a plan is told by check, and an answer that tells nothing is told so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.audit.conftest import make
from tests.season.conftest import command, edit


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """The small plan, not run."""
    return make(tmp_path).folder / "plan.toml"


def test_a_bottom_mapped_too_coarsely_is_told_before_the_run(plan: Path) -> None:
    """A season of scouting learned of after the long work, with the advice to want fewer colonies."""
    edit(plan, "resolution_m = 1.0", "resolution_m = 5.0")
    said = command("check", plan)
    assert said.code == 0, said.err
    assert "AREAS TO SCOUT: the bottom was mapped at 5 m, wider than the shorter side of a plot (4 m)" in said.out
    assert "a run gives areas to scout and places no colony" in said.err
    ran = command("run", plan)
    assert ran.code == 4
    assert "layers.substrate.resolution_m" in ran.err
    assert "spacing.numbers" not in ran.err
