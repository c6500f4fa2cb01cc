"""Positions written as text: every digit of the reference rows, and limits."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.notation import angle_text, position_text
from sitekit.base.positions import read_angle, read_position
from sitekit.base.sources import shared_file
from sitekit.errors import InputFault

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/coordinate_format.json").read_text("utf-8"))}
CASES = [
    pytest.param(value["kind"], due, id=f"{key}-{value['deg']}")
    for key in ("ddm-dms-carry", "ddm-dms-sign-zero")
    for value, due in zip(ROWS[key]["inputs"]["values"], ROWS[key]["expected"], strict=True)
]
WRITTEN = {"ddm3": ("DDM", 3), "ddm4": ("DDM", 4), "dms1": ("DMS", 1), "dms2": ("DMS", 2)}


@pytest.mark.parametrize(("axis", "due"), CASES)
def test_every_digit_of_minutes_and_seconds_comes_out(axis, due):
    """18° 60.000′, a sign lost at −0.5°, or 7.05° written as 59.9999 seconds."""
    for key, (style, decimals) in WRITTEN.items():
        assert angle_text(due["deg"], axis, style, decimals, marks=False) == due[key]


def test_a_step_of_the_last_digit_is_as_long_as_printed():
    """ddm-resolution: a claim about precision that the ellipsoid does not bear out."""
    from sitekit.base.geodesy import distance

    due = ROWS["ddm-resolution"]["expected"]
    at = 45.0  # where a minute of latitude is 1852 m nearly
    assert distance(0, at, 0, at + 0.001 / 60) == pytest.approx(due["metres_per_0_001_minute_of_latitude"], abs=0.02)
    assert distance(0, at, 0, at + 1 / 3600) == pytest.approx(due["metres_per_1_second"], abs=0.05)


def test_a_position_reads_latitude_first_with_marks():
    """A longitude that divers take for a latitude."""
    assert position_text(-64.835, 18.2539, "DDM", 4) == "18° 15.2340′ N, 064° 50.1000′ W"
    assert position_text(-64.835, 18.2539, "DD") == "18.253900° N, 64.835000° W"
    assert position_text(-64.835, 18.2539, "DMS", 0) == "18° 15′ 14″ N, 064° 50′ 06″ W"


@pytest.mark.parametrize(("value", "axis"), [(90.1, "lat"), (-180.01, "lon"), (float("nan"), "lat")])
def test_a_value_off_the_globe_is_refused(value, axis):
    """A swapped pair printed as if it were a place."""
    with pytest.raises(InputFault, match=rf"{axis}: .*due: .* degrees. Check order and sign"):
        angle_text(value, axis, "DD")


@given(
    st.floats(-180, 180),
    st.floats(-90, 90),
    st.sampled_from([("DD", 7), ("DDM", 5), ("DMS", 3)]),
    st.booleans(),
)
def test_what_is_written_reads_back_as_the_same_place(lon, lat, style, marks):
    """A notation that writing and reading understand differently."""
    got = read_position(position_text(lon, lat, *style, marks=marks))
    assert got.lat == pytest.approx(lat, abs=2e-7)
    assert got.lon == pytest.approx(lon, abs=2e-7)


@given(st.floats(-180, 180), st.sampled_from(["DD", "DDM", "DMS"]))
def test_minutes_and_seconds_never_reach_sixty(lon, style):
    """Rounding after splitting."""
    numbers = [float(n) for n in angle_text(lon, "lon", style, 2, marks=False).split()[:-1]]
    assert all(n < 60 for n in numbers[1:])
    assert read_angle(angle_text(lon, "lon", style, 4), "lon") == pytest.approx(lon, abs=1e-4)
