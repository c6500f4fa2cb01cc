"""Positions read from text: every usual spelling, and what must not be guessed."""

import json

import pytest

from sitekit.base.positions import read_angle, read_position
from sitekit.base.sources import shared_file
from sitekit.errors import InputFault

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/coordinate_format.json").read_text("utf-8"))}
PARSED = ROWS["ddm-parse"]
HERE = (-64.835, 18.2539)


@pytest.mark.parametrize(
    ("text", "due"), list(zip(PARSED["inputs"]["text"], PARSED["expected"]["deg"], strict=True)), ids=str
)
def test_coordinates_of_the_reference_row_are_read(text, due):
    """A half read as whole degrees, or a southern one as northern."""
    axis = "lat" if text.rstrip()[-1] in "NS" else "lon"
    assert read_angle(text, axis) == pytest.approx(due, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "18.2539, -64.835",
        "18.2539 -64.835",
        "18,2539; -64,835",
        "18.2539 N, 64.835 W",
        "64.835 W, 18.2539 N",
        "N18.2539 W64.835",
        "18° 15.234′ N, 64° 50.1′ W",
        "18 15.234 N 64 50.100 W",
        "18°15'14.04\"N 64°50'06\"W",
        "18º15’14.04”N, 064º50’06”W",
        "18:15:14.04N 64:50:06W",
        "+18.2539-064.835/",
        "+181514.04-0645006/",
        "lat 18.2539 lon -64.835",
        "Latitude: 18.2539° North, Longitude: 64.835° West",
        "18.2539, 295.165",
        "18.2539°N 64.835°W",
        "18.2539, −64.835",
    ],
)
def test_usual_spellings_give_one_place(text):
    """A spelling found on boats that is refused or read as elsewhere."""
    assert read_position(text) == pytest.approx(HERE, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("-64.835, 18.2539 N", "one letter of N or S and one of E or W"),
        ("120.5, 18.2", "look swapped"),
        ("-18.2 S, 64.8 W", "both a sign and a letter"),
        ("18.2 N, 64.8 O", "uses the letter O"),
        ("18 60.000 N, 64 50.1 W", "minutes or seconds.*stay below 60"),
        ("18.5 15.2 N, 64 50.1 W", "decimals before the last part"),
        ("91 N, 64 W", "off the globe"),
        ("somewhere on the reef", "Write numbers, marks and N S E W only"),
        ("18.2539", "not two coordinates"),
        ("", "not two coordinates"),
        ("18°15″14′ N, 64 W", "marks in another order"),
        ("18 N, 64 N", "one letter of N or S and one of E or W"),
        ("1 2 3 4 N, 64 W", "4 numbers where a coordinate has 1 to 3"),
        ("+123-0645/", "lat of 3 digits"),
    ],
)
def test_doubtful_text_is_refused_with_its_place(text, said):
    """A guess where the text leaves a doubt."""
    with pytest.raises(InputFault, match=rf"(?s)sites\.csv, line 3: .*({said})"):
        read_position(text, "sites.csv, line 3")


@pytest.mark.parametrize(
    ("text", "axis", "said"),
    [
        ("64.8 W", "lat", "columns look swapped"),
        ("120", "lat", "beyond ±90"),
        ("18.2 N", "lon", "columns look swapped"),
    ],
)
def test_a_coordinate_of_the_other_axis_is_refused(text, axis, said):
    """Swapped columns of a table."""
    with pytest.raises(InputFault, match=said):
        read_angle(text, axis)
