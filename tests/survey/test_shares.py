"""Shares, their differences and their yearly equal: published intervals, another hand, closed forms, refusals."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.survey.shares import annual_share, difference_interval, share_interval, two_sided_quantile


def reference(name: str) -> dict[str, Any]:
    return {row["id"]: row for row in json.loads(shared_file(f"reference/{name}.json").read_text("utf-8"))}


BINOMIAL = reference("binomial")
SINGLE = sorted(key for key in BINOMIAL if key.startswith("binom-ci-"))
YEAR = reference("survival")["survival-annualise"]
COUNTS = st.integers(1, 300).flatmap(lambda seen: st.tuples(st.integers(0, seen), st.just(seen)))


@pytest.mark.parametrize("key", SINGLE)
def test_interval_of_a_share_is_the_published_one(key: str) -> None:
    """A continuity correction, or the normal interval that is a point at 0 and 1, would be printed in its place."""
    row = BINOMIAL[key]
    found = share_interval(row["inputs"]["x"], row["inputs"]["n"], level=row["inputs"]["level"])
    assert found == pytest.approx(row["expected"]["wilson"], abs=row["tolerance"]["exact"])
    if "printed_wilson" in row["expected"]:
        assert found == pytest.approx(row["expected"]["printed_wilson"], abs=row["tolerance"]["printed"])


def test_interval_of_a_difference_is_the_published_one() -> None:
    """Ends of the two shares put together crosswise, or subtracted plainly, give a wider interval."""
    row = BINOMIAL["binom-diff-newcombe"]
    found = difference_interval(*(row["inputs"][k] for k in ("x1", "n1", "x2", "n2")))
    assert found == pytest.approx(row["expected"]["ci95"], abs=row["tolerance"]["exact"])
    assert found == pytest.approx(row["expected"]["printed"], abs=row["tolerance"]["printed"])


def test_yearly_share_is_that_of_the_check_value_and_not_a_death_rate_stretched() -> None:
    """A death rate times 365/200 would say 32.9 % lost in place of 30.4 %."""
    (share,), (days,) = YEAR["inputs"]["survival"], YEAR["inputs"]["days"]
    assert annual_share(share, days) == pytest.approx(YEAR["expected"]["annual"][0], abs=YEAR["tolerance"]["abs"])
    assert abs(annual_share(share, days) - (1 - (1 - share) * 365 / days)) > 0.02


@given(COUNTS, st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_interval_agrees_with_another_hand_and_holds_the_share(counts: tuple[int, int], level: float) -> None:
    """A slip in the formula that the seven published rows do not reach, or an end beyond 0 or 1."""
    alive, seen = counts
    low, high = share_interval(alive, seen, level=level)
    other = binomtest(alive, seen).proportion_ci(level, method="wilson")
    assert (low, high) == pytest.approx((other.low, other.high), abs=1e-9)
    assert 0 <= low <= alive / seen <= high <= 1


@given(COUNTS, st.integers(2, 5))
def test_more_units_of_the_same_share_narrow_its_interval(counts: tuple[int, int], factor: int) -> None:
    """The interval would not depend on how many were looked at."""
    low, high = share_interval(*counts)
    nearer, nigher = share_interval(counts[0] * factor, counts[1] * factor)
    assert nigher - nearer < high - low


@given(COUNTS, COUNTS)
def test_difference_holds_the_two_shares_and_turns_with_their_order(one: tuple[int, int], two: tuple[int, int]) -> None:
    """The sign, or the ends taken from the wrong group."""
    low, high = difference_interval(*one, *two)
    difference = one[0] / one[1] - two[0] / two[1]
    assert -1 <= low <= difference + 1e-12
    assert difference - 1e-12 <= high <= 1
    assert difference_interval(*two, *one) == pytest.approx((-high, -low), abs=1e-12)


@given(st.floats(0, 1), st.floats(1, 3000), st.floats(1, 3000))
def test_yearly_share_does_not_depend_on_how_a_steady_loss_is_cut(year: float, first: float, second: float) -> None:
    """Two spans at one rate of loss would be given two yearly shares."""
    for days in (first, second, 365.0):
        assert (
            annual_share(year ** (days / 365), days) == pytest.approx(year, abs=1e-6) or year ** (days / 365) < 1e-300
        )


@pytest.mark.parametrize(
    ("alive", "seen", "due"),
    [(6, 5, "0 to 5 alive"), (-1, 5, "0 to 5 alive"), (0, 0, "1 or more"), (2.5, 5, "whole numbers")],
)
def test_counts_that_give_no_share_are_refused(alive: float, seen: int, due: str) -> None:
    """More alive than seen would give a share above 1; none seen would be called a share."""
    with pytest.raises(InputFault, match=due):
        share_interval(alive, seen)  # type: ignore[arg-type]


def test_both_groups_of_a_difference_are_refused_at_once() -> None:
    """A second fault would show only after the first was mended."""
    with pytest.raises(InputFault) as error:
        difference_interval(6, 5, math.nan, 5)  # type: ignore[arg-type]
    assert [f.where for f in error.value.faults] == ["first group", "second group"]


def test_percent_for_shares_and_days_that_are_none_are_refused() -> None:
    """95 for 0.95, or a visit on the planting day brought to a year."""
    with pytest.raises(InputFault, match=r"95; due: a number between 0 and 1\. Give 0\.95"):
        share_interval(1, 2, level=95)
    with pytest.raises(InputFault) as error:
        annual_share(82, 0)
    assert [f.where for f in error.value.faults] == ["share", "days"]
    assert two_sided_quantile(0.95) == pytest.approx(1.959963984540054, abs=1e-12)
