"""Near pairs are found, and groups say the same as pairs."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit.sites.spread import groups_of, near_outlines, near_pairs

points = st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=25)


@given(points, st.integers(1, 12))
def test_pairs_are_those_nearer_than_asked(at: list[tuple[int, int]], least: int) -> None:
    """A pair exactly at the distance is far enough; one nearer is not."""
    found = {tuple(p) for p in near_pairs(at, float(least)).tolist()}
    due = {
        (i, j)
        for i in range(len(at))
        for j in range(i + 1, len(at))
        if (at[i][0] - at[j][0]) ** 2 + (at[i][1] - at[j][1]) ** 2 < least**2
    }
    assert found == due


@given(points, st.integers(1, 12))
def test_groups_cover_all_pairs_and_nothing_else(at: list[tuple[int, int]], least: int) -> None:
    """A group with two members far apart would forbid a good plan; an uncovered pair would allow a bad one."""
    pairs = near_pairs(at, float(least))
    due = {tuple(p) for p in pairs.tolist()}
    groups = groups_of(pairs, len(at))
    said = {(i, j) for g in groups for k, i in enumerate(g) for j in g[k + 1 :]}
    assert said == due
    assert all(len(g) > 1 for g in groups)


def test_outlines_count_from_edge_to_edge() -> None:
    """Two squares of 10 m with a gap of 5 m are 5 m apart, not 15."""
    squares: list[Any] = [shapely.box(0, 0, 10, 10), shapely.box(15, 0, 25, 10)]
    assert near_outlines(squares, 5.0).shape == (0, 2)
    assert near_outlines(squares, 5.01).tolist() == [[0, 1]]
    assert near_outlines(squares, 0.0).dtype == np.int64
