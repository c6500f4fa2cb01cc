"""Tables: their columns, types and geometries, and every fault of a frame at once."""

import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.base.tables import build, conform, empty, table, table_names
from sitekit.errors import InputFault

UTM = CRS.from_epsg(32620)
ALL = [*table_names("season"), *table_names("records")]
CANDIDATE = {
    "candidate": "C01", "species": "APAL", "cells": 4, "area_m2": 100.0, "depth_min_m": 3.0, "depth_mean_m": 4.0,
    "depth_max_m": 5.0, "score_mean": 0.5, "score_max": 0.75, "unknown_pct": 0.0, "scout": False,
}  # fmt: skip
SHAPE = shapely.MultiPolygon([shapely.box(0, 0, 10, 10)])


def rows(**more):
    return build("candidates", [{**CANDIDATE, **more}], [SHAPE], UTM)


@pytest.mark.parametrize("name", ALL)
def test_an_empty_table_has_exactly_its_columns(name):
    """A file whose layer changes shape when nothing is in it."""
    frame = empty(name, UTM)
    assert len(frame) == 0
    assert [c for c in frame.columns if c != "geometry"] == table(name).names


@pytest.mark.parametrize("name", ALL)
def test_every_column_has_a_known_type_and_a_meaning(name):
    """A type that nothing checks."""
    for column in table(name).columns:
        assert column.type in ("text", "integer", "real", "flag", "date")
        assert column.meaning.strip()


def test_columns_come_out_in_order_and_type_with_their_system():
    """Whole numbers turned into text or decimals; a lost system."""
    frame = rows(cells="7", area_m2="12.5")
    assert frame.crs == UTM
    assert frame["cells"].tolist() == [7]
    assert str(frame["cells"].dtype) == "Int64"
    assert frame["area_m2"].tolist() == [12.5]
    assert frame["site"].tolist() == [None]


@settings(max_examples=10)
@given(st.permutations(sorted(CANDIDATE)))
def test_order_of_columns_given_does_not_matter(order):
    """Values filed by place, not by name."""
    frame = build("candidates", [{k: CANDIDATE[k] for k in order}], [SHAPE], UTM)
    pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(rows()))


def test_conforming_twice_changes_nothing():
    """A check that alters what it has checked."""
    pd.testing.assert_frame_equal(pd.DataFrame(conform(rows(), "candidates")), pd.DataFrame(rows()))


def test_missing_and_unknown_columns_are_told_together():
    """One fault a run."""
    frame = rows().rename(columns={"cells": "zellen"}).drop(columns="area_m2")
    with pytest.raises(
        InputFault, match=r"(?s)candidates\.cells: the column is missing.*area_m2.*zellen: .*is unknown"
    ):
        conform(frame, "candidates")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"cells": 2.5}, r"candidates\.cells: not whole; due: integer"),
        ({"area_m2": "many"}, r"candidates\.area_m2: .*many.*due: real m²"),
        ({"scout": "perhaps"}, r"candidates\.scout: neither true nor false"),
        ({"candidate": ""}, r"candidates\.candidate: empty in row 1"),
        ({"depth_min_m": None}, r"candidates\.depth_min_m: empty in row 1"),
    ],
)
def test_values_of_another_type_are_refused_by_column(more, said):
    """Text in a column of numbers, or a hole where a value is due."""
    with pytest.raises(InputFault, match=said):
        rows(**more)


def test_a_table_nobody_defined_is_refused():
    """A new table that no document lists."""
    with pytest.raises(InputFault, match=r"table 'fish': is not defined; due: .*candidates"):
        table("fish")
