"""Wind and swell tables, and the table of an hourly series."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.seabed.wind import SwellTable, WindTable, table_from_hours


def test_a_table_that_does_not_sum_to_one_is_refused():
    """Missing time would be lost."""
    with pytest.raises(InputFault, match=r"the shares sum to 0.9; due: 1 \(within 0.005\)"):
        WindTable([0, 90], [5, 5], [0.5, 0.4])


def test_every_fault_of_a_table_is_told():
    """A user would correct one per run."""
    with pytest.raises(InputFault) as caught:
        WindTable([-10, 90], [5, 500], [40, 60])
    text = str(caught.value)
    assert "-10; due: 0 to 360 degrees" in text
    assert "500; due: 0 to 90 m/s" in text
    assert "Divide percent by 100" in text


def test_a_swell_without_period_is_refused():
    """Division by zero."""
    with pytest.raises(InputFault, match=r"swell table: period_s: 1 values such as 0; due: 0.5 to 30 s"):
        SwellTable([90], [1.0], [0.0], [1.0])


def test_rounded_shares_are_scaled_to_one_and_north_has_one_name():
    """0 and 360 would be two directions."""
    table = WindTable([360, 90, 180], [5, 5, 5], [0.333, 0.333, 0.333])
    assert table.direction_deg[0] == 0.0
    assert table.share.sum() == pytest.approx(1.0, abs=1e-15)
    swell = SwellTable([360], [1.0], [9.0], [0.998])
    assert swell.share.tolist() == [1.0]


hours = st.lists(st.tuples(st.floats(0, 360), st.floats(0, 50)), min_size=1, max_size=40)


@given(hours, st.integers(8, 36))
def test_hours_and_table_hold_the_same_mean_wind(rows, sectors):
    """Hours lost between classes would show."""
    direction, speed = np.array(rows).T
    table, summary = table_from_hours(direction, speed, sectors=sectors)
    assert float(table.speed_ms @ table.share) == pytest.approx(speed.mean(), abs=1e-9)
    assert summary.missing == 0
    calm = table.share[table.speed_ms == 0].sum()
    assert calm == pytest.approx(np.mean(speed == 0), abs=1e-12)


@given(hours)
def test_the_order_of_hours_does_not_matter(rows):
    """A running class would show."""
    direction, speed = np.array(rows).T
    one, _ = table_from_hours(direction, speed)
    two, _ = table_from_hours(direction[::-1], speed[::-1])
    np.testing.assert_allclose(one.share, two.share)
    np.testing.assert_array_equal(one.direction_deg, two.direction_deg)


def test_north_is_one_sector_on_both_sides_of_zero():
    """Half of the north wind would be its own row."""
    table, _ = table_from_hours([350.0, 10.0], [5.0, 5.0])
    assert table.direction_deg.tolist() == [0.0]


def test_missing_hours_are_counted_and_too_many_refused():
    """A station that fails in storms would look calm."""
    nan = float("nan")
    _, summary = table_from_hours([90, 90, 90, 90, nan], [5, 5, 5, 5, 5])
    assert summary.missing == 1
    with pytest.raises(InputFault, match=r"2 of 3 hours missing; due: at most 25%"):
        table_from_hours([90, nan, nan], [5, 5, nan])


def test_a_fill_value_among_directions_is_refused():
    """999 would turn to some sector."""
    with pytest.raises(InputFault, match=r"1 values such as 999.0; due: 0 to 360 degrees"):
        table_from_hours([90, 999], [5, 5])
