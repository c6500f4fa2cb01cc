"""Due dates: the two published figures, ends of months, refusals."""

from __future__ import annotations

import datetime
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import cite, shared_file
from sitekit.errors import InputFault
from sitekit.survey.schedule import EARLY_DAYS, MONTHS, MONTHS_FROM_THE_FIRST, due_dates

TRADE: dict[str, Any] = {r["id"]: r for r in json.loads(shared_file("reference/trade_survey.json").read_text("utf-8"))}
MAY1 = datetime.date(2027, 5, 1)


def test_default_months_are_the_published_ones() -> None:
    """TV-101: a visit left out, or the other reading taken unsaid."""
    use = TRADE["TV-101"]["use"]
    assert ", ".join(map(str, MONTHS)) + " months" in use
    assert ", ".join(map(str, MONTHS_FROM_THE_FIRST[:3])) in use
    assert "quarterly to 18 months" in TRADE["TV-101"]["value"]
    assert max(MONTHS) == 18
    assert max(MONTHS_FROM_THE_FIRST) <= 18
    assert cite("johnson-2011").verified


def test_early_visit_is_the_published_one() -> None:
    """TV-102: a first look after a month finds what came loose long gone."""
    assert TRADE["TV-102"]["value"] == "1-2 weeks"
    assert EARLY_DAYS == (7, 14)
    first, last, label = due_dates(MAY1)[0]
    assert ((first - MAY1).days, (last - MAY1).days, label) == (7, 14, "7-14 days")
    assert cite("workshop-2015-outplanting").verified


def test_a_season_has_its_dates_and_labels() -> None:
    """Months counted as 30 days would drift by a week in 18 months."""
    found = [(str(v.first), v.label) for v in due_dates(MAY1)]
    assert found == [
        ("2027-05-08", "7-14 days"), ("2027-06-01", "1 month"), ("2027-08-01", "3 months"), ("2027-11-01", "6 months"),
        ("2028-02-01", "9 months"), ("2028-05-01", "12 months"), ("2028-08-01", "15 months"), ("2028-11-01", "18 months"),
    ]  # fmt: skip
    assert all(v.first == v.last for v in due_dates(MAY1)[1:])


@pytest.mark.parametrize(
    ("planted", "months", "due"),
    [
        ("2027-01-31", 1, "2027-02-28"),
        ("2028-01-31", 1, "2028-02-29"),
        ("2027-08-31", 18, "2029-02-28"),
        ("2027-12-31", 1, "2028-01-31"),
        ("2027-12-15", 12, "2028-12-15"),
        ("2028-02-29", 12, "2029-02-28"),
    ],
)
def test_a_day_that_a_month_lacks_is_its_last(planted: str, months: int, due: str) -> None:
    """31 February would stop the plan, or the visit slip into the next month or year."""
    (found,) = due_dates(datetime.date.fromisoformat(planted), months=[months], early_days=None)
    assert str(found.first) == due


@given(st.dates(datetime.date(1990, 1, 1), datetime.date(2100, 1, 1)), st.sets(st.integers(1, 60), max_size=9))
def test_visits_rise_and_never_come_early(planted: datetime.date, months: set[int]) -> None:
    """A day clamped in February would move every visit after it, or visits stand out of order."""
    visits = due_dates(planted, months=sorted(months, reverse=True))
    assert [v.first for v in visits] == sorted(v.first for v in visits)
    assert len(visits) == len(months) + 1
    for v in visits:
        if v.label.endswith(("month", "months")):
            count = int(v.label.split()[0])
            assert (v.first.year - planted.year) * 12 + v.first.month - planted.month == count
            assert v.first.day == planted.day or (v.first + datetime.timedelta(days=1)).day == 1


def test_visits_that_cannot_be_are_refused_all_at_once() -> None:
    """Month 0, half a month, a month twice or days turned round would each give some date."""
    with pytest.raises(InputFault) as error:
        due_dates(MAY1, months=[0, 1.5, 3, 3], early_days=(14, 7))  # type: ignore[list-item]
    text = str(error.value)
    assert len(error.value.faults) == 4
    for part in ("months: 0;", "months: 1.5;", "3 stands 2 times", "14 to 7 days"):
        assert part in text
    with pytest.raises(InputFault, match="none asked for"):
        due_dates(MAY1, months=[], early_days=None)
    with pytest.raises(InputFault) as late:
        due_dates(datetime.date(9999, 12, 25), months=[1])
    assert [f.where for f in late.value.faults] == ["months", "early days"]
