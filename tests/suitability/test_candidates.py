"""Candidates are the connected patches, whatever the strips, with exact outlines."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pyproj import CRS
from scipy import ndimage

from sitekit.layers.grid import Grid
from sitekit.suitability.candidates import Patch, PatchFinder, patch_statistics

UTM = CRS.from_epsg(32622)
masks = arrays(bool, st.tuples(st.integers(1, 14), st.integers(1, 14)))


def found(mask: np.ndarray, strip: int, least: float = 1.0) -> list[Patch]:
    finder = PatchFinder()
    for row in range(0, mask.shape[0], strip):
        finder.add(mask[row : row + strip], row)
    return finder.patches(least)


@settings(deadline=None, max_examples=150)
@given(masks, st.integers(1, 5))
def test_patches_are_scipys_components_whatever_the_strips(mask: np.ndarray, strip: int) -> None:
    """A patch cut at a strip border, or two joined over a corner, would change capacity and ranking."""
    labels, count = ndimage.label(mask)
    ours = found(mask, strip)
    assert len(ours) == count
    together = np.zeros(mask.shape, int)
    for number, patch in enumerate(ours, 1):
        rows, cols = patch.mask.shape
        together[patch.row : patch.row + rows, patch.col : patch.col + cols][patch.mask] = number
    pairs = {(int(a), int(b)) for a, b in zip(labels[mask], together[mask], strict=True)}
    assert len(pairs) == count
    assert (together > 0).tolist() == mask.tolist()


@settings(deadline=None, max_examples=100)
@given(masks)
def test_outlines_hold_exactly_the_cells(mask: np.ndarray) -> None:
    """An outline that is smoothed or self-crossing gives a wrong area on a permit."""
    grid = Grid(UTM, 500_000.0, 2_000_000.0, 2.0, mask.shape)
    for patch in found(mask, 3):
        outline = patch.outline(grid)
        assert outline.is_valid
        assert outline.area == pytest.approx(4.0 * patch.cells)
        rows, cols = np.nonzero(patch.mask)
        x, y = grid.centres()
        inside = shapely.contains_xy(outline, x[cols + patch.col], y[rows + patch.row])
        assert inside.all()


def test_a_hole_stays_a_hole() -> None:
    """A sand pocket inside a reef is not reef."""
    mask = np.ones((5, 5), bool)
    mask[2, 2] = False
    outline = found(mask, 2)[0].outline(Grid(UTM, 0.0, 5.0, 1.0, (5, 5)))
    assert isinstance(outline, shapely.Polygon)
    assert len(outline.interiors) == 1
    assert outline.area == 24


def test_patches_under_the_least_area_are_left_out() -> None:
    """0.6 / 0.2 is 2.999…: a patch of exactly the least area must stay."""
    mask = np.array([[1, 1, 1, 0, 1, 1]], bool)
    assert [p.cells for p in found(mask, 1, least=0.6 / 0.2)] == [3]


def test_no_passing_cell_gives_no_patch() -> None:
    """An empty reef must not fail."""
    assert found(np.zeros((3, 3), bool), 1) == []
    assert PatchFinder().patches() == []


def test_statistics_follow_the_best_species() -> None:
    """Per cell the best species counts; a species passes only where its own score does."""
    patch = Patch(0, 0, np.array([[True, True, True]]))
    nan = np.float32(np.nan)
    figures = patch_statistics(
        patch,
        np.array([[2.0, 4.0, 9.0]], np.float32),
        {"A": np.array([[0.9, 0.4, nan]], np.float32), "B": np.array([[0.2, 0.8, 0.6]], np.float32)},
        {"A": np.array([[1, 0, 255]], np.uint8), "B": np.array([[0, 2, 2]], np.uint8)},
        {"A": np.array([[0, 0, 100]], np.uint8), "B": np.array([[0, 30, 0]], np.uint8)},
        passing_score=0.6,
    )
    assert (figures.depth_min_m, figures.depth_mean_m, figures.depth_max_m) == (2.0, 5.0, 9.0)
    assert figures.score_mean == pytest.approx((0.9 + 0.8 + 0.6) / 3, abs=1e-6)
    assert figures.limiting == 2
    assert figures.unknown_pct == pytest.approx(10.0)
    assert figures.species_cells == {"A": 1, "B": 2}
    assert figures.species_score_mean["B"] == pytest.approx(0.7, abs=1e-6)
