"""Bottom types: mapped to the standard's classes, or refused with the nearest names."""

import json

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layers.substrate import (
    align_substrate,
    hard_codes,
    map_classes,
    near_classes,
    substrate_codes,
    substrate_names,
)
from tests.layers.rasters import NORTH, UTM, WEST, grid, read, write

CLASSES = json.loads(shared_file("cmecs_substrate.json").read_text("utf-8"))["classes"]


def test_codes_are_bytes_and_stand_for_one_class_each():
    """Two classes under one code, or a code that a byte cannot hold."""
    codes = substrate_codes()
    assert len(codes) == len(CLASSES) == len(set(codes.values()))
    assert set(codes.values()) == set(range(1, len(CLASSES) + 1))
    assert max(codes.values()) <= 255
    assert substrate_names() == {code: name for name, code in codes.items()}


def test_every_class_but_the_topmost_stands_under_another():
    """A hierarchy with a hole: a class that no rule for its parent reaches."""
    names = {row["name"] for row in CLASSES}
    for row in CLASSES:
        assert (row["parent"] is None) == (row["level"] == "origin")
        assert row["parent"] is None or row["parent"] in names
        assert row["parent"] is None or row["unit"].count(".") >= 1


@pytest.mark.parametrize(
    ("name", "hard"),
    [("Bedrock", True), ("Megaclast", True), ("Sand", False), ("Boulder", False), ("Shell Rubble", False)],
)
def test_rock_is_hard_and_loose_material_is_not(name, hard):
    """Corals planted on what the next storm turns over (project's reading, in the note of cmecs_substrate.json)."""
    assert (substrate_codes()[name] in hard_codes()) is hard


@given(st.dictionaries(st.text(min_size=1), st.sampled_from(sorted(substrate_codes()))))
def test_mapping_keeps_every_class_of_the_user(classes):
    """A class lost or exchanged on the way."""
    got = map_classes(classes)
    assert {own: substrate_names()[code] for own, code in got.items()} == classes


def test_unknown_names_are_told_together_with_the_nearest():
    """One fault a run, or no advice."""
    with pytest.raises(
        InputFault,
        match=r"(?s)classes\.'1': 'Sandd'; due: .*bottom.md.*Perhaps: Sand.*classes\.'2': 'Bedrok'.*: Bedrock",
    ):
        map_classes({"1": "Sandd", "2": "Bedrok"})


@pytest.mark.parametrize(
    ("word", "near"),
    [("roca", "Rock Substrate"), ("Arena", "Sand"), ("récif", "Coral Reef Substrate"), ("rubble", "Coral Rubble"),
     ("coral sands", "Coral Sand"), ("fine sand", "Fine Sand")],
)  # fmt: skip
def test_words_of_daily_use_lead_to_a_class(word, near):
    """'roca' answered with Bedrock, Trash and Gravel."""
    assert near_classes(word)[0] == near
    assert all(c in substrate_codes() for c in near_classes(word))


def test_a_raster_of_classes_comes_onto_the_grid_as_codes(tmp_path):
    """The user's number written where the code is due."""
    values = np.full((40, 50), 5, np.uint8)
    values[:, 25:] = 9
    values[0, 0] = 0
    path = write(tmp_path / "in.tif", values, nodata=0)
    done = align_substrate(path, grid(), tmp_path / "out.tif", classes={"5": "Sand", "9": "Bedrock"})
    out = read(done.path)
    codes = substrate_codes()
    assert out[0, 0] == 0
    assert set(out[1:, :25].ravel()) == {codes["Sand"]}
    assert set(out[:, 25:].ravel()) == {codes["Bedrock"]}
    assert done.share_covered == pytest.approx(1 - 1 / 2000)


def test_polygons_come_onto_the_grid_with_notes_of_their_repair(tmp_path):
    """A repaired outline that the check table does not mention."""
    tie = shapely.Polygon([(WEST, NORTH - 40), (WEST + 40, NORTH), (WEST + 40, NORTH - 40), (WEST, NORTH)])
    path = tmp_path / "s.gpkg"
    gpd.GeoDataFrame({"bottom": ["reef"]}, geometry=[tie], crs=UTM).to_file(path)
    done = align_substrate(path, grid(), tmp_path / "out.tif", classes={"reef": "Bedrock"}, field="bottom")
    assert set(np.unique(read(done.path))) == {0, substrate_codes()["Bedrock"]}
    assert done.share_covered == pytest.approx(800 / 2000, abs=0.02)  # two triangles of 40 by 20 m
    assert any("cross themselves" in n for n in done.notes)


def test_an_unmapped_class_and_a_class_by_name_are_refused(tmp_path):
    """A bottom type that is unknown without a word."""
    path = write(tmp_path / "in.tif", np.full((40, 50), 5, np.uint8))
    with pytest.raises(InputFault, match="class 5: stands in 2000 cells and has no class"):
        align_substrate(path, grid(), tmp_path / "out.tif", classes={"9": "Bedrock"})
    with pytest.raises(InputFault, match=r"classes\.'reef': is not a whole number; due: the class numbers"):
        align_substrate(path, grid(), tmp_path / "out.tif", classes={"reef": "Bedrock"})
