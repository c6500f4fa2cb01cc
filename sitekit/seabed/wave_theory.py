"""Linear wave theory over a flat bottom: length, near-bed motion, shoaling, breaking, power.

Knows no wind and no grid. Dry cells (depth ≤ 0) and unknown depths give NaN, never zero.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

GRAVITY_MS2 = 9.80665  # standard gravity, CGPM 1901 [m/s²]
BREAKER_INDEX = (
    0.78  # McCowan 1894, H/h of a solitary wave at breaking (recalled, unverified); random seas: 0.4-0.6 of Hs
)
SEA_WATER_KG_M3 = 1025.0  # usual value at the sea surface (recalled, unverified) [kg/m³]


def relative_water_depth(
    period_s: ArrayLike, depth_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2
) -> NDArray[np.float64]:
    """Return kh, the depth times the wave number, from the dispersion relation.

    Parameters
    ----------
    period_s : float or array
        Wave period [s], > 0.
    depth_m : float or array
        Depth of water [m].
    gravity_ms2 : float
        [m/s²].

    Returns
    -------
    array
        kh [rad]; NaN where the depth is not above 0.

    Raises
    ------
    InputFault
        If a period is not above 0.

    Notes
    -----
    (2π/T)² = g k tanh(kh), Newton's rule to 1e-12.

    References
    ----------
    `dean1991`: Dean & Dalrymple 1991, Water Wave Mechanics (recalled, unverified).

    Examples
    --------
    >>> kh = relative_water_depth(8.0, 5.0)
    >>> round(float(kh) / 5.0, 4)
    0.1184
    """
    period, depth = np.broadcast_arrays(np.asarray(period_s, np.float64), np.asarray(depth_m, np.float64))
    with Faults() as faults:
        if np.any(period <= 0):
            faults.add(
                "period_s", f"{float(np.nanmin(period))} s", "a period above 0 s", "Leave calms out of wave tables."
            )
    return relative_depth((2 * np.pi / period) ** 2 * depth / gravity_ms2)


def relative_depth(deep_ratio: NDArray[Any]) -> NDArray[Any]:
    """Solve kh · tanh(kh) = ω²h/g for kh by Newton's rule; NaN where the ratio is not above 0.

    Starts from Eckart's 1952 estimate (within 5 %), which four steps bring below 1e-12; stops when no step is larger.
    Float32 in gives float32 out, to 1e-6.
    """
    ratio = np.where(deep_ratio > 0, deep_ratio, np.nan)
    least = 1e-12 if ratio.dtype == np.float64 else 1e-6
    x = ratio / np.sqrt(np.tanh(ratio))
    for _ in range(20):
        t = np.tanh(x)
        step = (x * t - ratio) / (t + x * (1 - t * t))
        x = x - step
        if not np.any(np.abs(step) > least * x):
            break
    return np.asarray(x)


def bed_velocity(height: NDArray[Any], period: NDArray[Any], kh: NDArray[Any]) -> NDArray[Any]:
    """Near-bed orbital velocity π H / (T sinh kh) of checked numbers; 0 in deep water, NaN where kh is."""
    most = 300.0 if kh.dtype == np.float64 else 80.0  # sinh of it still fits in the type
    return np.where(kh > most, 0.0, np.pi * height / (period * np.sinh(np.minimum(kh, most))))


def wave_length(period_s: ArrayLike, depth_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2) -> NDArray[np.float64]:
    """Return the length of a wave [m]; NaN where dry or unknown. Parameters and errors as `relative_water_depth`.

    References
    ----------
    `dean1991`; checked against the answers of Shore Protection Manual 1984, chapter 2, problem 1 (recalled).

    Examples
    --------
    >>> round(float(wave_length(10.0, 3.0)), 1)
    53.1
    """
    kh = relative_water_depth(period_s, depth_m, gravity_ms2=gravity_ms2)
    return 2 * np.pi * np.asarray(depth_m, np.float64) / kh


def group_ratio(kh: ArrayLike) -> NDArray[np.float64]:
    """Return group speed over wave speed, n = ½ (1 + 2kh / sinh 2kh), from 1 (shallow) to ½ (deep).

    References
    ----------
    `dean1991`.

    Examples
    --------
    >>> float(group_ratio(1000.0))
    0.5
    """
    x = np.minimum(np.asarray(kh, np.float64), 300.0)  # sinh(600) is still finite
    return np.asarray(0.5 * (1 + 2 * x / np.sinh(2 * x)))


def shoaling(kh: ArrayLike) -> NDArray[np.float64]:
    """Return wave height over deep-water height, Ks = 1 / sqrt(2 n tanh kh), for waves that run straight in.

    References
    ----------
    `dean1991`; `spm1984`, table C-1.

    Examples
    --------
    >>> round(float(shoaling(0.3863)), 2)
    1.19
    """
    return np.asarray(1 / np.sqrt(2 * group_ratio(kh) * np.tanh(np.asarray(kh, np.float64))))


def orbital_velocity(
    height_m: ArrayLike, period_s: ArrayLike, depth_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2
) -> NDArray[np.float64]:
    """Return the largest near-bed velocity under a wave.

    Parameters
    ----------
    height_m : float or array
        Wave height, trough to crest [m], ≥ 0. With the significant height the answer belongs to the significant wave,
        not to the root-mean-square one (Hrms = Hs/√2).
    period_s, depth_m, gravity_ms2
        As `relative_water_depth`.

    Returns
    -------
    array
        Velocity [m/s], ≥ 0; NaN where dry or unknown.

    Raises
    ------
    InputFault
        If a height is negative or a period is not above 0.

    Notes
    -----
    Ub = π H / (T sinh kh).

    References
    ----------
    `dean1991` (trade value TV-023).

    Examples
    --------
    >>> round(float(orbital_velocity(1.0, 8.0, 5.0)), 3)
    0.626
    """
    height = np.asarray(height_m, np.float64)
    with Faults() as faults:
        if np.any(height < 0):
            faults.add(
                "height_m", f"{float(np.nanmin(height))} m", "0 m or more", "Give the height from trough to crest."
            )
    kh = relative_water_depth(period_s, depth_m, gravity_ms2=gravity_ms2)
    return bed_velocity(height, np.asarray(period_s, np.float64), kh)


def bed_excursion(
    height_m: ArrayLike, period_s: ArrayLike, depth_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2
) -> NDArray[np.float64]:
    """Return half the distance water moves to and fro at the bed, Ub T / 2π [m]; parameters as `orbital_velocity`.

    References
    ----------
    `dean1991`.

    Examples
    --------
    >>> round(float(bed_excursion(1.0, 6.0, 5.0, gravity_ms2=9.81)), 4)
    0.5426
    """
    velocity = orbital_velocity(height_m, period_s, depth_m, gravity_ms2=gravity_ms2)
    return np.asarray(velocity * np.asarray(period_s, np.float64) / (2 * np.pi))


def breaking_height(depth_m: ArrayLike, *, index: float = BREAKER_INDEX) -> NDArray[np.float64]:
    """Return the greatest height a wave can have over a depth, index · h [m]; NaN where dry.

    Parameters
    ----------
    depth_m : array
        Depth of water [m].
    index : float
        Height over depth at breaking, 0.3 to 1.3.

    Raises
    ------
    InputFault
        If the index lies outside 0.3 to 1.3.

    References
    ----------
    `mccowan1894` (recalled, unverified). Steep bottoms break later (up to 1.2), random seas earlier.

    Examples
    --------
    >>> breaking_height([3.0, 0.0])
    array([2.34,  nan])
    """
    with Faults() as faults:
        if not 0.3 <= index <= 1.3:
            faults.add("breaker_index", f"{index}", "0.3 to 1.3", "0.78 is the usual value.")
    depth = np.asarray(depth_m, np.float64)
    return np.where(depth > 0, index * depth, np.nan)


def steepness_limit(
    period_s: ArrayLike, depth_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2
) -> NDArray[np.float64]:
    """Return the height at which a wave breaks by steepness, 0.142 L tanh kh [m]; parameters as `wave_length`.

    References
    ----------
    `miche1944` (recalled, unverified).

    Examples
    --------
    >>> round(float(steepness_limit(8.0, 3.0)), 2)
    2.51
    """
    kh = relative_water_depth(period_s, depth_m, gravity_ms2=gravity_ms2)
    return np.asarray(0.142 * (2 * np.pi * np.asarray(depth_m, np.float64) / kh) * np.tanh(kh))


def wave_power(
    height_m: ArrayLike,
    energy_period_s: ArrayLike,
    *,
    density_kg_m3: float = SEA_WATER_KG_M3,
    gravity_ms2: float = GRAVITY_MS2,
) -> NDArray[np.float64]:
    """Return the power of a deep-water sea per metre of crest, ρ g² Hs² Te / 64π [W/m].

    References
    ----------
    `dean1991`.

    Examples
    --------
    >>> round(float(wave_power(1.0, 6.0, gravity_ms2=9.81)))
    2944
    """
    h, t = np.asarray(height_m, np.float64), np.asarray(energy_period_s, np.float64)
    return np.asarray(density_kg_m3 * gravity_ms2**2 * h**2 * t / (64 * np.pi))
