"""Wave growth against computed rows of the published equations."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.seabed.wave_growth import METHODS, check_method, effective_fetch, wave_growth, wind_at_ten_metres

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/waves.json").read_text("utf-8"))}
DEEP = ROWS["waves-fetch"]
deep_methods = st.sampled_from(["spm1984", "jonswap1973", "cem2002"])


@pytest.mark.parametrize("k", range(3))
@pytest.mark.parametrize(
    ("method", "key", "height", "period"),
    [("jonswap1973", "jonswap", "Hs", "Tp"), ("spm1984", "spm1984", "Hs", "Tm"), ("cem2002", "cem2002", "Hm0", "Tp")],
)
def test_published_growth_over_a_fetch(method, key, height, period, k):
    """A coefficient of another method would show."""
    speed, fetch = DEEP["inputs"]["U10_fetch_m"][k]
    want = DEEP["expected"][key][k]
    grown = wave_growth(method, speed, fetch, gravity_ms2=9.81)
    assert grown.height_m == pytest.approx(want[height], rel=1e-6)
    assert grown.period_s == pytest.approx(want[period], rel=1e-6)
    if "t_min_s" in want:
        assert grown.least_duration_s == pytest.approx(want["t_min_s"], rel=1e-6)


@pytest.mark.parametrize("k", range(3))
@pytest.mark.parametrize(
    ("method", "height", "period"),
    [("spm1984", "Hs_fully_developed", "T_fully_developed"), ("cem2002", "Hm0_limit", "Tp_limit")],
)
def test_published_limit_of_a_fully_developed_sea(method, height, period, k):
    """Endless fetch would raise endless waves."""
    speed, _ = DEEP["inputs"]["U10_fetch_m"][k]
    want = DEEP["expected"][method][k]
    grown = wave_growth(method, speed, 1e9, gravity_ms2=9.81)
    assert grown.height_m == pytest.approx(want[height], rel=1e-6)
    assert grown.period_s == pytest.approx(want[period], rel=1e-6)


@pytest.mark.parametrize(
    ("row", "k"), [("waves-fetch-shallow", 0), ("waves-fetch-shallow", 1), ("waves-fetch-shallow-b", 0)]
)
def test_published_growth_in_shallow_water(row, k):
    """Equations 3-39 and 3-40 with their six coefficients."""
    speed, fetch, depth = ROWS[row]["inputs"]["U10_F_d"][k]
    want = ROWS[row]["expected"]["spm1984_shallow"][k]
    grown = wave_growth("spm1984_shallow", speed, fetch, mean_depth_m=depth, gravity_ms2=9.81)
    assert grown.height_m == pytest.approx(want["Hs"], rel=1e-6)
    assert grown.period_s == pytest.approx(want["T"], rel=1e-6)


def test_published_effective_fetch():
    """Saville's fifteen rays; a plain mean in their place would be 10 % off."""
    row = ROWS["waves-effective-fetch"]
    angles, rays = row["inputs"]["angles_deg"], row["inputs"]["fetch_km"]
    saville = effective_fetch(rays, angles, rule="saville")
    assert saville == pytest.approx(row["expected"]["effective_saville_cos2"], abs=1e-9)
    constant = effective_fetch(np.full(15, 10.0), angles, rule="saville")
    assert constant == pytest.approx(row["expected"]["constant_10km_saville"], abs=1e-9)


@given(st.lists(st.floats(1.0, 1e5), min_size=1, max_size=9), st.floats(0.1, 10.0))
def test_effective_fetch_scales_and_a_constant_keeps_its_mean(rays, factor):
    """Weights that do not sum to one would show."""
    angles = np.zeros(len(rays))
    assert effective_fetch(rays, angles, rule="mean") == pytest.approx(np.mean(rays))
    scaled = effective_fetch(np.array(rays) * factor, angles, rule="saville")
    assert scaled == pytest.approx(factor * effective_fetch(rays, angles, rule="saville"))


@given(deep_methods, st.floats(0.5, 30.0), st.floats(10.0, 5e5), st.floats(1.0, 3.0))
def test_more_wind_or_fetch_never_lowers_the_waves(method, speed, fetch, factor):
    """A cap applied to the wrong term would."""
    here = wave_growth(method, speed, fetch)
    for more in (wave_growth(method, speed * factor, fetch), wave_growth(method, speed, fetch * factor)):
        assert more.height_m >= here.height_m * (1 - 1e-9)
        assert more.period_s >= here.period_s * (1 - 1e-9)


@given(st.floats(2.0, 40.0), st.floats(100.0, 1e5), st.floats(0.5, 20.0))
def test_shallow_water_holds_waves_down(speed, fetch, depth):
    """Depth would not matter."""
    here = wave_growth("spm1984_shallow", speed, fetch, mean_depth_m=depth)
    deeper = wave_growth("spm1984_shallow", speed, fetch, mean_depth_m=depth * 2)
    assert here.height_m <= deeper.height_m * (1 + 1e-9)


@pytest.mark.parametrize("method", sorted(METHODS))
def test_no_wind_makes_no_waves_and_unknown_fetch_no_number(method):
    """Unknown would read as calm."""
    depth = 5.0 if method == "spm1984_shallow" else None
    grown = wave_growth(method, [0.0, 8.0], [1000.0, np.nan], mean_depth_m=depth)
    assert grown.height_m[0] == 0.0
    assert np.isnan(grown.height_m[1])
    assert np.isnan(grown.period_s).all()


def test_wind_from_a_lower_mast_is_raised():
    """The power law turned over would lower it."""
    assert wind_at_ten_metres(7.0, 2.0) == pytest.approx(7.0 * 5 ** (1 / 7))
    with pytest.raises(InputFault, match=r"30.0 m; due: 1 to 20 m"):
        wind_at_ten_metres(7.0, 30.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: check_method("best"), "'best'; due: cem2002, jonswap1973, spm1984, spm1984_shallow"),
        (lambda: wave_growth("spm1984", 120.0, 1.0), "due: 0 to 90 m/s"),
        (lambda: wave_growth("spm1984", 8.0, -1.0), "-1.0 m; due: 0 m or more"),
        (lambda: wave_growth("spm1984_shallow", 8.0, 10.0), "none given with method spm1984_shallow"),
        (lambda: wave_growth("cem2002", 8.0, 10.0, mean_depth_m=3.0), "one given with method cem2002"),
        (lambda: effective_fetch([1.0], [0.0], rule="cos"), "'cos'; due: mean or saville"),
        (lambda: effective_fetch([1.0], [100.0], rule="mean"), "-90 to 90 degrees"),
    ],
)
def test_impossible_inputs_are_refused(call, message):
    """They would make silent nonsense."""
    with pytest.raises(InputFault, match=message):
        call()
