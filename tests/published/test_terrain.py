"""Terrain against printed examples, other programs' answers and definitions, row by row of the reference file."""

import json

import numpy as np
import pytest

from sitekit.base.sources import shared_file
from sitekit.seabed.terrain import terrain

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/terrain.json").read_text("utf-8"))}
SURFACE = np.array(ROWS["terrain-surface-a"]["inputs"]["z"])


def bottom(elevation, cell, **sizes):
    """Terrain of an elevation (negative down), as depth positive down."""
    sizes = {"inner_m": cell, "outer_m": 2 * cell, "ruggedness_radius_m": 1.5 * cell, **sizes}
    return terrain(-np.array(elevation, np.float32), cell, **sizes)


@pytest.mark.parametrize("row", ["terrain-horn-slope-ex", "terrain-horn-aspect-ex"])
def test_printed_examples_of_slope_and_aspect_come_out(row):
    """A wrong weight, sign or axis in the gradient."""
    due = ROWS[row]["expected"]
    out = bottom(ROWS[row]["inputs"]["z"], ROWS[row]["inputs"]["cell"])
    assert out["slope_deg"][1, 1] == pytest.approx(due["slope_deg"], abs=1e-4)
    assert out["aspect_deg"][1, 1] == pytest.approx(due["aspect_deg"], abs=1e-3)


@pytest.mark.parametrize(
    ("field", "key", "tolerance"),
    [("slope_deg", "horn_slope_deg_interior", "slope_deg"), ("aspect_deg", "horn_aspect_deg_interior", "aspect_deg")],
)
def test_rough_surface_has_the_slopes_that_two_programs_give(field, key, tolerance):
    """A gradient that is right on planes only."""
    row = ROWS["terrain-surface-a"]
    out = bottom(SURFACE, 2.0)[field]
    np.testing.assert_allclose(out[1:-1, 1:-1], row["expected"][key], rtol=0, atol=row["tolerance"][tolerance])


def test_ruggedness_of_rough_surface_follows_its_definition():
    """Normals weighed by slope, or a window of another shape than 3 × 3."""
    row = ROWS["terrain-vrm-sar-a"]
    out = bottom(SURFACE, 2.0)["ruggedness"]
    np.testing.assert_allclose(out[2:-2, 2:-2], row["expected"]["vrm_inner_5x5"], rtol=0, atol=row["tolerance"]["abs"])


def test_steep_plane_has_no_ruggedness():
    """A measure that takes steep for rough (first case of the row: slope 30°, aspect 77°)."""
    due = ROWS["terrain-vrm-cases"]["expected"]["vrm"][0]
    north, east = -np.arange(9)[:, None] * 1.0, np.arange(9)[None, :] * 1.0
    fall = np.tan(np.radians(30.0))
    plane = -fall * (east * np.sin(np.radians(77.0)) + north * np.cos(np.radians(77.0)))
    out = bottom(plane, 1.0)
    # a float32 depth of some metres is right to 5e-7 m, which tilts normals by as much
    np.testing.assert_allclose(out["slope_deg"][1:-1, 1:-1], 30.0, atol=1e-4)
    np.testing.assert_allclose(out["aspect_deg"][1:-1, 1:-1], 77.0, atol=1e-4)
    np.testing.assert_allclose(out["ruggedness"][2:-2, 2:-2], due, atol=1e-7)


@pytest.mark.parametrize("case", [0, 1])
def test_position_index_is_the_ring_mean_difference(case):
    """A ring that counts other cells, or hollows that come out positive."""
    row = ROWS["terrain-bpi-a"]
    inner, outer = row["inputs"]["cases"][case]
    r, c = row["inputs"]["centre_rowcol"]
    out = bottom(SURFACE, 2.0, inner_m=2.0 * inner, outer_m=2.0 * outer)["position_index_m"]
    # float32 holds 0.447 to 3e-8, which is wider than the row's own 1e-9
    assert out[r, c] == pytest.approx(row["expected"]["bpi"][case], abs=3e-8)


def test_random_surface_has_the_slopes_that_other_programs_give():
    """A disagreement with programs that thousands of people use."""
    row = ROWS["terrain-tool-comparison"]
    surface = np.random.default_rng(20260101).normal(-12, 4, (24, 24)).round(2)
    out = bottom(surface, 5.0)
    due = row["expected"]
    assert out["slope_deg"][5, 5] == pytest.approx(due["slope_5_5"], abs=1e-3)
    assert out["aspect_deg"][5, 5] == pytest.approx(due["aspect_5_5"], abs=1e-3)
    assert out["slope_deg"][12, 17] == pytest.approx(due["slope_12_17"], abs=1e-3)
    assert out["slope_deg"][1:-1, 1:-1].mean() == pytest.approx(due["mean_interior_slope"], abs=1e-3)


def test_hole_hides_itself_and_its_eight_neighbours():
    """A slope worked out across a gap, or in the gap itself."""
    row = ROWS["terrain-edge-nodata-conventions"]
    surface = np.random.default_rng(20260101).normal(-12, 4, (24, 24)).round(2)
    surface[10, 10] = np.nan
    slope = bottom(surface, 5.0)["slope_deg"]
    assert np.isnan(slope[1:-1, 1:-1]).sum() == row["expected"]["gdaldem_hole_invalid_cells"]
    assert np.isnan(slope[9:12, 9:12]).all()
    assert np.isnan(slope[0]).all()


def test_turned_sign_turns_aspect_and_position_and_keeps_slope():
    """An aspect of climbing instead of descent (the row's three statements)."""
    right, wrong = bottom(SURFACE, 2.0), bottom(-SURFACE, 2.0)
    inner = slice(2, -2)
    np.testing.assert_array_equal(right["slope_deg"][inner, inner], wrong["slope_deg"][inner, inner])
    turned = (right["aspect_deg"] + 180.0) % 360.0
    np.testing.assert_allclose(turned[inner, inner], wrong["aspect_deg"][inner, inner], atol=1e-4)
    np.testing.assert_array_equal(right["position_index_m"], -wrong["position_index_m"])
