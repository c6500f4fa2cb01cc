"""Heat stress from a temperature series: hotspots, degree heating weeks, alert classes, days above a limit.

Arrays run over time first: `(days,)` for a station, `(days, pixels)` for a grid.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.climatology import checked_sst, climatology, maximum_monthly_mean

WINDOW_DAYS = 84  # twelve weeks, the current day included: Skirving et al. 2020 [d]
BLEACHING_C = 1.0  # a hotspot counts from 1 °C on: NOAA Coral Reef Watch tutorial [°C]
NOISE_C = 1e-6  # keeps 30.5 - 29.5 at exactly 1; far below the 0.01 °C of the products; ours [°C]
LEGENDS: dict[str, tuple[tuple[str, ...], tuple[float, ...]]] = {
    # class names after "no stress", "watch", "warning"; lower edges of degree heating weeks [°C-weeks]
    "five": (("alert 1", "alert 2"), (4.0, 8.0)),  # NOAA Coral Reef Watch as published by PacIOOS
    "eight": (  # NOAA Coral Reef Watch, December 2023 revision (recalled, unverified)
        ("alert 1", "alert 2", "alert 3", "alert 4", "alert 5"),
        (4.0, 8.0, 12.0, 16.0, 20.0),
    ),
}
FloatArray = NDArray[np.float64]


def hotspot(sst_c: ArrayLike, mmm_c: ArrayLike) -> FloatArray:
    """Return how far the water is above the maximum monthly mean [°C]; 0 below it, NaN where missing.

    Raises
    ------
    InputFault
        If values are no sea temperatures in °C.

    References
    ----------
    `skirving2020` (trade value TV-041).

    Examples
    --------
    >>> hotspot([30.2, 29.0], 29.5).round(2)
    array([0.7, 0. ])
    """
    return np.asarray(np.maximum(checked_sst(sst_c) - checked_sst(mmm_c), 0.0))


def degree_heating_weeks(hotspot_c: ArrayLike, *, window_days: int = WINDOW_DAYS) -> FloatArray:
    """Return degree heating weeks, day by day.

    Parameters
    ----------
    hotspot_c : array, shape (days,) or (days, pixels)
        Daily hotspots without missing dates [°C].
    window_days : int
        Days summed, the current one included.

    Returns
    -------
    array
        [°C-weeks]; NaN on days whose window begins before the series or holds a missing day (fill short gaps first).

    Raises
    ------
    InputFault
        If a hotspot is negative, or the window is not 7 to 366 days.

    Notes
    -----
    (1/7) Σ of the hotspots of at least 1 °C over the window. A hotspot of exactly 1 counts.

    References
    ----------
    `skirving2020` (trade value TV-043); `noaa-crw-tutorial` (TV-042).

    Examples
    --------
    >>> hs = np.zeros(84)
    >>> hs[:14] = 1.0
    >>> float(degree_heating_weeks(hs)[-1])
    2.0
    """
    hs = np.asarray(hotspot_c, np.float64)
    with Faults() as faults:
        if np.any(hs < 0):
            faults.add("hotspot_c", f"{np.nanmin(hs):g} °C", "0 °C or more", "See `hotspot`.")
        if not 7 <= window_days <= 366:
            faults.add("window_days", f"{window_days}", "7 to 366 days", "84 is the published window.")
    out = np.full(hs.shape, np.nan)
    if hs.shape[0] >= window_days:
        counted = np.where(hs >= BLEACHING_C - NOISE_C, hs, np.where(np.isnan(hs), np.nan, 0.0))
        windows = np.lib.stride_tricks.sliding_window_view(counted, window_days, axis=0)
        out[window_days - 1 :] = windows.sum(axis=-1) / 7.0
    return out


def heating_weeks_of_months(sst_c: ArrayLike, mmm_c: ArrayLike, *, least_c: float = BLEACHING_C) -> FloatArray:
    """Return an estimate of degree heating weeks from monthly means, for places without a daily series.

    Parameters
    ----------
    sst_c : array, shape (months,) or (months, pixels)
        Monthly means without missing months [°C].
    mmm_c : float or array
        Maximum monthly mean [°C].
    least_c : float
        Monthly hotspots below this do not count [°C]. 1, as in the daily rule, came closest to the published values
        off Oahu (see docs/methods-waves-light-heat.md); 0 put 11 of 39 years at 1 °C-week or more there.

    Returns
    -------
    array
        [°C-weeks]; NaN for the first two months and where a month is missing.

    Notes
    -----
    Σ of the hotspots of three months × 365.25/12/7 weeks. A mean hides the warm days of a month and spreads those between
    two months: only a ranking of years is to be read from it.

    References
    ----------
    `donner2005` for sums of monthly hotspots (recalled, unverified).

    Examples
    --------
    >>> heating_weeks_of_months([28.0, 29.0, 29.5], 28.5).round(2)
    array([ nan,  nan, 4.35])
    """
    hs = hotspot(sst_c, mmm_c)
    counted = np.where(hs >= least_c - NOISE_C, hs, np.where(np.isnan(hs), np.nan, 0.0))
    out = np.full(hs.shape, np.nan)
    out[2:] = (counted[2:] + counted[1:-1] + counted[:-2]) * (365.25 / 12 / 7)
    return out


def alert_class(hotspot_c: ArrayLike, dhw_c_weeks: ArrayLike, *, legend: str) -> NDArray[np.int8]:
    """Return the alert class of each day; -1 where unknown.

    Parameters
    ----------
    hotspot_c, dhw_c_weeks : array
        [°C], [°C-weeks].
    legend : {"five", "eight"}
        The older legend of five classes, or the one since December 2023 of eight (recalled, unverified).

    Returns
    -------
    array of int8
        Index into `alert_names(legend)`. Heating weeks alone never make an alert: the hotspot must be 1 °C or more.

    Raises
    ------
    InputFault
        If the legend is unknown.

    References
    ----------
    `noaa-crw-alert` (trade values TV-046, TV-047).

    Examples
    --------
    >>> alert_class([1.2, 1.2, 0.5], [3.9, 4.0, 9.0], legend="five")
    array([2, 3, 1], dtype=int8)
    """
    alert_names(legend)
    hs, dhw = np.broadcast_arrays(np.asarray(hotspot_c, np.float64), np.asarray(dhw_c_weeks, np.float64))
    hot = hs >= BLEACHING_C - NOISE_C
    alert = 2 + np.searchsorted(np.array(LEGENDS[legend][1]), dhw + 1e-9, side="right")
    found = np.where(hs <= 0, 0, np.where(hot, alert, 1))
    return np.where(np.isnan(hs) | (np.isnan(dhw) & hot), -1, found).astype(np.int8)


def alert_names(legend: str) -> tuple[str, ...]:
    """Return the names of the alert classes of a legend, coolest first.

    Raises
    ------
    InputFault
        If the legend is unknown.

    Examples
    --------
    >>> alert_names("five")
    ('no stress', 'watch', 'warning', 'alert 1', 'alert 2')
    """
    with Faults() as faults:
        if legend not in LEGENDS:
            faults.add("legend", f"{legend!r}", "five or eight", "Choose the legend your readers know.")
    return ("no stress", "watch", "warning", *LEGENDS[legend][0])


def days_above(sst_c: ArrayLike, limit_c: float) -> NDArray[np.int64]:
    """Return the number of days at or above a limit; missing days do not count.

    Parameters
    ----------
    sst_c : array, shape (days,) or (days, pixels)
        [°C].
    limit_c : float
        The team's own limit [°C]. No default: 30.5 °C (Foo & Asner 2020) is passed every year on some reefs.

    Raises
    ------
    InputFault
        If the limit or a value is no sea temperature in °C.

    References
    ----------
    `foo2020` (trade value TV-038).

    Examples
    --------
    >>> int(days_above([30.4, 30.5, 31.0], 30.5))
    2
    """
    return np.asarray((checked_sst(sst_c) >= checked_sst(limit_c) - NOISE_C).sum(axis=0), dtype=np.int64)


def heat_fields(
    sst_c: ArrayLike,
    dates: ArrayLike,
    *,
    first_year: int,
    last_year: int,
    limit_c: float,
    mmm_c: ArrayLike | None = None,
) -> dict[str, FloatArray]:
    """Return the heat fields of each pixel of a daily series, each usable as a criterion.

    Parameters
    ----------
    sst_c, dates, first_year, last_year
        As `climatology`; daily, without missing dates.
    limit_c : float
        As `days_above`.
    mmm_c : float or array, optional
        The published maximum monthly mean, if known; else it is worked out (print `OWN_CLIMATOLOGY`).

    Returns
    -------
    dict of arrays
        `mmm_c`; `annual_range_c` warmest less coolest monthly mean; `dhw_weeks` (NaN if never known);
        `days_above` over known days.

    Raises
    ------
    InputFault
        As the functions used.

    References
    ----------
    `skirving2020`.

    Examples
    --------
    >>> days = np.arange("2001-01-01", "2003-01-01", dtype="datetime64[D]")
    >>> f = heat_fields(np.full(730, 27.0), days, first_year=2001, last_year=2002, limit_c=30.0)
    >>> float(f["dhw_weeks"]), float(f["annual_range_c"])
    (0.0, 0.0)
    """
    sst = checked_sst(sst_c)
    steps = np.diff(np.asarray(dates, dtype="datetime64[D]")).astype(np.int64)
    with Faults() as faults:
        if np.any(steps != 1):
            faults.add("dates", "steps other than one day", "every day once, in order", "Read it with `read_series`.")
    monthly = climatology(sst, dates, first_year=first_year, last_year=last_year)
    top = maximum_monthly_mean(monthly) if mmm_c is None else np.asarray(mmm_c, np.float64)
    dhw = degree_heating_weeks(hotspot(sst, top))
    known = (~np.isnan(sst)).sum(axis=0)
    return {
        "mmm_c": np.broadcast_to(top, sst.shape[1:]).copy(),
        "annual_range_c": np.asarray(monthly.max(axis=0) - monthly.min(axis=0)),
        "dhw_weeks": np.asarray(np.fmax.reduce(dhw, axis=0)),
        "days_above": np.where(known > 0, days_above(sst, limit_c) * 365.25 / np.maximum(known, 1), np.nan),
    }


def pixel_caution(pixel_m: float, width_m: float, height_m: float) -> str | None:
    """Return a caution if one pixel is as wide as the whole area, so that heat cannot rank cells inside it; else None.

    Raises
    ------
    InputFault
        If a length is not above 0.

    References
    ----------
    Trade value TV-049 (`skirving2020`): the satellite product has cells of about 5 km.

    Examples
    --------
    >>> pixel_caution(5500.0, 800.0, 600.0)[:14]
    'One pixel of 5'
    """
    with Faults() as faults:
        for name, value in (("pixel_m", pixel_m), ("width_m", width_m), ("height_m", height_m)):
            if not (math.isfinite(value) and value > 0):
                faults.add(name, f"{value} m", "above 0 m", "Give the length in metres.")
    if pixel_m < max(width_m, height_m):
        return None
    return (
        f"One pixel of {pixel_m:.0f} m is wider than the whole area ({width_m:.0f} × {height_m:.0f} m): heat can "
        "compare this area with others, not cells inside it."
    )
