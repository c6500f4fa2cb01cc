"""Wave fields against single-cell arithmetic, limits and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.seabed.fetch import fetch
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_growth import wave_growth
from sitekit.seabed.wave_theory import orbital_velocity, relative_water_depth, shoaling
from sitekit.seabed.waves import wave_fields
from sitekit.seabed.wind import SwellTable, WindTable
from tests.seabed.exact_rays import archipelago

CALM_HALF = WindTable([0, 270], [0, 12], [0.5, 0.5])
SHORE = np.zeros((5, 40), dtype=np.uint8)
SHORE[:, 0] = 1
FLAT = np.full((5, 40), 3.0)


ONE_RAY = (0.0,)


def fields_of(*given_, **more):
    """Wave fields along single rays, which closed forms can follow."""
    return wave_fields(*given_, rays_deg=ONE_RAY, **more)


def test_one_wind_over_one_fetch_is_the_growth_formula_and_linear_theory():
    """Any slip between the parts would show."""
    table = WindTable([270], [12], [1.0])
    fields = fields_of(FLAT, SHORE, 200.0, table, method="jonswap1973")
    length, _ = fetch(SHORE, 200.0, [270.0])
    grown = wave_growth("jonswap1973", 12.0, float(length[0, 2, 20]))
    want = orbital_velocity(grown.height_m, grown.period_s, 3.0)
    assert fields["wave_height_m"][2, 20] == pytest.approx(float(grown.height_m), rel=1e-6)
    assert fields["orbital_velocity_ms"][2, 20] == pytest.approx(float(want), rel=1e-5)
    assert fields["fetch_m"][2, 20] == length[0, 2, 20]
    assert np.isnan(fields["fetch_m"][:, 0]).all()


def test_time_of_calm_counts_as_calm():
    """The mobile share would be one instead of a half."""
    fields = fields_of(FLAT, SHORE, 2000.0, CALM_HALF, method="spm1984")
    assert fields["share_above_mobile"][2, 39] == pytest.approx(0.5)
    median = fields_of(FLAT, SHORE, 2000.0, CALM_HALF, method="spm1984", high_share=0.5)
    assert median["orbital_velocity_ms"][2, 39] == 0.0


def test_open_directions_are_unknown_until_something_is_said():
    """The open ocean would read as calm."""
    east = WindTable([90, 270], [12, 12], [0.4, 0.6])
    blind = fields_of(FLAT, SHORE, 200.0, east, method="spm1984")
    assert np.isnan(blind["orbital_velocity_ms"]).all()
    assert np.isnan(blind["share_above_mobile"]).all()
    assert blind["unknown_wave_share"][2, 20] == pytest.approx(0.4)
    told = fields_of(FLAT, SHORE, 200.0, east, method="spm1984", open_water=OpenWater(fetch_limit_m=50_000))
    assert np.isfinite(told["orbital_velocity_ms"][:, 1:]).all()
    assert told["unknown_wave_share"][2, 20] == 0.0
    assert told["fetch_m"][2, 20] == pytest.approx(0.4 * 50_000 + 0.6 * 3900, rel=1e-5)
    allowed = fields_of(FLAT, SHORE, 200.0, east, method="spm1984", max_unknown_share=0.5)
    west = fields_of(FLAT, SHORE, 200.0, WindTable([270], [12], [1.0]), method="spm1984")
    np.testing.assert_array_equal(allowed["orbital_velocity_ms"], west["orbital_velocity_ms"])


def test_swell_reaches_open_cells_only_and_shoals():
    """Swell would bend through land, or keep its deep-water height."""
    surface = SHORE.copy()
    surface[2, 30] = 1
    swell = SwellTable([90], [0.8], [10.0], [1.0])
    calm = WindTable([0], [0], [1.0])
    fields = fields_of(FLAT, surface, 50.0, calm, method="spm1984", open_water=OpenWater(swell=swell))
    height = 0.8 * shoaling(relative_water_depth(10.0, 3.0))
    assert fields["wave_height_m"][2, 35] == pytest.approx(float(height), rel=1e-6)
    assert fields["orbital_velocity_ms"][2, 35] == pytest.approx(float(orbital_velocity(height, 10.0, 3.0)), rel=1e-6)
    assert fields["wave_height_m"][2, 29] == 0.0


def test_waves_never_stand_higher_than_the_breaking_limit():
    """Metre-high waves over knee-deep flats would show."""
    shallow = np.full((5, 40), 0.4)
    swell = SwellTable([90], [5.0], [12.0], [1.0])
    storm = WindTable([270], [30], [1.0])
    fields = fields_of(shallow, SHORE, 2000.0, storm, method="spm1984", open_water=OpenWater(swell=swell))
    assert fields["wave_height_m"][:, 1:] == pytest.approx(0.78 * 0.4, rel=1e-6)


def test_tide_acts_as_depth():
    """A tide added twice or not at all would show."""
    high = fields_of(FLAT, SHORE, 200.0, CALM_HALF, method="cem2002", tide_m=1.5)
    deep = fields_of(FLAT + 1.5, SHORE, 200.0, CALM_HALF, method="cem2002")
    np.testing.assert_array_equal(high["orbital_velocity_ms"], deep["orbital_velocity_ms"])
    dry = fields_of(FLAT, SHORE, 200.0, CALM_HALF, method="cem2002", tide_m=-3.0)
    assert np.isnan(dry["orbital_velocity_ms"]).all()


@settings(max_examples=15)
@given(st.integers(0, 50), st.permutations(range(4)), st.sampled_from(["spm1984", "spm1984_shallow", "cem2002"]))
def test_neither_the_order_of_winds_nor_a_turn_changes_the_fields(seed, order, method):
    """A quantile over unsorted states, or a scan that favours rows, would."""
    land = archipelago(24, seed)
    depth = np.where(land, -1.0, 4.0)
    columns = np.array([[0, 90, 180, 270], [4, 8, 12, 16], [0.1, 0.2, 0.3, 0.4]], dtype=float)
    water = OpenWater(fetch_limit_m=3000.0)
    one = fields_of(depth, land, 100.0, WindTable(*columns), method=method, open_water=water)
    mixed = fields_of(depth, land, 100.0, WindTable(*columns[:, order]), method=method, open_water=water)
    columns[0] = (columns[0] - 90) % 360
    turned = fields_of(np.rot90(depth), np.rot90(land), 100.0, WindTable(*columns), method=method, open_water=water)
    for name, values in one.items():
        np.testing.assert_allclose(values, mixed[name], rtol=1e-6)
        np.testing.assert_allclose(np.rot90(values), turned[name], rtol=1e-6)


def test_wanted_cells_get_the_same_values():
    """A mask that also cut the fetch would change them."""
    wanted = np.zeros(FLAT.shape, dtype=bool)
    wanted[2, 10:20] = True
    all_cells = fields_of(FLAT, SHORE, 200.0, CALM_HALF, method="spm1984")
    some = fields_of(FLAT, SHORE, 200.0, CALM_HALF, method="spm1984", wanted=wanted)
    np.testing.assert_array_equal(some["orbital_velocity_ms"][wanted], all_cells["orbital_velocity_ms"][wanted])
    assert np.isnan(some["orbital_velocity_ms"][~wanted]).all()


def test_a_limit_lengthens_open_ways_and_land_keeps_its_distance():
    """A limit that shortened known water, or reached over land, would show."""
    both = WindTable([90, 270], [12, 12], [0.5, 0.5])
    short = fields_of(FLAT, SHORE, 200.0, both, method="spm1984", open_water=OpenWater(fetch_limit_m=1000.0))
    length, _ = fetch(SHORE, 200.0, [90.0, 270.0])
    want = 0.5 * np.maximum(length[0], 1000.0) + 0.5 * length[1]
    np.testing.assert_allclose(short["fetch_m"][:, 1:], want[:, 1:], rtol=1e-6)


def test_a_shallow_crest_keeps_the_sea_out_of_the_lagoon():
    """The full outer sea would stand behind the reef; or none at all, though wind raises it anew."""
    depth = np.full((3, 60), 6.0)
    depth[:, 20] = 0.5  # the crest
    open_sea = np.zeros(depth.shape, np.uint8)
    swell = OpenWater(swell=SwellTable([90], [1.5], [9.0], [1.0]))
    calm = WindTable([0], [0], [1.0])
    fields = fields_of(depth, open_sea, 50.0, calm, method="spm1984", open_water=swell)
    assert (fields["wave_height_m"][:, 21:] > 1.3).all()
    left = 0.78 * 0.5 * shoaling(relative_water_depth(9.0, 6.0)) / shoaling(relative_water_depth(9.0, 0.5))
    np.testing.assert_allclose(fields["wave_height_m"][:, :20], float(left), rtol=1e-5)
    east = WindTable([90], [12], [1.0])
    limit = OpenWater(fetch_limit_m=100_000.0)
    wind = fields_of(depth, open_sea, 50.0, east, method="jonswap1973", open_water=limit)["wave_height_m"]
    anew = float(wave_growth("jonswap1973", 12.0, 20 * 50.0).height_m)
    assert wind[1, 0] == pytest.approx(float(np.hypot(0.78 * 0.5, anew)), rel=1e-5)
    assert (np.diff(wind[1, :20]) < 0).all()
    assert wind[1, 30] > 1.4


def test_the_sea_is_the_mean_energy_of_five_rays():
    """A rock that hides one ray would make its lee calm, where a boat then anchors."""
    surface = np.zeros((41, 41), np.uint8)
    surface[:, 0] = 1
    surface[20, 30] = 1
    depth = np.full(surface.shape, 5.0)
    wind = WindTable([270], [10], [1.0])
    kwargs = {"method": "jonswap1973", "open_water": OpenWater(fetch_limit_m=1.0)}
    lee = wave_fields(depth, surface, 100.0, wind, **kwargs)["wave_height_m"][20, 40]
    rays = [
        float(wave_fields(depth, surface, 100.0, wind, rays_deg=[d], **kwargs)["wave_height_m"][20, 40])
        for d in (-12, -6, 0, 6, 12)
    ]
    assert rays[2] == pytest.approx(float(wave_growth("jonswap1973", 10.0, 950.0).height_m), rel=1e-5)
    assert rays[0] > 1.9 * rays[2]
    assert lee == pytest.approx(float(np.sqrt(np.mean(np.square(rays)))), rel=1e-4)


def test_one_open_ray_makes_a_wind_unknown():
    """Four rays that end at land would vote the ocean away."""
    surface = np.zeros((60, 20), np.uint8)
    surface[:, 0] = 1
    surface[-4:, 0] = 0  # the south-western end is open
    wind = WindTable([270], [10], [1.0])
    fields = wave_fields(np.full(surface.shape, 5.0), surface, 100.0, wind, method="spm1984")
    assert np.isfinite(fields["wave_height_m"][30, 10])
    assert np.isnan(fields["wave_height_m"][54, 10])
    assert fields["unknown_wave_share"][54, 10] == 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"method": "guess"}, "'guess'; due: cem2002"),
        ({"high_share": 95.0}, "high_share: 95.0; due: 0.5 to 1.0"),
        ({"tide_m": 120.0}, "120.0; due: finite heights"),
        ({"depth_m": np.ones((2, 2))}, r"\(5, 40\) cells; due: \(2, 2\) as the depth"),
        ({"land": SHORE + 5}, "other values; due: True/False"),
    ],
)
def test_impossible_settings_are_refused(changes, message):
    """They would make silent nonsense."""
    given_ = {"depth_m": FLAT, "land": SHORE, "method": "spm1984"} | changes
    with pytest.raises(InputFault, match=message):
        wave_fields(given_.pop("depth_m"), given_.pop("land"), 200.0, CALM_HALF, **given_)


def test_an_impossible_limit_is_refused():
    """A limit of zero would make the ocean calm."""
    with pytest.raises(InputFault, match="0 m; due: above 0, below 5,000 km"):
        OpenWater(fetch_limit_m=0)
