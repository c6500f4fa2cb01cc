"""Height and period of the waves that a steady wind raises over a fetch; the method is always named.

The methods disagree: at 10 m/s over 10 km `spm1984` gives 0.62 m, `jonswap1973` 0.51 m, `cem2002` 0.50 m, and the peak
period of `cem2002` is a quarter shorter than that of `jonswap1973`. Choose one and keep it; never average them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.wave_theory import GRAVITY_MS2

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Growth:
    """A grown sea.

    Parameters
    ----------
    height_m : array
        Significant wave height [m]; 0 where there is no wind.
    period_s : array
        Period of the spectral peak, as the method defines it [s]; NaN where there is no wind.
    least_duration_s : array
        How long the wind must blow until the fetch, not time, limits the sea [s]; NaN if the method gives none.
    """

    height_m: FloatArray
    period_s: FloatArray
    least_duration_s: FloatArray


def wave_growth(
    method: str,
    speed_ms: ArrayLike,
    fetch_m: ArrayLike,
    *,
    mean_depth_m: ArrayLike | None = None,
    gravity_ms2: float = GRAVITY_MS2,
) -> Growth:
    """Return the sea raised by a wind over a fetch, never above the fully developed one.

    Parameters
    ----------
    method : {"spm1984", "spm1984_shallow", "jonswap1973", "cem2002"}
        See Notes.
    speed_ms : float or array
        Wind speed at 10 m above the sea [m/s], 0 to 90.
    fetch_m : float or array
        Fetch [m], ≥ 0; NaN gives NaN.
    mean_depth_m : float or array, optional
        Mean depth along the fetch [m]; needed by `spm1984_shallow`, refused by the others.
    gravity_ms2 : float
        Used by all but `spm1984`, whose printed metric equations have it built in.

    Returns
    -------
    Growth

    Raises
    ------
    InputFault
        If the method is unknown, a speed or fetch is out of range, or the mean depth is missing or not wanted.

    Notes
    -----
    `spm1984`: UA = 0.71 U^1.23; Hs = 5.112e-4 UA F^½; T = 6.238e-2 (UA F)^⅓; t = 32.15 (F²/UA)^⅓; limits 2.482e-2 UA²,
    0.830 UA. Metric, as printed.
    `spm1984_shallow`: Hs = (UA²/g) 0.283 A tanh(0.00565 X^½ / A), A = tanh(0.530 D^¾);
    T = (UA/g) 7.54 B tanh(0.0379 X^⅓ / B), B = tanh(0.833 D^⅜); X = gF/UA², D = gd/UA².
    `jonswap1973`: Hs = 0.0016 X^½ U²/g; Tp = 0.286 X^⅓ U/g; X = gF/U²; limits 0.243 U²/g, 8.134 U/g. The ⅓ power is the
    form in which the manuals print the fit; the paper's own is X^0.33.
    `cem2002`: Cd = 0.001 (1.1 + 0.035 U), u* = U Cd^½; Hm0 = 4.13e-2 X^½ u*²/g; Tp = 0.651 X^⅓ u*/g, X = gF/u*²;
    t = 77.23 F^0.67 / (U^0.34 g^0.33); limits 211.5 u*²/g, 239.8 u*/g.
    The wind is taken to blow long enough (`least_duration_s` says how long).

    References
    ----------
    `spm1984` eq. 3-28, 3-33 to 3-40; `hasselmann1973`; `cem2002` eq. II-2-36. SPM and JONSWAP coefficients are
    recalled, unverified; those of the CEM were seen quoted in public code.

    Examples
    --------
    >>> g = wave_growth("jonswap1973", 10.0, 10_000.0)
    >>> round(float(g.height_m), 2), round(float(g.period_s), 1)
    (0.51, 2.9)
    """
    speed = np.asarray(speed_ms, np.float64)
    fetch = np.asarray(fetch_m, np.float64)
    depth = None if mean_depth_m is None else np.asarray(mean_depth_m, np.float64)
    check_method(method)
    with Faults() as faults:
        if np.any(~((speed >= 0) & (speed <= 90))):
            faults.add(
                "speed_ms", f"{speed.min()} to {speed.max()} m/s", "0 to 90 m/s", "Give the wind at 10 m in m/s."
            )
        if np.any(fetch < 0):
            faults.add("fetch_m", f"{float(np.nanmin(fetch))} m", "0 m or more", "Give the fetch in metres.")
        if (method == "spm1984_shallow") != (depth is not None):
            given = "none" if depth is None else "one"
            faults.add(
                "mean_depth_m",
                f"{given} given with method {method}",
                "a mean depth along the fetch with spm1984_shallow, none with the others",
                "Change the method, or give or drop the mean depth.",
            )
        elif depth is not None and np.any(depth <= 0):
            faults.add("mean_depth_m", f"{float(np.nanmin(depth))} m", "above 0 m", "Leave land out.")
    with np.errstate(divide="ignore", invalid="ignore"):
        height, period, least = METHODS[method](speed, fetch, depth, gravity_ms2)
    blowing = np.broadcast_to((speed > 0) & ~(fetch == 0), height.shape)
    known = np.broadcast_to(~np.isnan(fetch), height.shape)
    return Growth(
        np.where(blowing, height, np.where(known, 0.0, np.nan)),
        np.where(blowing, period, np.nan),
        np.where(blowing, least, np.nan),
    )


def check_method(method: str) -> None:
    """Raise InputFault unless the method of wave growth is known."""
    with Faults() as faults:
        if method not in METHODS:
            faults.add(
                "method",
                f"{method!r}",
                ", ".join(sorted(METHODS)),
                "Name the method: they differ by a sixth to a third in height.",
            )


def effective_fetch(fetch_by_ray: ArrayLike, angle_deg: ArrayLike, *, rule: str) -> NDArray[np.float64]:
    """Return one fetch from several rays about the wind direction.

    Parameters
    ----------
    fetch_by_ray : array, shape (rays, ...)
        Fetch along each ray, any unit of length.
    angle_deg : array, shape (rays,)
        Angle of each ray from the wind [deg], -90 to 90.
    rule : {"mean", "saville"}
        `mean`: plain mean (Shore Protection Manual 1984: nine rays, 3° apart). `saville`: Σ F cos² a / Σ cos a (Saville
        1954: fifteen rays, 6° apart). Never mix: the second makes 9.09 km of 10 km all round.

    Returns
    -------
    array
        Effective fetch, unit of the input.

    Raises
    ------
    InputFault
        If the rule is unknown, the counts differ, or an angle lies beyond 90°.

    References
    ----------
    `saville1954`; `spm1984`, chapter 3 (recalled, unverified; the sum of cosines 13.51 is the printed one).

    Examples
    --------
    >>> float(effective_fetch([10.0, 10.0, 10.0], [-45, 0, 45], rule="mean"))
    10.0
    """
    rays = np.asarray(fetch_by_ray, dtype=np.float64)
    angle = np.asarray(angle_deg, dtype=np.float64)
    with Faults() as faults:
        if rule not in ("mean", "saville"):
            faults.add("rule", f"{rule!r}", "mean or saville", "Name the rule that your growth formula expects.")
        if angle.ndim != 1 or rays.shape[:1] != angle.shape:
            faults.add("angle_deg", f"{angle.shape} angles", f"one per ray {rays.shape[:1]}", "Give one angle per ray.")
        elif np.any(~(np.abs(angle) <= 90.0)):
            faults.add(
                "angle_deg", f"{angle}", "-90 to 90 degrees from the wind", "Use rays on the windward side only."
            )
    if rule == "mean":
        return np.asarray(rays.mean(axis=0))
    cosine = np.cos(np.radians(angle))
    return np.asarray(np.tensordot(cosine**2, rays, axes=1) / cosine.sum())


def wind_at_ten_metres(speed_ms: ArrayLike, height_m: float) -> FloatArray:
    """Return the wind speed at 10 m from that of an anemometer at another height, U (10/z)^(1/7) [m/s].

    Raises
    ------
    InputFault
        If the height is not 1 to 20 m, where the rule holds.

    References
    ----------
    `spm1984` eq. 3-26 (recalled, unverified).

    Examples
    --------
    >>> float(wind_at_ten_metres(8.0, 10.0))
    8.0
    """
    with Faults() as faults:
        if not 1.0 <= height_m <= 20.0:
            faults.add(
                "anemometer height", f"{height_m} m", "1 to 20 m", "Reduce the speeds by the station's own rule."
            )
    return np.asarray(np.asarray(speed_ms, np.float64) * (10.0 / height_m) ** (1 / 7))


def _spm(u: FloatArray, f: FloatArray, d: FloatArray | None, g: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    ua = 0.71 * u**1.23
    height = np.minimum(5.112e-4 * ua * np.sqrt(f), 2.482e-2 * ua**2)
    period = np.minimum(6.238e-2 * np.cbrt(ua * f), 0.830 * ua)
    return height, period, 32.15 * np.cbrt(f**2 / ua)


def _spm_shallow(
    u: FloatArray, f: FloatArray, d: FloatArray | None, g: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    ua = 0.71 * u**1.23
    x = g * f / ua**2
    deep = g * np.asarray(d) / ua**2
    a, b = np.tanh(0.530 * deep**0.75), np.tanh(0.833 * deep**0.375)
    height = 0.283 * a * np.tanh(0.00565 * np.sqrt(x) / a) * ua**2 / g
    period = 7.54 * b * np.tanh(0.0379 * np.cbrt(x) / b) * ua / g
    return height, period, np.full(height.shape, np.nan)


def _jonswap(u: FloatArray, f: FloatArray, d: FloatArray | None, g: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    x = g * f / u**2
    height = np.minimum(0.0016 * np.sqrt(x), 0.243) * u**2 / g
    period = np.minimum(0.286 * np.cbrt(x), 8.134) * u / g
    return height, period, np.full(height.shape, np.nan)


def _cem(u: FloatArray, f: FloatArray, d: FloatArray | None, g: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    friction = u * np.sqrt(0.001 * (1.1 + 0.035 * u))
    x = g * f / friction**2
    height = np.minimum(4.13e-2 * np.sqrt(x), 211.5) * friction**2 / g
    period = np.minimum(0.651 * np.cbrt(x), 239.8) * friction / g
    return height, period, 77.23 * f**0.67 / (u**0.34 * g**0.33)


Rule = Callable[[FloatArray, FloatArray, FloatArray | None, float], tuple[FloatArray, FloatArray, FloatArray]]
METHODS: dict[str, Rule] = {
    "cem2002": _cem,
    "jonswap1973": _jonswap,
    "spm1984": _spm,
    "spm1984_shallow": _spm_shallow,
}
