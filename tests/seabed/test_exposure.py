"""Exposure on thinned cells against the same fields cell by cell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.seabed.arriving import arriving
from sitekit.seabed.at_bed import AT_BED, at_bed
from sitekit.seabed.exposure import ExposureTable, Thinned
from sitekit.seabed.fetch import LAND, UNKNOWN, WATER
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_theory import BREAKER_INDEX, orbital_velocity
from sitekit.seabed.waves import wave_fields
from sitekit.seabed.way import Lookout, Surroundings
from sitekit.seabed.wind import SwellTable, WindTable

WIND = WindTable([0, 90, 180, 270, 90], [6, 9, 12, 5, 14], [0.2, 0.3, 0.1, 0.35, 0.05])
SWELL = SwellTable([90, 45], [1.2, 2.0], [8.0, 11.0], [0.7, 0.3])
OPTIONS = {"breaker_index": BREAKER_INDEX, "mobile_ms": 0.3, "high_share": 0.95}


def reef(rows=90, cols=120, seed=3):
    """Depths that fall to the east, with a crest, bumps of 20 cells and a small island."""
    draw = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols] / 20.0
    depth = 3.0 + 2.0 * x + np.sin(2 * y + draw.uniform(0, 6)) * np.cos(3 * x)
    depth = np.where(np.abs(x - 2.0) < 0.3, 1.0, depth)
    depth[40:48, 20:30] = -1.0
    return depth.astype(np.float32)


def thinned_fields(depth, factor, cell_m, *, water=None, block=None, gaps=WATER):
    thinned = Thinned(depth.shape, factor, 0.0, 0.0, gaps)
    step = block or max(depth.shape)
    places = [(r, c) for r in range(0, depth.shape[0], step) for c in range(0, depth.shape[1], step)]
    for r, c in places:
        thinned.add(depth[r : r + step, c : c + step], r, c)
    codes, mean = thinned.surface()
    use = codes == WATER
    look = Lookout(Surroundings(codes, mean, cell_m * factor), use, convergence_deg=0.0)
    sea = arriving(look, WIND, method="jonswap1973", water=water or OpenWater(swell=SWELL), breaker_index=BREAKER_INDEX)
    table = ExposureTable(thinned, sea, use, max_unknown_share=0.0, **OPTIONS)
    out = {name: np.full(depth.shape, np.nan, np.float32) for name in (*AT_BED, "fetch_m", "unknown_wave_share")}
    for r, c in places:
        for name, values in table.at(depth[r : r + step, c : c + step], r, c).items():
            out[name][r : r + step, c : c + step] = values
    return out


def exact_fields(depth, cell_m, water=None):
    land = np.where(depth <= 0, LAND, WATER).astype(np.uint8)
    return wave_fields(depth, land, cell_m, WIND, method="jonswap1973", open_water=water or OpenWater(swell=SWELL))


def test_unthinned_cells_differ_by_the_steps_of_depth_only():
    """A cell read off its neighbour would show at once: depths of the table are a quarter apart."""
    depth = reef()
    exact, mine = exact_fields(depth, 10.0), thinned_fields(depth, 1, 10.0)
    for name, most in (("wave_height_m", 0.01), ("orbital_velocity_ms", 0.012), ("fetch_m", 1e-4)):
        off = np.abs(mine[name] - exact[name])
        assert np.nanmean(off) / np.nanmean(exact[name]) < most
        np.testing.assert_array_equal(np.isnan(mine[name]), np.isnan(exact[name]))


@pytest.mark.parametrize(("factor", "height", "speed"), [(3, 0.03, 0.05), (6, 0.06, 0.09)])
def test_thinned_cells_keep_the_fields_near(factor, height, speed):
    """The errors that the methods page states would be others."""
    depth = reef()
    exact, mine = exact_fields(depth, 10.0), thinned_fields(depth, factor, 10.0)
    for name, most in (("wave_height_m", height), ("orbital_velocity_ms", speed)):
        both = ~np.isnan(exact[name]) & ~np.isnan(mine[name])
        assert both.sum() > 0.97 * (~np.isnan(exact[name])).sum()
        assert np.abs(mine[name] - exact[name])[both].mean() / exact[name][both].mean() < most
        assert np.corrcoef(mine[name][both], exact[name][both])[0, 1] > 0.97


@settings(max_examples=6)
@given(st.integers(7, 130), st.integers(2, 9))
def test_blocks_of_any_size_give_the_same_bits(block, factor):
    """A plan would change with the memory of the machine."""
    depth = reef(60, 70)
    whole, parts = thinned_fields(depth, factor, 10.0), thinned_fields(depth, factor, 10.0, block=block)
    for name, values in whole.items():
        np.testing.assert_array_equal(values, parts[name])


def test_a_sea_nobody_described_is_unknown_not_calm():
    """Cells toward the open ocean would be the best of all."""
    fields = thinned_fields(reef(), 4, 10.0, water=OpenWater())
    for name in (*AT_BED, "fetch_m"):
        assert np.isnan(fields[name]).all()
    assert np.nanmin(fields["unknown_wave_share"]) > 0.0


@pytest.mark.parametrize(("gaps", "known"), [(WATER, True), (UNKNOWN, True), (LAND, False)])
def test_missing_depths_stand_for_what_the_plan_says(gaps, known):
    """A gap between two swaths would shelter the reef behind it; an unknown one lets the outer sea in."""
    depth = reef()
    depth[:, 100:104] = np.nan
    at = thinned_fields(depth, 2, 10.0, gaps=gaps)
    away = thinned_fields(reef(), 2, 10.0, gaps=gaps)
    same = np.isclose(at["wave_height_m"][:, :90], away["wave_height_m"][:, :90], rtol=0.02, equal_nan=True)
    assert same.all() == known
    assert np.isnan(at["wave_height_m"][:, 100:104]).all()


def test_a_quantile_is_the_value_that_time_does_not_pass():
    """Half of the states below would be taken for half of the time."""
    depth = np.full((1, 2), 4.0)
    codes = np.array([[1, 0]], np.uint8)
    look = Lookout(Surroundings(codes, depth, 3000.0), codes == 0, convergence_deg=0.0)
    wind = WindTable([270, 270, 270], [5, 10, 15], [0.90, 0.06, 0.04])
    sea = arriving(look, wind, method="spm1984", water=OpenWater(), breaker_index=BREAKER_INDEX, rays_deg=[0.0])
    for share, want in ((0.5, 0), (0.9, 0), (0.95, 1), (0.97, 2), (1.0, 2)):
        found = at_bed(sea, np.array([0]), np.array([4.0]), **{**OPTIONS, "high_share": share})
        assert found["wave_height_m"][0] == pytest.approx(sea.height_m[want, 0], rel=1e-6)
    second = float(orbital_velocity(sea.height_m[1, 0], sea.period_s[1, 0], 4.0))
    moving = at_bed(sea, np.array([0]), np.array([4.0]), **{**OPTIONS, "mobile_ms": 0.999 * second})
    assert moving["share_above_mobile"][0] == pytest.approx(0.10)
