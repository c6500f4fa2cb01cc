"""Layouts against published packings, an exact solver and an independent tree."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.spacing import Placement, place

ROWS = json.loads(shared_file("reference/packing.json").read_text(encoding="utf-8"))
RECTANGLES = [r for r in ROWS if r["id"].startswith("spacing-oler-")]
SQUARE = next(r for r in ROWS if r["id"] == "spacing-unit-square-optima")
CELL, WEST, NORTH = 0.5, 500_000.0, 2_000_000.0

masks = hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=12))


def put(allowed: NDArray[np.bool_], separation: float, **more: Any) -> Placement:
    score = more.pop("score", np.ones(allowed.shape, np.float32))
    cell = more.pop("cell_m", CELL)
    return place(allowed, score, west_m=WEST, north_m=NORTH, cell_m=cell, separation_m=separation, **more)


def nearest_pair(found: Placement) -> float:
    points = np.column_stack([found.easting - WEST, found.northing - NORTH])
    if len(points) < 2:
        return float("inf")
    return float(cKDTree(points).query(points, k=2)[0][:, 1].min())


def on_allowed(found: Placement, allowed: NDArray[np.bool_]) -> bool:
    row = np.floor((NORTH - found.northing) / CELL).astype(int)
    col = np.floor((found.easting - WEST) / CELL).astype(int)
    return bool(allowed[row, col].all())


@pytest.mark.parametrize("row", RECTANGLES, ids=[r["id"] for r in RECTANGLES])
def test_no_layout_of_a_rectangle_beats_oler(row: dict[str, Any]) -> None:
    """More points than Oler's theorem allows would mean that some pair stands too close."""
    (width, height), d = row["inputs"]["rect"], row["inputs"]["min_distance"]
    cell = 0.1
    found = put(np.ones((round(height / cell), round(width / cell)), bool), d, cell_m=cell)
    assert 0.9 * (min(width, height) / d) ** 2 <= found.easting.size <= row["expected"]["bound_floor"]


@pytest.mark.parametrize(
    ("n", "d"), list(zip(SQUARE["inputs"]["n"], SQUARE["expected"]["max_min_distance"], strict=True))
)
def test_no_layout_of_a_square_beats_the_proven_optimum(n: int, d: float) -> None:
    """Just above the largest distance at which n points fit, n points must not be found."""
    found = put(np.ones((20, 20), bool), d * (1 + 1e-7), cell_m=0.05)
    assert found.easting.size < n


def test_open_bottom_is_laid_close_to_the_hexagonal_density() -> None:
    """A layout far below 2 / (√3 d²) per area wastes open bottom (spacing-densities, hex_points_per_d2)."""
    density = next(r for r in ROWS if r["id"] == "spacing-densities")["expected"]["hex_points_per_d2"]
    found = put(np.ones((200, 200), bool), 1.2)
    assert found.easting.size >= 0.985 * density * 100.0**2 / 1.2**2


def test_open_bottom_holds_no_more_than_interior_density_and_edge() -> None:
    """Ten by ten metres at 1 m: above random placement (spacing-plan-counts), below Oler's bound of the square."""
    plan = next(r for r in ROWS if r["id"] == "spacing-plan-counts")["expected"]
    oler = next(r for r in RECTANGLES if r["id"] == "spacing-oler-10x10-d1")["expected"]
    found = put(np.ones((20, 20), bool), 1.0).easting.size
    assert plan["random_saturated"][0] < found <= oler["bound_floor"]
    assert found >= 0.95 * plan["hex_max_interior"][0]


def test_no_layout_of_a_disc_beats_its_bound() -> None:
    """Cells inside a circle of radius 5 m at 1 m (spacing-circle-bound): one more would be too close to another."""
    row = next(r for r in ROWS if r["id"] == "spacing-circle-bound")
    radius = row["inputs"]["radius"]
    far = np.abs(np.arange(-radius, radius, 0.25) + 0.125) + 0.125
    inside = far[:, None] ** 2 + far[None, :] ** 2 <= radius**2
    found = put(inside, row["inputs"]["min_distance"], cell_m=0.25).easting.size
    assert 0.75 * row["expected"]["bound"] <= found <= row["expected"]["bound"]


CHOICES = [r for r in ROWS if r["id"].startswith("opt-spacing-")]


@pytest.mark.parametrize("row", CHOICES, ids=[r["id"] for r in CHOICES])
def test_layouts_of_scattered_cells_reach_greedy_and_no_more_than_the_best(row: dict[str, Any]) -> None:
    """Scattered single cells (2 cm, at the published points): the count may not pass that of any separated subset."""
    points, d = np.array(row["inputs"]["points"], float), row["inputs"]["min_distance"]
    cell = 0.02
    at = np.round(points / cell).astype(int)
    allowed = np.zeros((at[:, 1].max() + 1, at[:, 0].max() + 1), bool)
    allowed[at[:, 1], at[:, 0]] = True
    found = put(allowed, d - 4 * cell, cell_m=cell).easting.size
    assert len(row["expected"]["greedy_set"]) <= found <= max(len(s) for s in row["expected"]["optimal_sets"])


@settings(max_examples=60, deadline=None)
@given(masks, st.floats(0.3, 3.0), st.integers(0, 3))
def test_every_pair_keeps_its_separation_on_allowed_cells(
    allowed: NDArray[np.bool_], separation: float, effort: int
) -> None:
    """A pair too close or a point off the allowed bottom would break the one promise of a layout."""
    found = put(allowed, separation, effort=effort)
    assert nearest_pair(found) >= separation
    assert on_allowed(found, allowed)
    assert (found.easting.size > 0) == bool(allowed.any())


@settings(max_examples=40, deadline=None)
@given(masks, st.floats(0.3, 2.0), st.lists(st.tuples(st.floats(-1, 7), st.floats(-1, 7), st.floats(0, 3)), max_size=6))
def test_points_keep_clear_of_living_colonies(
    allowed: NDArray[np.bool_], separation: float, discs: list[tuple[float, float, float]]
) -> None:
    """A unit inside a clearance would shade or touch a colony that already lives there."""
    centres = np.array([(WEST + x, NORTH - y) for x, y, _ in discs]).reshape(-1, 2)
    radii = np.array([r for *_, r in discs])
    found = put(allowed, separation, clear_points=centres, clear_radii_m=radii)
    for (x, y), r in zip(centres, radii, strict=True):
        assert (np.hypot(found.easting - x, found.northing - y) >= r).all()
    assert on_allowed(found, allowed)
    assert nearest_pair(found) >= separation


@settings(max_examples=40, deadline=None)
@given(masks, st.integers(0, 12), st.integers(0, 5))
def test_a_wanted_number_is_never_exceeded_and_is_met_where_it_fits(
    allowed: NDArray[np.bool_], wanted: int, seed: int
) -> None:
    """Fewer than wanted although more fit, or more than wanted, would break the allotment."""
    score = np.random.default_rng(seed).random(allowed.shape).astype(np.float32)
    most = put(allowed, 0.9, score=score).easting.size
    found = put(allowed, 0.9, score=score, wanted=wanted)
    assert found.easting.size == min(wanted, most)
    assert nearest_pair(found) >= 0.9
    assert on_allowed(found, allowed)


def test_the_best_points_stand_on_the_best_bottom() -> None:
    """Ten units on a reef whose eastern third scores 1 must all stand there."""
    score = np.full((30, 30), 0.5, np.float32)
    score[:, 20:] = 1.0
    assert put(np.ones((30, 30), bool), 1.2, score=score, wanted=10).score.sum() == pytest.approx(10.0)


def test_the_same_seed_gives_the_same_points() -> None:
    """Two runs with other points would give other tags for the same plan."""
    allowed = np.random.default_rng(3).random((60, 60)) < 0.6
    one, two = put(allowed, 1.2, seed=5, effort=20), put(allowed, 1.2, seed=5, effort=20)
    np.testing.assert_array_equal(one.easting, two.easting)
    np.testing.assert_array_equal(one.northing, two.northing)


def test_more_effort_never_places_fewer() -> None:
    """Laying neighbourhoods anew keeps only what holds at least as many."""
    allowed = ndimage.gaussian_filter(np.random.default_rng(4).standard_normal((80, 80)), 3) > 0
    counts = [put(allowed, 1.2, effort=e).easting.size for e in (0, 50, 200)]
    assert counts == sorted(counts)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"separation": 0.0}, r"separation_m.*0\.0 m.*above 0"),
        ({"separation": -1.0}, r"separation_m.*-1\.0 m.*above 0"),
        ({"separation": float("nan")}, r"separation_m.*nan m.*above 0"),
        ({"cell_m": 0.0}, r"cell_m.*above 0"),
        ({"wanted": -1}, r"wanted.*-1.*0 or more"),
        ({"effort": -1}, r"effort.*-1.*0 or more"),
        ({"score": np.ones((2, 2), np.float32)}, r"shapes \(3, 3\) and \(2, 2\)"),
        ({"clear_points": [(0.0, 0.0)], "clear_radii_m": [1.0, 2.0]}, r"2 radii.*1 numbers"),
    ],
)
def test_sizes_that_make_no_sense_are_refused(change: dict[str, Any], message: str) -> None:
    """A silent layout at a separation of zero or of another shape would be believed."""
    change = {"separation": 1.0, **change}
    with pytest.raises(InputFault, match="(?s)" + message):
        put(np.ones((3, 3), bool), change.pop("separation"), **change)
