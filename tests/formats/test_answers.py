"""Answers to a draft's questions: what they do to a plan is told by check, and an answer that tells nothing is told so."""

from __future__ import annotations

from pathlib import Path

import pytest

from sitekit.season.settings import read_settings
from sitekit.season.settings_sea import tide_problems
from tests.audit.conftest import make
from tests.formats import awkward
from tests.season.conftest import command, edit


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """The small plan, not run."""
    return make(tmp_path).folder / "plan.toml"


@pytest.mark.slow
def test_a_bottom_mapped_too_coarsely_is_told_before_the_run(plan: Path) -> None:
    """A season of scouting learned of after the long work, with the advice to want fewer colonies.

    Slow: it plans a season.
    """
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


@pytest.mark.parametrize("answer", ["I do not know", "unknown", "no sé", "N/A"])
def test_a_datum_that_nobody_knows_counts_as_not_stated(plan: Path, answer: str) -> None:
    """Depths below 'I do not know' on a permit's drawing, and no word in check."""
    edit(plan, 'datum = "MLLW"', f'datum = "{answer}"')
    settings = read_settings(plan)
    assert settings.layers.bathymetry.datum == "unstated datum"
    assert tide_problems(None, {}, settings.layers.bathymetry.datum) == []
    if answer == "unknown":
        said = command("check", plan)
        assert said.code == 0
        assert "ASKED: nobody states what the depths are counted from" in said.out


def test_depths_in_the_wrong_unit_point_to_the_map_where_no_year_agrees(plan: Path) -> None:
    """Years of good depths blamed for a map that was declared in feet."""
    awkward.feet_in_some_years(plan.parent / "living.csv")
    question = 'layers.bathymetry.units = "ft" is right'
    assert question not in command("check", plan).out
    edit(plan, 'units = "m"', 'units = "ft"')
    assert f"first look whether {question}" in command("check", plan).out
