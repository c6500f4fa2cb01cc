"""Light against Beer and Lambert's law and published shares."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.seabed.light import depth_of_share, kd_caution, kd_from_secchi, light_share

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/light.json").read_text("utf-8"))}
kds = st.floats(0.02, 5.0)


@pytest.mark.parametrize("k", range(3))
def test_published_share_and_depth_of_one_percent(k):
    """A base-ten exponent would show."""
    row = ROWS["light-beer-lambert"]
    kd, depth = row["inputs"]["Kd_per_m"][k], row["inputs"]["depth_m"][k]
    assert light_share(depth, kd) == pytest.approx(row["expected"]["fraction"][k], abs=1e-12)
    # the row's 1 % depths use 4.605 exactly as ln 100
    assert depth_of_share(0.01, kd) == pytest.approx(row["expected"]["depth_1_percent_m"][k], abs=1e-9)


@pytest.mark.parametrize("k", range(3))
def test_published_kd_from_secchi(k):
    """The coefficient of another water type would show."""
    row = ROWS["light-secchi"]
    assert kd_from_secchi(row["inputs"]["secchi_m"][k]) == pytest.approx(
        row["expected"]["Kd_poole_atkins"][k], abs=1e-9
    )


@pytest.mark.parametrize(
    ("kd", "share", "depth"), [(0.15, 0.40, 6.11), (0.15, 0.10, 15.35), (0.10, 0.60, 5.11), (0.10, 0.20, 16.09)]
)
def test_trade_values_028_and_029(kd, share, depth):
    """Depth limits of reef formation and of growth forms."""
    assert depth_of_share(share, kd) == pytest.approx(depth, abs=5e-3)


@pytest.mark.parametrize(("kd", "percent"), [(0.15, 22.3), (0.25, 8.2)])
def test_trade_value_030(kd, percent):
    """Shares at 10 m."""
    assert 100 * light_share(10.0, kd) == pytest.approx(percent, abs=0.05)


def test_red_light_is_nearly_gone_at_thirty_feet():
    """0.34 per m at 650 nm (Pope & Fry 1997, recalled) leaves about 4 %."""
    assert light_share(30 * 0.3048, 0.34) == pytest.approx(0.045, abs=0.005)


@given(st.floats(0.0, 60.0), kds, st.floats(-2.0, 5.0))
def test_tide_adds_to_depth_and_more_water_is_darker(depth, kd, tide):
    """A tide with the wrong sign would brighten."""
    share = light_share(depth, kd, tide)
    assert share == pytest.approx(light_share(max(depth + tide, 0.0), kd))
    assert light_share(depth + 1.0, kd, tide) <= share <= 1.0


@given(st.floats(0.001, 1.0), kds)
def test_depth_of_a_share_has_that_share(share, kd):
    """The two functions would part."""
    assert light_share(depth_of_share(share, kd), kd) == pytest.approx(share)


@given(st.floats(1.0, 40.0), st.floats(1.0, 2.0))
def test_clearer_water_has_a_smaller_kd(secchi, coefficient):
    """A product in place of the quotient would turn this."""
    assert kd_from_secchi(secchi * 2, coefficient=coefficient) == pytest.approx(
        kd_from_secchi(secchi, coefficient=coefficient) / 2
    )


def test_unknown_kd_gives_unknown_light():
    """A hole in a satellite raster would read as dark or clear."""
    assert np.isnan(light_share([5.0, np.nan], [np.nan, 0.1])).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: light_share(5.0, [0.1, 0.0, -9999.0]), "2 values such as 0 per m; due: above 0"),
        (lambda: depth_of_share(40.0, 0.1), "40.0; due: above 0, at most 1. Divide percent by 100"),
        (lambda: kd_from_secchi(0.0), "0.0 m; due: above 0 m"),
        (lambda: kd_caution("k"), "'k'; due: 490, par"),
    ],
)
def test_impossible_waters_are_refused(call, message):
    """They would make silent nonsense."""
    with pytest.raises(InputFault, match=message):
        call()


def test_the_satellite_coefficient_carries_its_caution():
    """Kd(490) would pass for Kd(PAR)."""
    assert "too high" in kd_caution("490")
    assert "PAR" in kd_caution("par")
