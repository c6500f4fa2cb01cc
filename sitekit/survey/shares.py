"""The share of units alive at one visit: its interval, the difference of two, and a share brought to a year."""

from __future__ import annotations

import math

from scipy.special import ndtri

from sitekit.errors import Fault, Faults, InputFault

DAYS_PER_YEAR = 365.0  # house choice, as in the check value; 365.25 would change a yearly share by at most 0.0003


def two_sided_quantile(level: float) -> float:
    """Return the standard normal quantile z that holds `level` between -z and z (0.95 → 1.96).

    Parameters
    ----------
    level : float
        Strictly between 0 and 1.

    Raises
    ------
    InputFault
        If the level is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise InputFault(Fault("level", f"{level}", "a number between 0 and 1", "Give 0.95 for 95 %."))
    return float(ndtri((1.0 + level) / 2.0))


def share_interval(alive: int, seen: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return the interval of the share alive among units that were seen (Wilson score, no continuity correction).

    Parameters
    ----------
    alive : int
        Units alive, 0 to `seen`.
    seen : int
        Units whose state was noted, ≥ 1; units not looked for do not belong here.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    (float, float)
        Low and high end, 0-1. The share alive / seen lies in it; with all alive the low end still says how little
        a few units prove.

    Raises
    ------
    InputFault
        If a count is no whole number, more are alive than seen, none was seen, or the level is not between 0 and 1.

    Notes
    -----
    With p = alive / seen, n = seen and z the normal quantile:
    (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n).
    The units are taken as independent; those of one plot are not, so the interval is too narrow for a plot.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22; compared with others in Newcombe 1998, Stat. Med. 17:857-872.

    Examples
    --------
    >>> [round(end, 4) for end in share_interval(81, 263)]
    [0.2553, 0.3662]
    >>> [round(end, 2) for end in share_interval(10, 10)]
    [0.72, 1.0]
    """
    with Faults() as faults:
        _check_counts(faults, "units", alive, seen)
    return _wilson(int(alive), int(seen), two_sided_quantile(level))


def difference_interval(
    alive1: int, seen1: int, alive2: int, seen2: int, *, level: float = 0.95
) -> tuple[float, float]:
    """Return the interval of the share alive in a first group less that in a second one (Newcombe's method 10).

    Parameters
    ----------
    alive1, seen1, alive2, seen2 : int
        Units alive and units seen in two groups with no unit in common.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    (float, float)
        Low and high end, -1 to 1; the difference of the two shares lies in it.

    Raises
    ------
    InputFault
        As for `share_interval`, both groups at once.

    Notes
    -----
    With the shares p and their Wilson intervals l to u:
    d − √((p₁ − l₁)² + (u₂ − p₂)²) to d + √((u₁ − p₁)² + (p₂ − l₂)²), where d = p₁ − p₂.
    Whether one interval of a share holds the other share says less than this.

    References
    ----------
    Newcombe 1998, Stat. Med. 17:873-890, method 10.

    Examples
    --------
    >>> [round(end, 4) for end in difference_interval(56, 70, 48, 80)]
    [0.0524, 0.3339]
    """
    with Faults() as faults:
        _check_counts(faults, "first group", alive1, seen1)
        _check_counts(faults, "second group", alive2, seen2)
    z = two_sided_quantile(level)
    (low1, high1), (low2, high2) = _wilson(int(alive1), int(seen1), z), _wilson(int(alive2), int(seen2), z)
    p1, p2 = alive1 / seen1, alive2 / seen2
    low = p1 - p2 - math.hypot(p1 - low1, high2 - p2)
    high = p1 - p2 + math.hypot(high1 - p1, p2 - low2)
    return max(low, -1.0), min(high, 1.0)


def annual_share(share: float, days: float) -> float:
    """Return the share alive after a year that a share alive after so many days comes to, at one rate of loss.

    It makes spans of unlike length comparable. It is not a forecast: losses are not even, and a rate of the first year
    must not be carried on (Ware et al. 2020: high at first, dropping after two years, about 10 % at seven).

    Parameters
    ----------
    share : float
        Alive at the end of the span among those alive at its start, 0-1.
    days : float
        Length of the span [days], > 0.

    Returns
    -------
    float
        share^(365/days), 0-1.

    Raises
    ------
    InputFault
        If the share is not from 0 to 1, or the days are not above 0.

    Notes
    -----
    A death rate multiplied by 365/days is another, wrong quantity: 18 % lost in 200 days are 30.4 % in a year, not
    32.9 %, and would pass 100 % for short spans.

    Examples
    --------
    >>> round(annual_share(0.82, 200), 4)
    0.6962
    """
    with Faults() as faults:
        if not 0 <= share <= 1:
            faults.add("share", f"{share}", "a number from 0 to 1", "Give a share, not percent.")
        if not (math.isfinite(days) and days > 0):
            faults.add("days", f"{days}", "a number above 0", "Count the days between the two visits.")
    return float(share ** (DAYS_PER_YEAR / days))


def _wilson(alive: int, seen: int, z: float) -> tuple[float, float]:
    p, z2 = alive / seen, z * z
    middle = p + z2 / (2.0 * seen)
    half = z * math.sqrt(p * (1.0 - p) / seen + z2 / (4.0 * seen * seen))
    scale = 1.0 + z2 / seen
    # At none or all alive one end is the share itself; rounding would put it 1e-17 beside.
    return (
        0.0 if alive == 0 else (middle - half) / scale,
        1.0 if alive == seen else (middle + half) / scale,
    )


def _check_counts(faults: Faults, where: str, alive: float, seen: float) -> None:
    whole = all(math.isfinite(n) and n == math.floor(n) for n in (alive, seen))
    if not whole:
        faults.add(where, f"{alive} alive of {seen} seen", "whole numbers", "Count units.")
    elif seen < 1:
        faults.add(where, f"{seen} units seen", "1 or more", "No share can be given where nobody looked.")
    elif not 0 <= alive <= seen:
        faults.add(where, f"{alive} alive of {seen} seen", f"0 to {seen} alive", "Correct the counts.")
