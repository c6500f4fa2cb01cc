"""Climatology of a temperature series: twelve monthly means and the warmest of them.

What is worked out from a user's own years is *not the published climatology*: recent years are warmer, which raises the
maximum monthly mean and hides weeks of heat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

OWN_CLIMATOLOGY = "The maximum monthly mean comes from the years given: it is not the published climatology."
FloatArray = NDArray[np.float64]


def climatology(
    sst_c: ArrayLike,
    dates: ArrayLike,
    *,
    first_year: int,
    last_year: int,
    centre_year: float | None = None,
    least_days: int = 20,
) -> FloatArray:
    """Return the twelve monthly means.

    Parameters
    ----------
    sst_c : array, shape (times,) or (times, pixels)
        Temperature [°C], NaN where missing; daily, or one value a month.
    dates : array of datetime64, shape (times,)
    first_year, last_year : int
        Years used, both included.
    centre_year : float, optional
        Fit a straight line through the means of each month and take its value at this year (the published climatology
        uses 1988.29 with 1985-2012; recalled, unverified). Without it the plain mean over the years.
    least_days : int
        A month of a daily series with fewer known days is left out; ignored if the series has one value a month. Ours.

    Returns
    -------
    array, shape (12,) or (12, pixels)
        January to December [°C]; NaN for a month never known.

    Raises
    ------
    InputFault
        If lengths differ, values are no sea temperatures, or no year is used.

    References
    ----------
    `skirving2020`.

    Examples
    --------
    >>> days = np.arange("2001-01", "2003-01", dtype="datetime64[M]")
    >>> climatology(np.arange(24.0), days, first_year=2001, last_year=2002)[:2]
    array([6., 7.])
    """
    sst, months = checked_sst(sst_c), np.asarray(dates, dtype="datetime64[M]").astype(np.int64)
    year, month = months // 12 + 1970, months % 12
    used = (year >= first_year) & (year <= last_year)
    with Faults() as faults:
        if months.shape != sst.shape[:1]:
            faults.add("dates", f"{months.size} dates", f"{sst.shape[0]}, one per value", "Give one date per row.")
        elif not used.any():
            faults.add("climatology years", f"{first_year} to {last_year}", "years of the series", "Change the years.")
    values = sst.reshape(sst.shape[0], -1)[used]
    year, month, months = year[used], month[used], months[used]
    found, place, size = np.unique(months, return_inverse=True, return_counts=True)
    known = ~np.isnan(values)
    days = np.zeros((found.size, values.shape[1]))
    total = np.zeros_like(days)
    np.add.at(days, place, known)
    np.add.at(total, place, np.where(known, values, 0.0))
    least = 1 if size.max() == 1 else least_days
    means = np.where(days >= least, total / np.maximum(days, 1), np.nan)
    out = np.full((12, values.shape[1]), np.nan)
    for m in range(12):
        rows = found % 12 == m
        out[m] = _at_centre(means[rows], found[rows] // 12 + 1970.0, centre_year)
    return out.reshape(12, *sst.shape[1:])


def maximum_monthly_mean(monthly_c: ArrayLike) -> FloatArray:
    """Return the warmest of the twelve monthly means [°C]; NaN unless all twelve are known.

    Raises
    ------
    InputFault
        If there are not twelve.

    References
    ----------
    `skirving2020` (trade value TV-041).

    Examples
    --------
    >>> float(maximum_monthly_mean([24, 24, 24, 25, 26, 27, 28, 29, 29.5, 28, 26, 25]))
    29.5
    """
    monthly = np.asarray(monthly_c, np.float64)
    with Faults() as faults:
        if monthly.shape[:1] != (12,):
            faults.add("monthly means", f"{monthly.shape[:1]}", "twelve, January to December", "See `climatology`.")
    return np.asarray(monthly.max(axis=0))


def checked_sst(sst_c: ArrayLike) -> FloatArray:
    """Return temperatures as an array, or refuse kelvin and fill values."""
    sst = np.asarray(sst_c, np.float64)
    wrong = sst[(sst < -3) | (sst > 45)]
    with Faults() as faults:
        if wrong.size:
            advice = "Subtract 273.15." if np.all(wrong > 260) else "Mark missing values as missing."
            faults.add("temperature", f"{wrong.size} values such as {wrong[0]:g}", "-3 to 45 °C", advice)
    return sst


def _at_centre(means: FloatArray, years: FloatArray, centre_year: float | None) -> FloatArray:
    """Mean over the years of one month, or the fitted line at the centre year; NaN without a known year."""
    known = ~np.isnan(means)
    count = known.sum(axis=0)
    safe = np.maximum(count, 1)
    mean = np.where(known, means, 0.0).sum(axis=0) / safe
    if centre_year is not None:
        t = np.where(known, years[:, None], 0.0)
        middle = t.sum(axis=0) / safe
        off = np.where(known, years[:, None] - middle, 0.0)
        spread = (off**2).sum(axis=0)
        slope = (off * np.where(known, means, 0.0)).sum(axis=0) / np.where(spread > 0, spread, 1.0)
        mean = mean + slope * (centre_year - middle)
    return np.where(count > 0, mean, np.nan)
