"""The share alive over time where some units were lost from sight, and whether groups of units differ."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from sitekit.errors import Fault, Faults, InputFault
from sitekit.survey.shares import two_sided_quantile

Floats = NDArray[np.float64]
# A product of fractions can end 1e-16 beside one half; no two shares of a survey lie that near.
_HALF = 0.5 + 1e-12


@dataclass(frozen=True, eq=False)
class SurvivalCurve:
    """The share alive, a step down at each day on which a unit died.

    Parameters
    ----------
    days : ndarray of float64, shape (steps,)
        Days after planting on which a unit died, rising; empty if none did.
    at_risk, deaths : ndarray of int64, shape (steps,)
        Units still followed and alive just before that day, and those that died on it. A unit last seen on that day
        is still at risk.
    share : ndarray of float64, shape (steps,)
        Share alive from that day on, 0-1.
    standard_error : ndarray of float64, shape (steps,)
        Of the share, by Greenwood's formula; NaN once the share is 0.
    low, high : ndarray of float64, shape (steps,)
        Interval of the share at `level`, log-log; NaN once the share is 0.
    median_days : float
        First day on which the share is one half or less [days]; NaN if that was not reached.
    units : int
        All that went in.
    last_day : float
        Last day to which any unit was followed [days]; beyond it nothing is known.
    level : float
        Confidence level of the interval.
    """

    days: Floats
    at_risk: NDArray[np.int64]
    deaths: NDArray[np.int64]
    share: Floats
    standard_error: Floats
    low: Floats
    high: Floats
    median_days: float
    units: int
    last_day: float
    level: float


@dataclass(frozen=True)
class LogRank:
    """Whether groups of units died at unlike rates.

    Parameters
    ----------
    chi2 : float
        Statistic, ≥ 0; NaN if nothing can be compared.
    degrees : int
        Degrees of freedom: groups with a unit at risk at some death, less one; 0 if nothing can be compared.
    p : float
        Chance of so large a statistic if all groups die at one rate, 0-1; NaN if nothing can be compared.
    observed, expected : dict of str to float
        Deaths per group, and those due to it if all groups died at one rate; both have the same sum.
    """

    chi2: float
    degrees: int
    p: float
    observed: dict[str, float]
    expected: dict[str, float]


def survival_curve(days: ArrayLike, died: ArrayLike, *, level: float = 0.95) -> SurvivalCurve:
    """Return the share alive over time (Kaplan & Meier).

    Use it where units were lost from sight or planted on unlike dates: deaths divided by units planted counts a unit
    that nobody looked for as alive, and deaths divided by units seen forgets it.

    Parameters
    ----------
    days : array_like, shape (n,)
        How long each unit was followed, from planting to its death or to when it was last seen alive [days], ≥ 0.
    died : array_like of bool, shape (n,)
        Whether it died then.
    level : float
        Confidence level of the interval, between 0 and 1.

    Returns
    -------
    SurvivalCurve
        One row per day with a death.

    Raises
    ------
    InputFault
        If there are no units, the lengths differ, a day is negative or not finite, `died` is not of 0 and 1, or the
        level is not between 0 and 1.

    Notes
    -----
    With d deaths among n at risk on a day: S = Π (1 − d/n); Greenwood's variance S² Σ d/(n(n − d)). The interval is
    S^exp(±z s), s = √(Σ d/(n(n − d))) / |ln S|, which stays within 0 to 1. Before the first death S is 1 and neither
    has a value.
    Being lost from sight must say nothing about dying. Units are taken as independent; those of one plot are not.

    References
    ----------
    Kaplan & Meier 1958, J. Am. Stat. Assoc. 53; Greenwood 1926; Kalbfleisch & Prentice 2002 (interval).

    Examples
    --------
    >>> curve = survival_curve([30, 30, 60, 90], [True, False, True, False])
    >>> curve.share.round(3).tolist(), curve.median_days
    ([0.75, 0.375], 60.0)
    """
    z = two_sided_quantile(level)
    with Faults() as faults:
        followed, dead = _checked(faults, "units", days, died)
    at = np.unique(followed[dead])
    at_risk, deaths = _tally(at, followed, dead)
    share = np.asarray(np.cumprod((at_risk - deaths) / at_risk), np.float64)
    left = np.where(at_risk > deaths, at_risk - deaths, np.nan)
    summed = np.asarray(np.cumsum(deaths / (at_risk * left)), np.float64)
    log_share = np.log(np.where(share > 0, share, np.nan))
    reach = np.exp(z * np.sqrt(summed) / -log_share)
    halved = np.flatnonzero(share <= _HALF)
    return SurvivalCurve(
        days=at,
        at_risk=at_risk,
        deaths=deaths,
        share=share,
        standard_error=share * np.sqrt(summed),
        low=np.exp(log_share * reach),
        high=np.exp(log_share / reach),
        median_days=float(at[halved[0]]) if halved.size else math.nan,
        units=int(followed.size),
        last_day=float(followed.max()),
        level=level,
    )


def share_at(curve: SurvivalCurve, day: float) -> float:
    """Return the share alive on a day after planting.

    Parameters
    ----------
    curve : SurvivalCurve
        From `survival_curve`.
    day : float
        [days], ≥ 0.

    Returns
    -------
    float
        0-1; on a day with deaths, after them. NaN beyond the last day to which any unit was followed, unless all have
        died: a curve is not carried on.

    Raises
    ------
    InputFault
        If the day is negative or not finite.

    Examples
    --------
    >>> curve = survival_curve([30, 30, 60, 90], [True, False, True, False])
    >>> [round(share_at(curve, day), 3) for day in (29, 30, 90, 91)]
    [1.0, 0.75, 0.375, nan]
    """
    step = _step(curve, day)
    share = 1.0 if step < 0 else float(curve.share[step])
    return math.nan if day > curve.last_day and share > 0 else share


def interval_at(curve: SurvivalCurve, day: float) -> tuple[float, float]:
    """Return the interval of the share alive on a day after planting, at the curve's level.

    Parameters
    ----------
    curve : SurvivalCurve
        From `survival_curve`.
    day : float
        [days], ≥ 0.

    Returns
    -------
    (float, float)
        0-1; both NaN where the formula has no value: before the first death, once all have died, and beyond the last
        day to which any unit was followed. For a visit without a death `share_interval` has one.

    Raises
    ------
    InputFault
        If the day is negative or not finite.
    """
    step = _step(curve, day)
    if step < 0 or day > curve.last_day:
        return math.nan, math.nan
    return float(curve.low[step]), float(curve.high[step])


def log_rank(groups: Mapping[str, tuple[ArrayLike, ArrayLike]]) -> LogRank:
    """Return whether groups of units (genets, sites, plots) died at unlike rates (log-rank test).

    Parameters
    ----------
    groups : mapping of str to (days, died)
        Two or more groups with no unit in common, each as for `survival_curve`.

    Returns
    -------
    LogRank
        Statistic, degrees of freedom, p, deaths seen and due per group.

    Raises
    ------
    InputFault
        If there are fewer than two groups, or a group cannot be read; all faults of all groups at once.

    Notes
    -----
    On each day with d deaths among n at risk, of which n_g in group g, the deaths due to g are d n_g/n, with the
    covariance d (n − d)/(n − 1) (n_g/n) (δ_gh − n_h/n). The statistic is (O − E)ᵀ V⁻ (O − E), V⁻ the pseudo-inverse.
    It weighs all deaths alike, so it sees a rate that is higher throughout and can miss curves that cross. Units of one
    plot are not independent: a small p between two plots is no proof of anything but the plots.

    References
    ----------
    Mantel 1966, Cancer Chemother. Rep. 50:163-170.
    """
    with Faults() as faults:
        if len(groups) < 2:
            faults.add("groups", f"{len(groups)}", "two or more", "Compare at least two groups of units.")
        read = {name: _checked(faults, f"group {name!r}", *both) for name, both in groups.items()}
    at = np.unique(np.concatenate([days[died] for days, died in read.values()]))
    tallies = [_tally(at, days, died) for days, died in read.values()]
    at_risk = np.column_stack([t[0] for t in tallies]).astype(np.float64)
    deaths = np.column_stack([t[1] for t in tallies]).astype(np.float64)
    n, d = at_risk.sum(axis=1), deaths.sum(axis=1)
    part = at_risk / n[:, None]
    expected = (d[:, None] * part).sum(axis=0)
    spread = d * (n - d) / np.maximum(n - 1.0, 1.0)  # the last unit of all has no spread: n = d = 1
    variance = np.diag((spread[:, None] * part).sum(axis=0)) - (spread[:, None] * part).T @ part
    excess = deaths.sum(axis=0) - expected
    degrees = int((expected > 0).sum()) - 1 if spread.any() else 0
    chi2 = p = math.nan
    if degrees > 0:
        # Rows of the matrix sum to 0, so one of its values is 0 but for rounding; the smallest true one of 10⁶ units
        # beside a single one is 1e-6 of the largest.
        chi2 = max(0.0, float(excess @ np.linalg.pinv(variance, rcond=1e-11, hermitian=True) @ excess))
        p = float(chdtrc(degrees, chi2))
    else:
        degrees = 0
    observed = dict(zip(read, deaths.sum(axis=0).tolist(), strict=True))
    return LogRank(chi2, degrees, p, observed, dict(zip(read, expected.tolist(), strict=True)))


def _step(curve: SurvivalCurve, day: float) -> int:
    if not (math.isfinite(day) and day >= 0):
        raise InputFault(Fault("day", f"{day}", "0 or more days after planting", "Count from the planting date."))
    return int(np.searchsorted(curve.days, day, side="right")) - 1


def _tally(at: Floats, days: Floats, died: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    at_risk = days.size - np.searchsorted(np.sort(days), at, side="left")
    ends = np.sort(days[died])
    deaths = np.searchsorted(ends, at, side="right") - np.searchsorted(ends, at, side="left")
    return np.asarray(at_risk, np.int64), np.asarray(deaths, np.int64)


def _checked(faults: Faults, where: str, days: ArrayLike, died: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
    followed, dead = np.asarray(days, np.float64), np.asarray(died)
    if followed.ndim != 1 or followed.shape != dead.shape:
        came = f"days of shape {followed.shape}, died of shape {dead.shape}"
        faults.add(where, came, "two columns of one length", "Give one row per unit.")
    elif followed.size == 0:
        faults.add(where, "none", "one or more", "Leave out a group without units.")
    else:
        wrong = np.flatnonzero(~(np.isfinite(followed) & (followed >= 0)))
        if wrong.size:
            shown = ", ".join(f"{followed[row]:g} in row {row}" for row in wrong[:5])
            more = f" and {wrong.size - 5} more" if wrong.size > 5 else ""
            faults.add(where, f"days {shown}{more}", "numbers of 0 or more", "Count days from the planting date.")
        if not np.isin(dead, (0, 1)).all():
            faults.add(where, f"died {np.unique(dead)[:5].tolist()}", "true or false", "Say whether the unit died.")
    good = followed.ndim == 1 and followed.shape == dead.shape
    return followed, (dead == 1) if good else np.zeros(followed.shape, bool)
