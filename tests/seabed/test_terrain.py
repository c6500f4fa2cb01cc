import shutil
import subprocess

import numpy as np
import pytest
import rasterio
import xarray
import xrspatial
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.errors import InputFault
from sitekit.seabed.terrain import FIELDS, terrain, terrain_halo

SIZES = {"inner_m": 2.0, "outer_m": 4.0, "ruggedness_radius_m": 2.0}
# millimetre depths: a change of unit or a shift by whole millimetres then loses nothing
DEPTHS = arrays(np.int32, (14, 17), elements=st.integers(0, 40_000)).map(lambda a: (a / 1000).astype(np.float32))


def same(a, b):
    """Equal bit for bit, NaN where NaN."""
    return a.tobytes() == b.tobytes() or (
        np.array_equal(np.isnan(a), np.isnan(b)) and np.array_equal(a, b, equal_nan=True)
    )


@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 200.0, 359.0])
@pytest.mark.parametrize("slope", [0.5, 20.0, 60.0, 80.0])
def test_slope_and_aspect_of_a_plane_are_its_angles(slope, bearing):
    """An angle that is off away from the axes."""
    east, north = np.arange(8.0)[None, :], -np.arange(8.0)[:, None]
    down = np.tan(np.radians(slope)) * (east * np.sin(np.radians(bearing)) + north * np.cos(np.radians(bearing)))
    out = terrain((10 + down).astype(np.float32), 1.0, **SIZES)
    np.testing.assert_allclose(out["slope_deg"][1:-1, 1:-1], slope, atol=1e-3)
    gap = (out["aspect_deg"][1:-1, 1:-1] - bearing + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(gap, 0.0, atol=0.02)  # 0.5° of slope in float32 depths leaves 5e-7 / 0.0087 radians


def test_cone_descends_to_all_sides_and_its_top_is_a_crest():
    """Mirrored axes, or hollows that come out positive."""
    y, x = np.mgrid[-10:11, -10:11].astype(float)
    out = terrain((5 + np.hypot(x, y)).astype(np.float32), 1.0, inner_m=1.0, outer_m=3.0, ruggedness_radius_m=1.5)
    assert out["aspect_deg"][2, 10] == 0.0
    assert out["aspect_deg"][10, 18] == 90.0
    assert out["aspect_deg"][18, 10] == 180.0
    assert out["aspect_deg"][10, 2] == 270.0
    assert out["position_index_m"][10, 10] > 2.0


@pytest.mark.parametrize("depth", [0.0, 280.0, 1000.0, 10900.0])
def test_flat_bottom_at_any_depth_is_flat_at_radius_50(depth):
    """Sums that overflow: a flat 280 m bottom once came out as −267.5 m."""
    out = terrain(np.full((120, 120), depth, np.float32), 1.0, inner_m=10.0, outer_m=50.0, ruggedness_radius_m=50.0)
    assert (out["position_index_m"][50:-50, 50:-50] == 0).all()
    assert (out["ruggedness"][51:-51, 51:-51] == 0).all()
    assert (out["slope_deg"][1:-1, 1:-1] == 0).all()
    assert np.isnan(out["aspect_deg"]).all()


def test_deep_cliff_needs_and_gets_64_bit_sums():
    """The 32-bit kernel used where a window does not fit in 32 bits."""
    depth = np.full((120, 120), 3.0, np.float32)
    depth[:, 60:] = 9000.0
    out = terrain(depth, 1.0, inner_m=0.0, outer_m=50.0, ruggedness_radius_m=1.5, fields=["position_index_m"])
    y, x = np.mgrid[-50:51, -50:51]
    disc = x * x + y * y <= 2500
    cells = depth[10:111, 9:110][disc].astype(np.float64)
    assert out["position_index_m"][60, 59] == pytest.approx(cells.mean() - 3.0, rel=1e-6)


def test_windows_follow_their_definition_cell_by_cell():
    """Running sums that take a wrong row or column."""
    rng = np.random.default_rng(3)
    depth = (10 + rng.normal(size=(25, 27))).round(3).astype(np.float32)
    out = terrain(depth, 0.5, inner_m=1.0, outer_m=2.6, ruggedness_radius_m=1.1)
    gy, gx = np.gradient(np.zeros_like(depth, np.float64))
    z = depth.astype(np.float64)
    for i in range(1, 24):
        for j in range(1, 26):
            w = z[i - 1 : i + 2, j - 1 : j + 2]
            gx[i, j] = (w[:, 2] - w[:, 0]) @ [1, 2, 1] / 4.0
            gy[i, j] = (w[2] - w[0]) @ [1, 2, 1] / 4.0
    normals = np.stack([gx, gy, np.ones_like(gx)]) / np.sqrt(1 + gx**2 + gy**2)
    for i, j in [(8, 8), (12, 13), (9, 17), (15, 6)]:
        y, x = np.mgrid[:25, :27]
        far = np.hypot(y - i, x - j) * 0.5
        ring = (far >= 1.0 - 1e-9) & (far <= 2.6 + 1e-9)
        disc = far <= 1.1 + 1e-9
        assert out["position_index_m"][i, j] == pytest.approx(z[ring].mean() - z[i, j], abs=1e-6)
        total = normals[:, disc].sum(axis=1)
        assert out["ruggedness"][i, j] == pytest.approx(1 - np.linalg.norm(total) / disc.sum(), abs=1e-6)


def test_windows_that_touch_a_gap_or_leave_the_data_have_no_answer():
    """A one-sided ring that reads a slope as a crest."""
    depth = np.full((41, 41), 7.0, np.float32)
    depth[20, 20] = np.nan
    out = terrain(depth, 1.0, inner_m=2.0, outer_m=5.0, ruggedness_radius_m=3.0)
    y, x = np.mgrid[:41, :41]
    far = np.hypot(y - 20, x - 20)
    inside = (np.minimum(np.minimum(y, x), np.minimum(40 - y, 40 - x)) >= 5) & (far > 0)
    np.testing.assert_array_equal(np.isnan(out["position_index_m"]), ~(inside & ((far < 2) | (far > 5))))
    np.testing.assert_array_equal(
        np.isnan(out["slope_deg"][1:-1, 1:-1]), np.maximum(abs(y - 20), abs(x - 20))[1:-1, 1:-1] <= 1
    )
    assert np.isnan(out["ruggedness"][20, 24])  # its disc reaches the normal at column 21, whose slope is unknown
    assert not np.isnan(out["ruggedness"][20, 25])


@settings(max_examples=25, deadline=None)
@given(DEPTHS, st.integers(2, 20), st.booleans())
def test_blocks_of_any_size_equal_the_whole_bit_for_bit(depth, side, holed):
    """A sum that depends on where a block begins."""
    depth = depth.copy()
    if holed:
        depth[6, 8] = np.nan
    whole = terrain(depth, 1.0, **SIZES)
    halo = terrain_halo(1.0, outer_m=4.0, ruggedness_radius_m=2.0)
    padded = np.pad(depth, halo, constant_values=np.nan)
    for r in range(0, depth.shape[0], side):
        for c in range(0, depth.shape[1], side):
            rows, cols = min(side, depth.shape[0] - r), min(side, depth.shape[1] - c)
            part = terrain(padded[r : r + rows + 2 * halo, c : c + cols + 2 * halo], 1.0, halo=halo, **SIZES)
            for name in FIELDS:
                assert same(part[name], whole[name][r : r + rows, c : c + cols]), name


@settings(max_examples=25, deadline=None)
@given(DEPTHS, st.integers(1, 2000))
def test_deeper_water_changes_nothing(depth, more):
    """A measure that depends on the level of the water."""
    whole_mm = np.rint(depth.astype(np.float64) * 1000)
    near, far = (whole_mm / 1024).astype(np.float32), (whole_mm / 1024 + more).astype(np.float32)  # exact in float32?
    if not np.array_equal(far.astype(np.float64) - near.astype(np.float64), np.full(near.shape, float(more))):
        near = np.rint(near)  # whole metres are always exact
        far = near + np.float32(more)
    a, b = terrain(near, 1.0, **SIZES), terrain(far, 1.0, **SIZES)
    assert same(a["slope_deg"], b["slope_deg"])
    assert same(a["aspect_deg"], b["aspect_deg"])
    assert same(a["ruggedness"], b["ruggedness"])
    np.testing.assert_allclose(a["position_index_m"], b["position_index_m"], atol=1e-4)


@settings(max_examples=25, deadline=None)
@given(DEPTHS)
def test_turned_and_mirrored_bottoms_give_turned_and_mirrored_answers(depth):
    """North and east treated differently, or a window that leans to one side."""
    out = terrain(depth, 1.0, **SIZES)
    turned = terrain(np.rot90(depth).copy(), 1.0, **SIZES)  # turned to the left: east becomes north
    mirrored = terrain(depth[:, ::-1].copy(), 1.0, **SIZES)
    for name in ("slope_deg", "ruggedness", "position_index_m"):
        assert same(turned[name], np.ascontiguousarray(np.rot90(out[name]))), name
        assert same(mirrored[name], np.ascontiguousarray(out[name][:, ::-1])), name
    left = (np.rot90(out["aspect_deg"]) - 90.0) % 360.0
    gap = (turned["aspect_deg"] - left + 180.0) % 360.0 - 180.0
    assert np.nanmax(np.abs(gap), initial=0.0) < 1e-4
    gap = (mirrored["aspect_deg"] + out["aspect_deg"][:, ::-1] + 180.0) % 360.0 - 180.0
    assert np.nanmax(np.abs(gap), initial=0.0) < 1e-4


@settings(max_examples=15, deadline=None)
@given(arrays(np.int32, (12, 12), elements=st.integers(0, 4000)))
def test_twice_the_size_in_all_directions_keeps_every_angle(units):
    """A measure that mixes the unit of depth with that of the cell."""
    depth = (units / 128).astype(np.float32)
    small = terrain(depth, 1.0, **SIZES)
    large = terrain(depth * np.float32(2), 2.0, inner_m=4.0, outer_m=8.0, ruggedness_radius_m=4.0)
    for name in ("slope_deg", "aspect_deg", "ruggedness"):
        assert same(small[name], large[name]), name
    np.testing.assert_allclose(2 * small["position_index_m"], large["position_index_m"], atol=2e-4)


def test_asked_fields_are_the_only_ones_and_equal_those_of_the_full_pass():
    """A field that changes when another is left out."""
    depth = np.random.default_rng(0).normal(10, 1, (20, 20)).astype(np.float32)
    full = terrain(depth, 1.0, **SIZES)
    for name in FIELDS:
        alone = terrain(depth, 1.0, **SIZES, fields=[name])
        assert list(alone) == [name]
        assert same(alone[name], full[name])


def test_halo_is_what_the_widest_window_needs():
    """A block border that shows."""
    assert terrain_halo(1.0, outer_m=5.0, ruggedness_radius_m=1.5) == 5
    assert terrain_halo(1.0, outer_m=5.0, ruggedness_radius_m=5.0) == 6
    assert terrain_halo(0.2, outer_m=0.6, ruggedness_radius_m=0.2) == 3  # 0.6 / 0.2 is three cells
    assert terrain_halo(1.0, outer_m=5.0, ruggedness_radius_m=5.0, fields=["slope_deg"]) == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cell_m": 0.0}, "a number above 0"),
        ({"inner_m": 5.0, "outer_m": 4.0}, "0 ≤ inner < outer"),
        ({"inner_m": 1.1, "outer_m": 1.2}, "ring that holds a cell"),
        ({"outer_m": 1e9}, "at most 2000 cells"),
        ({"fields": ["rugosity"]}, "rugosity"),
    ],
)
def test_impossible_sizes_are_refused_by_name(change, said):
    """A window that silently becomes empty."""
    given = {"cell_m": 1.0, **SIZES, **change}
    cell = given.pop("cell_m")
    with pytest.raises(InputFault, match=said):
        terrain(np.ones((9, 9), np.float32), cell, **given)


def test_depths_no_sea_has_are_refused_with_a_hint_at_nodata():
    """−99999 without a nodata tag taken for a mountain."""
    depth = np.ones((9, 9), np.float32)
    depth[4, 4] = -99999.0
    with pytest.raises(InputFault, match=r"-99999 m.*nodata"):
        terrain(depth, 1.0, **SIZES)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize(("mode", "field", "tolerance"), [("slope", "slope_deg", 1e-4), ("aspect", "aspect_deg", 2e-3)])
def test_gdaldem_agrees_inside_the_border(tmp_path, mode, field, tolerance):
    """A disagreement with an independent program, on a surface nobody prepared."""
    elevation = np.random.default_rng(11).normal(-12, 3, (60, 70)).astype(np.float32)
    source = tmp_path / "bottom.tif"
    with rasterio.open(
        source,
        "w",
        driver="GTiff",
        height=60,
        width=70,
        count=1,
        dtype="float32",
        crs="EPSG:32620",
        transform=Affine(2.0, 0.0, 500000.0, 0.0, -2.0, 2000000.0),
    ) as file:
        file.write(elevation, 1)
    subprocess.run(["gdaldem", mode, source, tmp_path / "out.tif", "-q"], check=True)
    with rasterio.open(tmp_path / "out.tif") as file:
        due = file.read(1)[1:-1, 1:-1]
    out = terrain(-elevation, 2.0, inner_m=2.0, outer_m=4.0, ruggedness_radius_m=3.0)[field][1:-1, 1:-1]
    gap = np.abs(out - due)
    assert np.minimum(gap, 360.0 - gap).max() < tolerance


def test_xarray_spatial_agrees_inside_the_border():
    """A disagreement with another library (xarray-spatial, Horn's gradient too) that a unit or a sign would make."""
    elevation = np.random.default_rng(11).normal(-12, 3, (60, 70)).astype(np.float32)
    north, east = np.arange(60)[::-1] * 2.0, np.arange(70) * 2.0
    surface = xarray.DataArray(elevation, dims=("y", "x"), coords={"y": north, "x": east}, attrs={"res": (2.0, 2.0)})
    out = terrain(-elevation, 2.0, inner_m=2.0, outer_m=4.0, ruggedness_radius_m=3.0)
    inner = (slice(1, -1),) * 2
    assert np.abs(out["slope_deg"] - xrspatial.slope(surface).values)[inner].max() < 1e-4
    turn = np.abs(out["aspect_deg"] - xrspatial.aspect(surface).values)[inner]
    assert np.minimum(turn, 360.0 - turn).max() < 2e-3
