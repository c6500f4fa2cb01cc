"""Bounds against published packings and an exact solver: a bound below a layout that exists is wrong."""

from __future__ import annotations

import itertools
import json
import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy import ndimage, optimize, sparse
from scipy.spatial import cKDTree

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.bound import bound, least_area
from sitekit.layout.hulls import most_in_convex
from sitekit.layout.rim import counted
from sitekit.layout.spacing import place

ROWS = json.loads(shared_file("reference/packing.json").read_text(encoding="utf-8"))
RECTANGLES = [r for r in ROWS if r["id"].startswith("spacing-oler-")]
SQUARE = next(r for r in ROWS if r["id"] == "spacing-unit-square-optima")

masks = hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=10))


def even(allowed: NDArray[np.bool_]) -> NDArray[np.float32]:
    return np.ones(allowed.shape, np.float32)


@pytest.mark.parametrize("row", RECTANGLES, ids=[r["id"] for r in RECTANGLES])
def test_the_bound_of_a_rectangle_covers_its_known_layouts(row: dict[str, Any]) -> None:
    """The published square and hexagonal layouts exist: a smaller bound would be false."""
    (width, height), d = row["inputs"]["rect"], row["inputs"]["min_distance"]
    allowed = np.ones((round(height * 10), round(width * 10)), bool)
    known = max(row["expected"]["square_lattice"], row["expected"]["axis_aligned_hex_lattice"])
    assert bound(allowed, even(allowed), cell_m=0.1, separation_m=d).count >= known


@pytest.mark.parametrize(
    ("n", "d"), list(zip(SQUARE["inputs"]["n"], SQUARE["expected"]["max_min_distance"], strict=True))
)
def test_the_bound_of_a_square_covers_its_optimum(n: int, d: float) -> None:
    """n points stand at this distance (proven optima): the bound must not be below n."""
    allowed = np.ones((20, 20), bool)
    assert bound(allowed, even(allowed), cell_m=0.05, separation_m=d).count >= n


def test_the_bound_of_a_square_is_that_of_its_convex_hull() -> None:
    """Closed form: ⌊2 a² / (√3 d²) + 2 a / d + 1⌋, less than the dilated area allows."""
    d, a = 1.2, 100.0
    allowed = np.ones((200, 200), bool)
    found = bound(allowed, even(allowed), cell_m=0.5, separation_m=d).count
    assert found == math.floor(2 * a * a / (math.sqrt(3.0) * d * d) + 2 * a / d + 1)


def test_the_bound_of_a_large_ring_counts_half_of_what_lies_within_reach_of_its_edges() -> None:
    """Closed form: a square of 100 m with a hole of 60 m. A straight edge needs 0.449 d beyond it, of 0.577 d in all."""
    d, a, b = 1.2, 100.0, 60.0

    def dilated(r: float) -> float:
        return (a * a + 4 * a * r + math.pi * r * r - (b - 2 * r) ** 2) / (math.sqrt(3.0) / 2.0 * d * d)

    allowed = np.ones((200, 200), bool)
    allowed[40:160, 40:160] = False
    found = bound(allowed, even(allowed), cell_m=0.5, separation_m=d).count
    assert dilated(0.449 * d) <= found <= dilated(0.51 * d)


@pytest.mark.parametrize("separation", [1.0, 1.2, 1.7])
@pytest.mark.slow
def test_every_cut_cell_keeps_its_hexagon_in_what_is_counted_along_edges(separation: float) -> None:
    """Dense rows along a ragged edge, measured on a fine grid: if a cell had less than the hexagon, the bound were false."""
    field = ndimage.gaussian_filter(np.random.default_rng(3).standard_normal((28, 28)), 3.0)
    allowed = field > 0
    d = separation / 0.5
    found = place(allowed, even(allowed), west_m=0.0, north_m=14.0, cell_m=0.5, separation_m=separation, effort=4_000)
    points = np.column_stack([found.easting, 14.0 - found.northing]) / 0.5
    held, fine, corner = counted(np.where(allowed, 0, -1), d)
    fine *= 5
    row, col = np.nonzero(np.kron(held >= 0, np.ones((5, 5), bool)))
    at = (np.column_stack([col, row]) + 0.5) / fine + corner
    away, nearest = cKDTree(points).query(at, distance_upper_bound=d / math.sqrt(3.0))
    areas = np.bincount(nearest[np.isfinite(away)], minlength=len(points)) / fine**2
    assert areas.min() >= math.sqrt(0.75) * d * d * 0.996  # what the fine grid leaves open


def test_a_long_strip_is_bounded_by_its_hull_and_a_bent_one_by_its_dilated_area() -> None:
    """Closed form for 2 m × 100 m at 1 m: ⌊2 · 200 / √3 + 102 + 1⌋ = 333; two arms at a right angle have a large hull."""
    strip = np.ones((4, 200), bool)
    assert bound(strip, even(strip), cell_m=0.5, separation_m=1.0).count == 333
    bent = np.zeros((200, 200), bool)
    bent[:4], bent[:, :4] = True, True
    assert 2 * 333 <= bound(bent, even(bent), cell_m=0.5, separation_m=1.0).count <= 2 * 400


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 6), st.floats(0, 6)), min_size=1, max_size=40))
def test_no_packing_of_a_convex_hull_beats_oler(points: list[tuple[float, float]]) -> None:
    """Points at least 1 apart, taken greedily, number at most what their own hull allows: the proof for convex sets."""
    kept: list[tuple[float, float]] = []
    for p in points:
        if all(math.dist(p, q) >= 1.0 for q in kept):
            kept.append(p)
    hull = shapely.convex_hull(shapely.multipoints(kept))
    perimeter = hull.length * (2.0 if hull.geom_type == "LineString" else 1.0)
    assert len(kept) <= most_in_convex(np.array([hull.area]), np.array([perimeter]), 1.0)[0]


def test_two_cells_too_close_for_two_points_hold_one_whatever_joins_them() -> None:
    """Cells 1 m apart at d = 3 m: one unit, joined or not; a bound that falls when they are joined was one too high."""
    allowed = np.array([[True, False, False, True]])
    assert bound(allowed, even(allowed), cell_m=0.5, separation_m=3.0).count == 1
    joined = np.ones((1, 4), bool)
    assert bound(joined, even(joined), cell_m=0.5, separation_m=3.0).count == 1


def test_patches_of_one_separation_apart_are_bounded_one_by_one() -> None:
    """3 m squares 3 m apart at d = 3 m: four corners each, and the bound says four each."""
    tile = np.zeros((12, 12), bool)
    tile[:6, :6] = True
    allowed = np.tile(tile, (5, 5))
    assert bound(allowed, even(allowed), cell_m=0.5, separation_m=3.0).count == 100


def test_a_cut_cell_runs_from_the_disc_to_the_hexagon() -> None:
    """Closed forms: π d²/4 at ρ = d/2 and (√3/2) d² at ρ = d/√3, growing between."""
    d = 1.7
    assert least_area(d, d / 2) == pytest.approx(math.pi * d * d / 4, rel=1e-12)
    assert least_area(d, d / math.sqrt(3.0)) == pytest.approx(math.sqrt(3.0) / 2 * d * d, rel=1e-9)
    areas = [least_area(d, d * r) for r in np.linspace(0.5, 1 / math.sqrt(3.0), 20)]
    assert all(a < b for a, b in itertools.pairwise(areas))


@pytest.mark.parametrize("share", [0.5, 0.53, 0.56, 1 / math.sqrt(3.0)])
def test_no_cut_cell_of_a_dense_layout_is_smaller_than_the_least(share: float) -> None:
    """Cells of a dense layout measured on a fine grid: one below the least area would break the proof of the bound."""
    allowed = np.ones((16, 16), bool)
    found = place(allowed, even(allowed), west_m=0.0, north_m=8.0, cell_m=0.5, separation_m=1.0, seed=4)
    step = 0.01
    at = np.stack(np.meshgrid(np.arange(-1, 9, step), np.arange(-1, 9, step)), -1).reshape(-1, 2) + step / 2
    away, nearest = cKDTree(np.column_stack([found.easting, found.northing])).query(at, distance_upper_bound=share)
    areas = np.bincount(nearest[np.isfinite(away)], minlength=found.easting.size) * step**2
    assert areas.min() >= least_area(1.0, share) - 0.01


@settings(max_examples=25, deadline=None)
@given(masks, st.integers(0, 9), st.floats(0.5, 2.5))
def test_no_exact_solution_on_a_fine_grid_beats_the_bounds(
    allowed: NDArray[np.bool_], seed: int, separation: float
) -> None:
    """Corners and middles of cells, solved exactly by HiGHS: count and value must both stay within the bound."""
    score = np.random.default_rng(seed).random(allowed.shape)
    rows, cols = np.nonzero(allowed)
    if rows.size == 0:
        assert bound(allowed, score, cell_m=0.5, separation_m=separation).count == 0
        return
    rows, cols = rows[:25], cols[:25]
    points = np.array(
        [(c + p, r + q) for r, c in zip(rows, cols, strict=True) for p in (0, 0.5, 1) for q in (0, 0.5, 1)]
    )
    worth = np.repeat(score[rows, cols], 9)
    pairs = cKDTree(points * 0.5).query_pairs(separation * (1 - 1e-12), output_type="ndarray")
    limits = bound(allowed, score, cell_m=0.5, separation_m=separation)
    for gain, limit in ((np.ones(len(points)), limits.count), (worth, limits.value)):
        assert _exact(gain, pairs) <= limit + 1e-6


def _exact(gain: NDArray[np.float64], pairs: NDArray[np.int64]) -> float:
    n = len(gain)
    rows = np.repeat(np.arange(len(pairs)), 2)
    matrix = sparse.csr_matrix((np.ones(rows.size), (rows, pairs.ravel())), shape=(len(pairs), n))
    limits = [optimize.LinearConstraint(matrix, -np.inf, 1)] if len(pairs) else []
    found = optimize.milp(-gain, integrality=np.ones(n), bounds=(0, 1), constraints=limits, options={"time_limit": 1.0})
    return float(-found.fun) if found.x is not None else 0.0  # any feasible layout is a fair witness


@settings(max_examples=40, deadline=None)
@given(masks, st.floats(0.3, 3.0), st.integers(0, 9))
def test_no_layout_beats_the_bounds(allowed: NDArray[np.bool_], separation: float, seed: int) -> None:
    """A layout above its own bound would prove one of the two wrong."""
    score = np.random.default_rng(seed).random(allowed.shape)
    for wanted in (None, 5):
        found = place(allowed, score, west_m=0.0, north_m=0.0, cell_m=0.5, separation_m=separation, wanted=wanted)
        limits = bound(allowed, score, cell_m=0.5, separation_m=separation, wanted=wanted)
        assert found.easting.size <= limits.count
        assert found.score.sum() <= limits.value + 1e-9


@settings(max_examples=60, deadline=None)
@given(masks, st.floats(0.3, 6.0), st.data())
def test_more_room_never_lowers_the_bound(allowed: NDArray[np.bool_], separation: float, data: st.DataObject) -> None:
    """Proven for areas and hulls. Along edges it is not: there a layout on the smaller bottom must keep both bounds."""
    more = allowed | data.draw(hnp.arrays(np.bool_, allowed.shape))
    small, large = (
        bound(a, even(a), cell_m=0.5, separation_m=separation, along_edges=False).count for a in (allowed, more)
    )
    assert small <= large
    found = place(allowed, even(allowed), west_m=0.0, north_m=0.0, cell_m=0.5, separation_m=separation)
    edges = [bound(a, even(a), cell_m=0.5, separation_m=separation).count for a in (allowed, more)]
    assert found.easting.size <= min(edges)
    assert edges[0] <= small
    assert edges[1] <= large


def _allowed_in(piece: shapely.Geometry) -> float:
    """Return F of a convex piece at d = 1."""
    length = piece.length * (2.0 if piece.geom_type == "LineString" else 1.0)
    return float(2.0 / math.sqrt(3.0) * piece.area + length / 2.0 + 1.0)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**9), st.integers(2, 40), st.floats(0.0, 3.0), st.floats(1.5, 12.0))
def test_a_hull_allows_what_the_convex_pieces_in_it_allow_together(
    seed: int, number: int, size: float, side: float
) -> None:
    """Pieces at least 1 apart, taken as they come: many small ones, long ones, pinwheels; a sum above that of the hull
    would make the bound fall where clusters are joined."""
    draw = np.random.default_rng(seed)
    kept: list[shapely.Geometry] = []
    for _ in range(number):
        turn = draw.random() * math.pi
        axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        corners = (draw.random((draw.integers(3, 8), 2)) - 0.5) * size * draw.choice([0.05, 1.0], 2)
        piece = shapely.convex_hull(shapely.multipoints(corners @ axes + side * draw.random(2)))
        if all(piece.distance(k) >= 1.0 for k in kept):
            kept.append(piece)
    hull = shapely.convex_hull(shapely.union_all(kept))
    assert _allowed_in(hull) >= sum(_allowed_in(k) for k in kept) - 1e-9


@pytest.mark.parametrize(
    ("cell", "separation", "message"), [(0.0, 1.0, "cell_m.*above 0"), (0.5, 0.0, "separation_m.*above 0")]
)
def test_sizes_that_make_no_sense_are_refused(cell: float, separation: float, message: str) -> None:
    """A bound at a separation of zero would be infinite."""
    with pytest.raises(InputFault, match="(?s)" + message):
        bound(np.ones((2, 2), bool), np.ones((2, 2)), cell_m=cell, separation_m=separation)
