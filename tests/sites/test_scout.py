"""Forms come back as they were filled in; every fault is told at once; a wrong code is kept."""

from __future__ import annotations

import pytest

from sitekit.errors import InputFault
from sitekit.sites.scout import BOTTOM_POINTS, FORM_COLUMNS, read_forms

CLASSES = ["Coral Reef Substrate", "Coral Rubble", "Coral Sand"]


def form(**given: str) -> dict[str, str]:
    filled = {"site": "A", "longitude_deg": "-50.3", "latitude_deg": "18.05", "date": "2026-03-02", "observer": "me"}
    return {**dict.fromkeys(FORM_COLUMNS, ""), **filled, **given}


def test_a_form_is_read_as_written() -> None:
    """Depth below the datum = depth by computer − height of tide: 6.4 − 0.4 = 6.0 m."""
    row = form(
        depth_m="6.4", depth_time="10:20", tide_m="0.4", bottom_north="coral rubble", go="No-Go", predators="7 snails"
    )
    found = read_forms([row], ["A"], CLASSES)[0]
    assert found.charted_depth_m == pytest.approx(6.0)
    assert found.bottom == {"north": "Coral Rubble"}
    assert (found.go, found.known, found.words) == ("no-go", True, {"predators": "7 snails"})


def test_a_depth_without_tide_is_kept_and_not_reduced() -> None:
    """A computer at high water reads deeper than the chart; without the tide nobody knows by how much."""
    found = read_forms([form(depth_m="6.4")], ["A"], CLASSES)[0]
    assert found.depth_m == 6.4
    assert found.charted_depth_m is None


def test_blank_forms_are_left_out_and_wrong_codes_kept() -> None:
    """A form that nobody filled in is no answer; one with a wrong code was somebody's dive."""
    rows = [form(site="A", date="", observer=""), form(site="Q7", go="go")]
    found = read_forms(rows, ["A"], CLASSES)
    assert [(f.site, f.known, f.line) for f in found] == [("Q7", False, 3)]


def test_every_fault_of_a_file_is_told_at_once() -> None:
    """Typing a sheet twice costs an evening; typing it five times costs the trip."""
    rows = [
        form(date="2.3.26", depth_m="six", bottom_west="lava", go="maybe", macroalgae_pct="130", observer=""),
        form(),
        form(),
    ]
    with pytest.raises(InputFault) as caught:
        read_forms(rows, ["A"], CLASSES)
    said = " | ".join(f"{f.where}: {f.came}" for f in caught.value.faults)
    for part in ("observer", "'2.3.26'", "'six'", "'lava'", "'maybe'", "130", "lines 2, 3, 4"):
        assert part in said


def test_a_missing_column_is_named() -> None:
    """A spreadsheet that lost a column must not lose it silently."""
    row = form()
    del row["go"]
    with pytest.raises(InputFault, match="'go' is missing"):
        read_forms([row], ["A"], CLASSES)


def test_looks_are_taken_around_the_waypoint() -> None:
    """Five looks: the middle, and one each way."""
    assert BOTTOM_POINTS["centre"] == (0, 0)
    assert sorted(BOTTOM_POINTS.values()) == [(-1, 0), (0, -1), (0, 0), (0, 1), (1, 0)]
