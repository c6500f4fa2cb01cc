"""Linear wave theory against tables, limits and properties."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.seabed import wave_theory as wt

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/waves.json").read_text("utf-8"))}
TABLE = ROWS["waves-dispersion-table"]
ORBITAL = ROWS["waves-orbital"]


def _shoal(deep_ratio):
    return wt.relative_water_depth(2 * np.pi, deep_ratio, gravity_ms2=1.0)  # with T = 2π and g = 1, ω²h/g = h


@pytest.mark.parametrize("k", range(len(TABLE["inputs"]["d_over_L0"])))
def test_published_row_of_the_dispersion_table(k):
    """Shore Protection Manual, table C-1: a wrong root would move every length."""
    kh = _shoal(2 * np.pi * TABLE["inputs"]["d_over_L0"][k])
    expected = {name: column[k] for name, column in TABLE["expected"].items()}
    assert kh / (2 * np.pi) == pytest.approx(expected["d_over_L"], abs=1e-9)
    assert np.tanh(kh) == pytest.approx(expected["tanh_kd"], abs=1e-9)
    assert wt.group_ratio(kh) == pytest.approx(expected["n"], abs=1e-9)
    assert wt.shoaling(kh) == pytest.approx(expected["Ks"], abs=1e-9)


def test_published_length_at_three_metres():
    """The manual's first problem printed from a table (0.3 %); the exact answer holds for standard gravity."""
    row = ROWS["waves-spm-example-1"]
    length = wt.wave_length(10.0, 3.0)
    assert length == pytest.approx(row["expected"]["exact_L_at_3m"], abs=1e-6)
    assert length == pytest.approx(row["expected"]["L_at_3m"], rel=0.003)


@pytest.mark.parametrize("k", range(len(ORBITAL["inputs"]["H_T_h"])))
def test_published_orbital_velocity_and_excursion(k):
    """A factor of two between height and amplitude would show."""
    height, period, depth = ORBITAL["inputs"]["H_T_h"][k]
    want = ORBITAL["expected"]
    assert wt.wave_length(period, depth, gravity_ms2=9.81) == pytest.approx(want["L"][k], rel=1e-8)
    velocity = wt.orbital_velocity(height, period, depth, gravity_ms2=9.81)
    assert velocity == pytest.approx(want["near_bed_orbital_velocity"][k], rel=1e-8)
    excursion = wt.bed_excursion(height, period, depth, gravity_ms2=9.81)
    assert excursion == pytest.approx(want["bed_excursion_amplitude"][k], rel=1e-8)


def test_trade_value_023():
    """Textbook check, H = 1 m, T = 8 s, h = 5 m."""
    assert wt.relative_water_depth(8.0, 5.0) / 5 == pytest.approx(0.1184, abs=5e-5)
    assert wt.wave_length(8.0, 5.0) == pytest.approx(53.07, abs=5e-3)
    assert wt.orbital_velocity(1.0, 8.0, 5.0) == pytest.approx(0.626, abs=5e-4)


def test_published_breaking_heights():
    """McCowan's and Miche's limits over 3 m."""
    row = ROWS["waves-breaking"]["expected"]
    assert wt.breaking_height(3.0) == pytest.approx(row["Hb_gamma"], abs=1e-6)
    assert wt.steepness_limit(8.0, 3.0, gravity_ms2=9.81) == pytest.approx(row["Hb_miche"], abs=1e-6)


def test_published_wave_power():
    """A missing half or pi would show."""
    power = wt.wave_power(1.0, 6.0, gravity_ms2=9.81)
    assert power == pytest.approx(ROWS["waves-power"]["expected"]["deep_water_power_W_per_m"], abs=1e-6)


@given(st.floats(0.5, 30.0), st.floats(0.01, 8000.0))
def test_the_dispersion_relation_holds(period, depth):
    """A root that did not converge would show."""
    kh = wt.relative_water_depth(period, depth)
    want = (2 * np.pi / period) ** 2 * depth / wt.GRAVITY_MS2
    assert kh * np.tanh(kh) == pytest.approx(want, rel=1e-11)


@given(st.floats(0.5, 30.0), st.floats(0.1, 100.0), st.floats(1.01, 5.0))
def test_deeper_bottoms_are_calmer_and_longer_waves_reach_deeper(period, depth, factor):
    """The sign of any term."""
    here = wt.orbital_velocity(1.0, period, depth)
    assert wt.orbital_velocity(1.0, period, depth * factor) <= here
    assert wt.bed_excursion(1.0, period * factor, depth) >= wt.bed_excursion(1.0, period, depth)


def test_deep_water_is_still_without_overflow():
    """sinh of a large number would raise a warning, which is an error here."""
    assert wt.orbital_velocity(1.0, 1.0, 5000.0) == 0.0
    assert wt.steepness_limit(2.0, 1000.0) == pytest.approx(0.142 * wt.wave_length(2.0, 1000.0))


def test_dry_and_unknown_cells_give_no_number():
    """Zero would read as calm."""
    depth = [0.0, -2.0, float("nan")]
    assert np.isnan(wt.orbital_velocity(1.0, 5.0, depth)).all()
    assert np.isnan(wt.breaking_height(depth)).all()


@given(st.floats(0.01, 200.0))
def test_group_ratio_and_shoaling_stay_in_their_ranges(kh):
    """n lies between a half and one; Ks has its known minimum 0.9129."""
    assert 0.5 <= wt.group_ratio(kh) <= 1.0
    assert wt.shoaling(kh) > 0.9129


@given(st.floats(0.1, 10.0), st.floats(1.0, 20.0))
def test_power_grows_with_the_square_of_height(height, period):
    """A linear power would show."""
    assert wt.wave_power(2 * height, period) == pytest.approx(4 * wt.wave_power(height, period))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: wt.wave_length(0.0, 5.0), "0.0 s; due: a period above 0 s"),
        (lambda: wt.orbital_velocity(-1.0, 5.0, 5.0), "-1.0 m; due: 0 m or more"),
        (lambda: wt.breaking_height(3.0, index=7.8), "7.8; due: 0.3 to 1.3"),
    ],
)
def test_impossible_waves_are_refused(call, message):
    """They would make silent nonsense."""
    with pytest.raises(InputFault, match=message):
        call()
