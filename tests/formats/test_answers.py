"""Answers to a draft's questions: what they do to a plan is told by check, and an answer that tells nothing is told so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.audit.conftest import make
from tests.formats import awkward
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


def test_files_that_cannot_be_used_are_all_named_at_once(plan: Path) -> None:
    """A second bad file met after the first was mended; a table's number that nobody can match to a file."""
    awkward.bomb(plan.parent / "photo.kmz")
    awkward.tracks_only(plan.parent / "track.gpx")
    more = '[[layers.colonies]]\nfile = "{}"\norigin = "wild"\nposition_error_m = 1.0\n'
    edit(plan, "[layers.protected]", more.format("track.gpx") + more.format("photo.kmz") + "[layers.protected]")
    edit(plan, '"sand" = "Coral Sand"', '"sand" = "arena"')
    said = command("check", plan)
    assert said.code == 3
    assert all(word in said.err for word in ("track.gpx", "photo.kmz", "arena"))
    edit(plan, 'file = "living.csv"\n', 'file = "living.csv"\ncolumns = { species = "especie" }\n')
    assert "layers.colonies[1].columns.species (living.csv)" in command("check", plan).err
