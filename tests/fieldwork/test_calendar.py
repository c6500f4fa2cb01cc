"""Dates that may be worked on, and the tide on them."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.calendar import Window, season_dates, tide_range, tide_windows

MAY4 = datetime.date(2026, 5, 4)  # a Monday
HOURS = np.datetime64("2026-05-04T00:00", "m") + np.arange(25) * np.timedelta64(60, "m")
WAVE = 0.5 * np.sin(2 * np.pi * np.arange(25) / 12.0)  # half-daily, ±0.5 m


def at(clock: str) -> np.datetime64:
    return np.datetime64(f"2026-05-04T{clock}", "m")


def test_every_reason_for_a_closed_day_is_named() -> None:
    """A day that is dropped without a reason cannot be argued about."""
    dates = season_dates(
        MAY4, MAY4 + datetime.timedelta(days=6), weekdays=["Mon", "Tue", "Wed"],
        windows=[Window(MAY4, MAY4, "spawning")], lost=[datetime.date(2026, 5, 5)],
    )  # fmt: skip
    reasons = [d.reason for d in dates]
    assert reasons[0] == "spawning (2026-05-04 to 2026-05-04)"
    assert reasons[1:4] == ["lost", "", "no boat on Thu"]
    assert len(dates) == 7


def test_closed_months_close_every_day_of_them() -> None:
    """Work planned into the heat of August would kill what is planted."""
    dates = season_dates(datetime.date(2026, 7, 30), datetime.date(2026, 9, 2), closed_months=[8])
    assert [d.date.isoformat() for d in dates if not d.reason] == [
        "2026-07-30",
        "2026-07-31",
        "2026-09-01",
        "2026-09-02",
    ]


@given(days=st.integers(0, 60), lost=st.integers(0, 60))
def test_a_lost_day_never_adds_work(days: int, lost: int) -> None:
    """More lost days leave fewer or as many open ones, each once."""
    last = MAY4 + datetime.timedelta(days=days)
    every = season_dates(MAY4, last)
    gone = [MAY4 + datetime.timedelta(days=k) for k in range(lost)]
    open_now = [d.date for d in season_dates(MAY4, last, lost=gone) if not d.reason]
    assert len(every) == days + 1
    assert len(open_now) == max(0, days + 1 - lost)


def test_impossible_seasons_are_refused_all_at_once() -> None:
    """Every slip in the dates is told in one go."""
    with pytest.raises(InputFault) as error:
        season_dates(
            MAY4, datetime.date(2026, 5, 1), weekdays=["Mo"], closed_months=[13],
            windows=[Window(MAY4, datetime.date(2026, 5, 3), "heat")],
        )  # fmt: skip
    text = str(error.value)
    assert "2026-05-01 is before 2026-05-04" in text
    assert "'Mo'; due: Mon" in text
    assert "13; due: 1 to 12" in text
    assert "heat: 2026-05-03 is before 2026-05-04" in text


def test_tide_range_of_a_sine_is_its_turns() -> None:
    """The low at 9 h and values at both ends must be found; a prediction at 03:00 is the high."""
    low, high = tide_range(HOURS, WAVE, at("02:00"), at("10:00")) or (9, 9)
    assert (low, high) == pytest.approx((-0.5, 0.5))
    assert tide_range(HOURS, WAVE, at("06:00"), at("06:30")) == pytest.approx((0.5 * WAVE[7], 0.0))


def test_hours_without_predictions_have_no_tide() -> None:
    """Repeating the last known tide would make one up."""
    assert tide_range(HOURS, WAVE, at("20:00"), np.datetime64("2026-05-05T03:00", "m")) is None
    assert tide_windows(HOURS, WAVE, at("20:00"), np.datetime64("2026-05-05T03:00", "m"), least_m=0) is None
    assert tide_range(HOURS[:1], WAVE[:1], at("00:00"), at("00:00")) is None


def test_tide_windows_hold_the_limits() -> None:
    """A window in which the tide stands outside the team's limits sends divers into the surf."""
    found = tide_windows(HOURS, WAVE, at("00:00"), at("12:00"), least_m=0.0)
    assert found == [(at("00:00"), at("06:00")), (at("12:00"), at("12:00"))]
    assert tide_windows(HOURS, WAVE, at("00:00"), at("12:00"), least_m=0.6) == []
    for a, b in tide_windows(HOURS, WAVE, at("00:00"), at("12:00"), least_m=0.2, greatest_m=0.4) or []:
        low, high = tide_range(HOURS, WAVE, a, b) or (9, 9)
        assert low >= 0.2 - 1e-6
        assert high <= 0.4 + 1e-6
