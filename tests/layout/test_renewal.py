"""Neighbourhoods laid anew: more points or a higher score, never fewer, and the separation as before."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.layout.renewal import most_in_disc
from sitekit.layout.spacing import Placement, place


def put(allowed: NDArray[np.bool_], separation: float, **more: Any) -> Placement:
    score = more.pop("score", np.ones(allowed.shape, np.float32))
    return place(
        allowed, score, west_m=0.0, north_m=allowed.shape[0] * 0.5, cell_m=0.5, separation_m=separation, **more
    )


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), d=st.floats(0.6, 2.5))
def test_renewal_never_holds_fewer_points_nor_breaks_the_separation(seed: int, d: float) -> None:
    """A step that loses points, leaves the bottom or comes too close would make more effort a worse plan."""
    allowed = np.random.default_rng(seed).random((16, 16)) < 0.6
    plain, renewed = put(allowed, d), put(allowed, d, effort=100)
    assert renewed.easting.size >= plain.easting.size
    points = np.column_stack([renewed.easting, renewed.northing])
    if len(points) > 1:
        assert cKDTree(points).query(points, k=2)[0][:, 1].min() >= d
    row, col = (np.floor(v / 0.5).astype(int) for v in (8.0 - points[:, 1], points[:, 0]))
    assert allowed[row, col].all()


@settings(max_examples=5)
@given(seed=st.integers(0, 10_000))
def test_renewal_of_the_best_never_lowers_their_score(seed: int) -> None:
    """The best N after renewal must be worth at least what they were worth before."""
    draw = np.random.default_rng(seed)
    allowed, score = np.ones((14, 14), bool), draw.random((14, 14)).astype(np.float32)
    plain, renewed = (put(allowed, 1.3, score=score, wanted=12, effort=n) for n in (0, 100))
    assert renewed.easting.size == plain.easting.size == 12
    assert renewed.score.sum() >= plain.score.sum() - 1e-9


def test_a_square_of_three_metres_holds_ten_after_renewal() -> None:
    """Ten points fit at 1.2 m (10 points in a unit square are 0.421 apart at best); sweeps alone find nine."""
    square = np.ones((6, 6), bool)
    assert put(square, 1.2, effort=3_000).easting.size == 10


def test_a_cleared_disc_never_holds_more_than_its_room() -> None:
    """Too little room would leave points standing that were meant to be cleared; the area of discs is the limit."""
    for d in (0.5, 1.0, 2.0):
        most = (1.6 * 2.0 + d / 2) ** 2 / (d / 2) ** 2
        assert most_in_disc(np.array([[2.0, d], [d, 1.9]])) >= most
