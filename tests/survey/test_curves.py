"""Curves of the share alive and the test between groups: published rows, lifelines, closed forms, refusals."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2 as chi_square

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.survey.curves import SurvivalCurve, interval_at, log_rank, share_at, survival_curve

ROWS: dict[str, Any] = {r["id"]: r for r in json.loads(shared_file("reference/survival.json").read_text("utf-8"))}
TRADE: dict[str, Any] = {r["id"]: r for r in json.loads(shared_file("reference/trade_survey.json").read_text("utf-8"))}
UNITS = st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=60)


def columns(units: list[tuple[int, bool]]) -> tuple[list[int], list[bool]]:
    return [day for day, _ in units], [died for _, died in units]


def tied(rng: np.random.Generator, n: int, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Units that die at one rate, looked at every 30 days to 360, with some lost from sight."""
    death = rng.exponential(1 / rate, n)
    lost = np.minimum(rng.exponential(400, n), 360)
    return np.ceil(np.minimum(death, lost) / 30) * 30, death <= lost


@pytest.mark.parametrize("key", ["survival-km-6mp", "survival-km-monitoring"])
def test_every_step_of_the_curve_is_the_published_one(key: str) -> None:
    """A unit censored on the day of a death would be left out of those at risk, or another interval be printed."""
    row = ROWS[key]
    inputs, due, within = row["inputs"], row["expected"], row["tolerance"]["abs"]
    curve = survival_curve(inputs.get("time", inputs.get("days")), inputs.get("event", inputs.get("died")))
    assert curve.days.tolist() == [s["time"] for s in due["steps"]]
    assert curve.at_risk.tolist() == [s["at_risk"] for s in due["steps"]]
    assert curve.deaths.tolist() == [s["events"] for s in due["steps"]]
    assert curve.share == pytest.approx([s["S"] for s in due["steps"]], abs=within)
    assert curve.standard_error == pytest.approx([s["se_greenwood"] for s in due["steps"]], abs=within)
    ends = np.array([s["ci95_loglog"] for s in due["steps"]])
    assert curve.low == pytest.approx(ends[:, 0], abs=within)
    assert curve.high == pytest.approx(ends[:, 1], abs=within)
    if "printed_S" in due:
        assert curve.share == pytest.approx(due["printed_S"], abs=row["tolerance"]["printed"])
        assert curve.median_days == due["median"]


def test_deaths_by_units_planted_are_not_the_share_alive() -> None:
    """6 of 12 dead would be called 50 % alive, though 3 of the others were not followed to day 180."""
    inputs = ROWS["survival-km-monitoring"]["inputs"]
    curve = survival_curve(inputs["days"], inputs["died"])
    assert share_at(curve, 180) == pytest.approx(0.4125, abs=1e-12)
    assert abs(share_at(curve, 180) - (1 - np.mean(inputs["died"]))) > 0.08


def test_two_groups_differ_as_published() -> None:
    """A variance without (n − d)/(n − 1) for ties moves the statistic."""
    row = ROWS["survival-logrank"]
    groups = {name: (g["time"], g["event"]) for name, g in row["inputs"].items()}
    found = log_rank(groups)
    assert found.chi2 == pytest.approx(row["expected"]["chi2"], abs=row["tolerance"]["abs"])
    assert found.chi2 == pytest.approx(row["expected"]["printed_chi2"], abs=row["tolerance"]["printed"])
    assert found.p == pytest.approx(row["expected"]["p"], rel=1e-6)
    assert found.degrees == 1
    assert survival_curve(*groups["group2"]).median_days == row["expected"]["median_group2"]


def test_share_between_two_days_is_the_published_one() -> None:
    """TV-107: 92 % at 3 months and 76 % at 11 must come to 0.826 between them, as units alive at 3 months see it."""
    assert "92% at 3 months; >76% at 11 months" in TRADE["TV-107"]["value"]
    curve = survival_curve([90] * 80 + [330] * 920, [True] * 80 + [True] * 160 + [False] * 760)
    assert share_at(curve, 90) == pytest.approx(0.92)
    assert f"{share_at(curve, 330) / share_at(curve, 90):.3f}" in TRADE["TV-107"]["use"]


@pytest.mark.parametrize("seed", range(6))
def test_curve_with_many_ties_agrees_with_another_hand(seed: int) -> None:
    """Ties between deaths and units lost on one day fall in the wrong order."""
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(seed)
    level = (0.8, 0.9, 0.95)[seed % 3]
    days, died = tied(rng, int(rng.integers(20, 300)), 1 / 250)
    other = KaplanMeierFitter(alpha=1 - level).fit(days, died)
    curve = survival_curve(days, died, level=level)
    whole = curve.share > 0
    table = other.event_table.loc[curve.days]
    assert curve.at_risk.tolist() == table["at_risk"].tolist()
    assert curve.deaths.tolist() == table["observed"].tolist()
    assert curve.share == pytest.approx(other.survival_function_at_times(curve.days).to_numpy(), abs=1e-12)
    greenwood = np.sqrt(other._cumulative_sq_.loc[curve.days].to_numpy().ravel()) * curve.share
    assert curve.standard_error[whole] == pytest.approx(greenwood[whole], abs=1e-12)
    ends = other.confidence_interval_.loc[curve.days].to_numpy()
    assert curve.low[whole] == pytest.approx(ends[whole, 0], abs=1e-9)
    assert curve.high[whole] == pytest.approx(ends[whole, 1], abs=1e-9)
    assert math.isinf(other.median_survival_time_) or curve.median_days == other.median_survival_time_


@pytest.mark.parametrize("sizes", [(40, 60, 80), (3, 200, 90), (25, 30, 35, 40, 5)])
def test_several_groups_agree_with_another_hand(sizes: tuple[int, ...]) -> None:
    """Covariances between groups left out would make three groups look more unlike, or less."""
    from lifelines.statistics import multivariate_logrank_test

    rng = np.random.default_rng(sum(sizes))
    groups = {f"g{k}": tied(rng, n, 1 / (150 + 100 * k)) for k, n in enumerate(sizes)}
    found = log_rank(groups)
    days, died = (np.concatenate([g[i] for g in groups.values()]) for i in (0, 1))
    other = multivariate_logrank_test(days, np.repeat(list(groups), sizes), died)
    assert found.chi2 == pytest.approx(other.test_statistic, rel=1e-9)
    assert found.p == pytest.approx(other.p_value, rel=1e-6)
    assert found.degrees == len(sizes) - 1
    assert sum(found.expected.values()) == pytest.approx(sum(found.observed.values()))


@given(UNITS)
def test_share_falls_within_its_interval_and_order_says_nothing(units: list[tuple[int, bool]]) -> None:
    """The curve would rise, leave its interval, or change with the order of rows."""
    curve, turned = survival_curve(*columns(units)), survival_curve(*columns(units[::-1]))
    assert (np.diff(np.concatenate([[1.0], curve.share])) < 0).all()
    whole = curve.share > 0
    assert (curve.low[whole] <= curve.share[whole]).all()
    assert (curve.high[whole] >= curve.share[whole]).all()
    assert ((curve.low[whole] >= 0) & (curve.high[whole] <= 1)).all()
    for name in ("days", "at_risk", "deaths", "share", "standard_error", "low", "high"):
        assert np.array_equal(getattr(curve, name), getattr(turned, name), equal_nan=True)
    assert curve.deaths.sum() == sum(died for _, died in units)


@given(st.lists(st.integers(0, 30), min_size=1, max_size=50), st.integers(0, 29))
def test_units_all_followed_to_death_give_the_plain_share(days: list[int], day: int) -> None:
    """Where nobody was lost from sight the share alive is units alive by units planted, with its usual error."""
    curve = survival_curve(days, [True] * len(days))
    plain = sum(d > day for d in days) / len(days)
    assert share_at(curve, day) == pytest.approx(plain, abs=1e-12)
    step = np.searchsorted(curve.days, day, side="right") - 1
    if 0 < plain < 1:
        assert curve.standard_error[step] == pytest.approx(math.sqrt(plain * (1 - plain) / len(days)), abs=1e-12)
    assert share_at(curve, 1e6) == 0.0


@given(UNITS, UNITS)
def test_test_of_two_groups_is_the_square_of_its_one_sum(
    one: list[tuple[int, bool]], two: list[tuple[int, bool]]
) -> None:
    """The matrix form must come to the textbook sum of two groups, whichever stands first."""
    found, turned = log_rank({"a": columns(one), "b": columns(two)}), log_rank({"b": columns(two), "a": columns(one)})
    excess = spread = 0.0
    for day in {d for d, died in one + two if died}:
        n, n1 = (sum(d >= day for d, _ in g) for g in (one + two, one))
        m, m1 = (sum(d == day and died for d, died in g) for g in (one + two, one))
        excess += m1 - m * n1 / n
        spread += m * (n1 / n) * (1 - n1 / n) * (n - m) / (n - 1) if n > 1 else 0.0
    if spread > 1e-12:
        assert found.chi2 == pytest.approx(excess**2 / spread, abs=1e-8, rel=1e-8)
        assert found.p == pytest.approx(chi_square.sf(found.chi2, 1), rel=1e-9)
    else:
        assert math.isnan(found.chi2)
        assert found.degrees == 0
    assert turned.chi2 == pytest.approx(found.chi2, abs=1e-9, nan_ok=True)


def test_a_group_that_was_never_at_risk_takes_no_degree_of_freedom() -> None:
    """A genet of which nothing was seen after planting would weaken the test between the others."""
    rng = np.random.default_rng(3)
    two = {"a": tied(rng, 50, 1 / 100), "b": tied(rng, 50, 1 / 300)}
    three = log_rank({**two, "lost": ([0, 0], [False, False])})
    assert three.degrees == 1
    assert three.chi2 == pytest.approx(log_rank(two).chi2)
    assert three.expected["lost"] == 0


@pytest.mark.parametrize(
    "groups",
    [{"a": ([9, 9], [0, 0]), "b": ([9], [0])}, {"a": ([5, 5], [1, 1]), "b": ([5], [1])}],
    ids=["no deaths", "all on one day"],
)
def test_groups_that_cannot_be_told_apart_have_no_p(groups: dict[str, Any]) -> None:
    """A division of nothing by nothing would stop the report of a good season, or print p = 0."""
    found = log_rank(groups)
    assert found.degrees == 0
    assert math.isnan(found.chi2)
    assert math.isnan(found.p)


def step_curve() -> SurvivalCurve:
    return survival_curve([30, 30, 60, 90], [True, False, True, False])


def test_curve_is_read_as_steps_and_never_beyond_its_last_day() -> None:
    """A share would be drawn between two deaths, or carried on to a day that nobody saw."""
    curve = step_curve()
    assert [share_at(curve, d) for d in (0, 29.9, 30, 59, 60, 90)] == pytest.approx([1, 1, 0.75, 0.75, 0.375, 0.375])
    assert math.isnan(share_at(curve, 90.5))
    assert interval_at(curve, 45) == (curve.low[0], curve.high[0])
    assert all(math.isnan(end) for day in (10, 91) for end in interval_at(curve, day))
    assert (curve.units, curve.last_day) == (4, 90)


def test_a_curve_without_deaths_and_one_without_survivors_have_their_limits() -> None:
    """0/0 would stop the report, or an error of 0 be printed for the last unit that died."""
    none = survival_curve([30, 60], [False, False])
    assert none.days.size == 0
    assert math.isnan(none.median_days)
    assert share_at(none, 60) == 1.0
    every = survival_curve([30, 60], [True, True])
    assert every.share.tolist() == [0.5, 0.0]
    assert every.median_days == 30
    assert math.isnan(every.standard_error[-1])
    assert math.isnan(every.low[-1])
    assert not math.isnan(every.low[0])


@pytest.mark.parametrize("n", [2, 24, 38, 46, 88, 102])
def test_median_is_reached_at_exactly_one_half(n: int) -> None:
    """A product of fractions that ends 1e-16 above one half would put the median at the next death."""
    days = list(range(1, n + 1))
    assert survival_curve(days, [True] * n).median_days == n / 2


def test_units_that_cannot_be_read_are_refused_all_at_once() -> None:
    """A negative day, a share in place of died, a lost row and an empty group would each give some curve."""
    with pytest.raises(InputFault, match=r"days -1 in row 0, nan in row 2; due: numbers of 0 or more") as error:
        survival_curve([-1, 3, math.nan], [0, 1, 0.5])
    assert len(error.value.faults) == 2
    with pytest.raises(InputFault, match="one or more"):
        survival_curve([], [])
    with pytest.raises(InputFault) as several:
        log_rank({"a": ([1, 2], [1]), "b": ([], []), "c": ([-5], [1])})
    assert [f.where for f in several.value.faults] == ["group 'a'", "group 'b'", "group 'c'"]
    with pytest.raises(InputFault, match="two or more"):
        log_rank({"a": ([1, 2], [1, 0])})
    with pytest.raises(InputFault, match="0 or more days"):
        share_at(step_curve(), -1)
    with pytest.raises(InputFault, match=r"Give 0\.95"):
        survival_curve([1], [1], level=95)
