"""Bottom time: the published table row by row, the deeper row between, refusals."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.fieldwork.bottom_time import (
    NoStopTable,
    bottom_time,
    limit_for_print,
    no_stop_table,
    published_tables,
    within_depth_limit,
)

ROWS: dict[str, Any] = {r["id"]: r for r in json.loads(shared_file("reference/diving.json").read_text("utf-8"))}
REV7 = ROWS["dive-ndl-usn-rev7"]
PAIRS = list(zip(REV7["inputs"]["depth_fsw"], REV7["expected"]["no_stop_min"], strict=True))
TABLE = no_stop_table("usn-rev7")


@pytest.mark.parametrize(("feet", "minutes"), PAIRS, ids=[f"{f}fsw" for f, _ in PAIRS])
def test_each_row_of_the_published_table_is_read_as_printed(feet: float, minutes: Any) -> None:
    """One wrong minute in a shipped safety table is one too many."""
    due = math.inf if minutes == "unlimited" else float(minutes)
    assert TABLE.look_up(feet * 0.3048) == (feet, due)


@pytest.mark.parametrize(("feet", "row"), [(10.1, 15), (30.1, 40), (41, 50), (61, 70), (81, 100), (111, 130)])
def test_a_depth_between_rows_takes_the_deeper_row(feet: float, row: float) -> None:
    """Taking the nearer or shallower row allows too long a dive."""
    assert TABLE.look_up(feet * 0.3048)[0] == row


@given(a=st.floats(0, 57.9), b=st.floats(0, 57.9))
def test_no_deeper_dive_is_allowed_longer(a: float, b: float) -> None:
    """A table that is read wrongly somewhere shows as a time that rises with depth."""
    shallow, deep = sorted((a, b))
    assert TABLE.look_up(deep)[1] <= TABLE.look_up(shallow)[1]


def test_beyond_the_table_it_refuses() -> None:
    """A figure beyond the last row would be made up."""
    with pytest.raises(InputFault, match=r"60\.0 m \(197 ft\) is deeper than US Navy .* due: at most 190 ft"):
        TABLE.look_up(60.0)


def test_a_later_dive_without_the_supervisors_minutes_is_refused() -> None:
    """A single-dive table says nothing about a second dive."""
    with pytest.raises(InputFault, match="second dive of the day; due: minutes, typed in by the dive supervisor"):
        bottom_time(TABLE, 9.0, gas_min=60, first_of_day=False, supervisor_min=None)


def test_the_table_does_not_judge_later_dives() -> None:
    """Giving a later dive the table's time would look like a repetitive-dive plan."""
    later = bottom_time(TABLE, 17.0, gas_min=90.0, first_of_day=False, supervisor_min=40.0)
    assert (later.minutes, later.limited_by, later.table_min) == (40.0, "supervisor", None)


def test_the_smaller_of_gas_and_table_counts_and_rounds_down() -> None:
    """58.9 minutes of gas are 58 on a sheet."""
    by_gas = bottom_time(TABLE, 9.0, gas_min=58.9, first_of_day=True, supervisor_min=None)
    assert (by_gas.minutes, by_gas.limited_by, by_gas.table_min) == (58.0, "gas", 371.0)
    by_table = bottom_time(TABLE, 29.0, gas_min=40.0, first_of_day=True, supervisor_min=None)
    assert (by_table.minutes, by_table.limited_by, by_table.table_row_ft) == (25.0, "table", 100.0)


def test_no_minute_left_is_refused() -> None:
    """A dive of 0 minutes on a sheet is a trap."""
    with pytest.raises(InputFault, match=r"gas leaves no minute at 9\.0 m"):
        bottom_time(TABLE, 9.0, gas_min=0.4, first_of_day=True, supervisor_min=None)


def test_an_unknown_or_broken_table_is_refused() -> None:
    """A pasted table with a slip must not pass."""
    with pytest.raises(InputFault, match="'other'; due: usn-rev7"):
        no_stop_table("other")
    with pytest.raises(InputFault, match="due: not rising with depth"):
        NoStopTable("ours", (30, 40), (100, 200), "the team's")
    with pytest.raises(InputFault, match="due: rising, above 0"):
        NoStopTable("ours", (40, 30), (200, 100), "the team's")
    with pytest.raises(InputFault, match="2 depths, 1 times"):
        NoStopTable("ours", (30, 40), (200,), "the team's")


def test_shipped_tables_name_their_edition_and_what_to_check() -> None:
    """Published tables differ both ways; a table without a name cannot be checked."""
    for table in published_tables().values():
        assert "Rev 7" in table.name
        assert "Check against the original" in table.caveat
        assert table.source


@pytest.mark.parametrize(("limit", "due"), [(33.75, (33, 110)), (30.0, (30, 98)), (39.624, (39, 130))])
def test_depth_limits_round_down(limit: float, due: tuple[int, int]) -> None:
    """33.75 m must not print as 34 (reference row dive-mod's note)."""
    assert limit_for_print(limit) == due


def test_the_supervisors_depth_limit_is_kept() -> None:
    """A plot a hand deeper than the limit is outside."""
    assert within_depth_limit([9.0, 18.0, 18.01], 18.0) == [True, True, False]
    assert within_depth_limit([99.0], None) == [True]
