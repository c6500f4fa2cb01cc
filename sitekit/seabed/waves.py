"""Wave exposure of every cell from a wind table: near-bed motion, height, fetch.

Wind sea only, in straight lines: no refraction, no diffraction, no currents. A direction open to the ocean is *unknown*
unless the user says how far the water reaches beyond the grid or which sea arrives there; it is never counted as calm.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.seabed.fetch import LAND, UNKNOWN
from sitekit.seabed.open_water import OpenWater, reach_of
from sitekit.seabed.tide import depth_at
from sitekit.seabed.wave_growth import check_method, wave_growth
from sitekit.seabed.wave_theory import (
    BREAKER_INDEX,
    GRAVITY_MS2,
    bed_velocity,
    relative_depth,
)
from sitekit.seabed.wind import SwellTable, WindTable

MOBILE_RUBBLE_MS = 0.30  # near-bed orbital velocity that moves half of loose rubble: Kenyon et al. 2023, abstract [m/s]
HIGH_SHARE = 0.95  # exposure is what is not exceeded during 95 % of the time; ours, no source
CELLS_AT_ONCE = 32768  # rows × cells of one pass stay near the processor; results do not depend on it


def wave_fields(
    depth_m: ArrayLike,
    land: ArrayLike,
    cell_m: float,
    wind: WindTable,
    *,
    method: str,
    open_water: OpenWater | None = None,
    tide_m: float = 0.0,
    convergence_deg: float = 0.0,
    mobile_ms: float = MOBILE_RUBBLE_MS,
    high_share: float = HIGH_SHARE,
    max_unknown_share: float = 0.0,
    breaker_index: float = BREAKER_INDEX,
    wanted: ArrayLike | None = None,
) -> dict[str, NDArray[np.float32]]:
    """Return the wave fields of a grid, each usable as a criterion.

    Parameters
    ----------
    depth_m : array, shape (rows, columns)
        Charted depth, positive down [m].
    land : array, same shape
        Land mask or surface codes as `fetch`.
    cell_m : float
        Side of a square cell [m].
    wind : WindTable
    method : str
        Growth formula, see `wave_growth`.
    open_water : OpenWater, optional
        Without it open directions are unknown.
    tide_m : float
        Height of tide for which the fields hold [m above chart datum].
    convergence_deg : float
        Grid convergence [deg], see `fetch`.
    mobile_ms : float
        Velocity at which loose rubble moves [m/s].
    high_share : float
        Share of time that `orbital_velocity_ms` and `wave_height_m` are not exceeded, 0.5 to 1.
    max_unknown_share : float
        A cell whose wind is unknown for more than this share of time is NaN; below it the known time is scaled up to 1.
    breaker_index : float
        Greatest significant height over depth.
    wanted : array of bool, optional
        Cells to compute; others are NaN. Fetch still sees the whole grid.

    Returns
    -------
    dict of float32 arrays, shape (rows, columns)
        `orbital_velocity_ms` near-bed velocity of the significant wave, not exceeded during `high_share` of the time;
        `wave_height_m` significant height, likewise;
        `mobile_share` share of time with that velocity at or above `mobile_ms`, 0-1;
        `fetch_m` mean fetch, weighted by the share of time each wind blows (the limit where open);
        `unknown_share` share of time with wind or swell that is unknown, 0-1 (given even where the others are NaN).

    Raises
    ------
    InputFault
        If shapes differ or a setting is out of range.

    Notes
    -----
    For each row of the wind table: H, T from the fetch; H ≤ breaker_index · h; Ub = π H / (T sinh kh). With swell, wind
    and swell are taken as independent: Hs² and Ub² add, swell shoals straight in, and both shrink together where the
    sum would break. A quantile of k states is the smallest velocity whose cumulated share reaches `high_share`.

    References
    ----------
    `spm1984`, `hasselmann1973`, `cem2002`, `dean1991`, `mccowan1894`, `kenyon2023`.

    Examples
    --------
    >>> table = WindTable([270.0], [10.0], [1.0])
    >>> f = wave_fields([[-1.0, 2.0, 2.0]], [[1, 0, 0]], 1000.0, table, method="jonswap1973")
    >>> f["wave_height_m"].round(2)
    array([[ nan, 0.11, 0.2 ]], dtype=float32)
    """
    water = open_water or OpenWater()
    check_method(method)
    depth = depth_at(depth_m, tide_m)
    surface = np.asarray(land)
    surface = surface.astype(np.uint8) if surface.dtype == np.bool_ else surface
    with Faults() as faults:
        if depth.shape != surface.shape:
            faults.add("land", f"{surface.shape} cells", f"{depth.shape} as the depth", "Bring both to one grid.")
        for name, value, low, high in (
            ("mobile_ms", mobile_ms, 0.01, 10.0),
            ("high_share", high_share, 0.5, 1.0),
            ("max_unknown_share", max_unknown_share, 0.0, 1.0),
            ("breaker_index", breaker_index, 0.3, 1.3),
        ):
            if not low <= value <= high:
                faults.add(name, f"{value}", f"{low} to {high}", "Correct the setting.")
    use = (surface != LAND) & (surface != UNKNOWN) & (depth > 0)
    if wanted is not None:
        use &= np.asarray(wanted, dtype=np.bool_)
    names = ("orbital_velocity_ms", "wave_height_m", "mobile_share", "fetch_m", "unknown_share")
    out = {name: np.full(depth.shape, np.nan, dtype=np.float32) for name in names}
    blowing = wind.speed_ms > 0
    sources = np.unique(wind.direction_deg[blowing])
    reach, is_open, along = reach_of(
        surface,
        depth,
        cell_m,
        sources,
        convergence_deg=convergence_deg,
        use=use,
        shallow=method == "spm1984_shallow",
        water=water,
    )
    swell_open = np.zeros((0, int(use.sum())), dtype=np.bool_)
    if water.swell is not None:
        _, swell_open, _ = reach_of(
            surface,
            depth,
            cell_m,
            water.swell.direction_deg,
            convergence_deg=convergence_deg,
            use=use,
            shallow=False,
            water=water,
        )
    where = np.searchsorted(sources, wind.direction_deg)
    flat = depth[use]
    held = {name: np.full(flat.size, np.nan, dtype=np.float32) for name in names}
    for start in range(0, flat.size, CELLS_AT_ONCE):
        part = slice(start, start + CELLS_AT_ONCE)
        h = flat[part]
        heights, speeds, unknown = _wind_states(
            wind, where, reach[:, part], is_open[:, part], along[:, part], h, method, water
        )
        heights2, speeds2, share2 = _swell_states(water.swell, swell_open[:, part], h)
        velocity, height, mobile, lost = _combine(
            heights, speeds, unknown, wind.share, heights2, speeds2, share2, h, breaker_index, mobile_ms, high_share
        )
        known = lost <= max_unknown_share + 1e-9
        held["orbital_velocity_ms"][part] = np.where(known, velocity, np.nan)
        held["wave_height_m"][part] = np.where(known, height, np.nan)
        held["mobile_share"][part] = np.where(known, mobile, np.nan)
        held["unknown_share"][part] = lost
        held["fetch_m"][part] = _mean_fetch(wind, where, reach[:, part], unknown, known)
    for name in names:
        out[name][use] = held[name]
    return out


def _wind_states(
    wind: WindTable,
    where: NDArray[np.int64],
    reach: NDArray[np.float32],
    is_open: NDArray[np.bool_],
    along: NDArray[np.float64],
    depth: NDArray[np.float64],
    method: str,
    water: OpenWater,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Height, deep-water ratio carried to velocity, and unknown flag for each wind and cell."""
    shape = (wind.share.size, depth.size)
    heights, speeds = np.zeros(shape), np.zeros(shape)
    unknown = np.zeros(shape, dtype=np.bool_)
    blind = water.fetch_limit_m is None and water.swell is None
    for i, speed in enumerate(wind.speed_ms):
        if speed == 0:
            continue
        k = where[i]
        mean_depth = along[k] if along.shape[0] else None
        grown = wave_growth(method, float(speed), reach[k].astype(np.float64), mean_depth_m=mean_depth)
        heights[i] = grown.height_m
        _bed(heights[i], grown.period_s, depth, GRAVITY_MS2, False, speeds[i])
        if blind:
            unknown[i] = is_open[k]
    return heights, speeds, unknown


def _swell_states(
    swell: SwellTable | None, is_open: NDArray[np.bool_], depth: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Height and velocity of each swell at each cell; a single calm state if there is no swell table."""
    if swell is None:
        return np.zeros((1, depth.size)), np.zeros((1, depth.size)), np.ones(1)
    shape = (swell.share.size, depth.size)
    heights, speeds = np.zeros(shape), np.zeros(shape)
    for i in range(shape[0]):
        heights[i] = np.where(is_open[i], swell.height_m[i], 0.0)
        _bed(heights[i], np.full(depth.size, swell.period_s[i]), depth, GRAVITY_MS2, True, speeds[i])
    return heights, speeds, swell.share


def _mean_fetch(
    wind: WindTable,
    where: NDArray[np.int64],
    reach: NDArray[np.float32],
    unknown: NDArray[np.bool_],
    known: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Fetch weighted by the share of time each known wind blows; NaN if none does."""
    total, weight = np.zeros(known.size), np.zeros(known.size)
    for i in np.flatnonzero(wind.speed_ms > 0):
        share = np.where(unknown[i], 0.0, wind.share[i])
        total += share * reach[where[i]]
        weight += share
    return np.where(known & (weight > 0), total / np.where(weight > 0, weight, 1.0), np.nan)


@compiled
def _bed(height: Any, period: Any, depth: Any, gravity: Any, shoals: Any, out: Any) -> Any:
    """Near-bed velocity per cell; a shoaling height is changed in place."""
    for i in range(height.size):
        if not height[i] > 0.0:
            out[i] = 0.0
            continue
        kh = relative_depth((2.0 * math.pi / period[i]) ** 2 * depth[i] / gravity)
        if shoals:
            x = min(kh, 300.0)
            height[i] /= math.sqrt(math.tanh(x) * (1.0 + 2.0 * x / math.sinh(2.0 * x)))
        out[i] = bed_velocity(height[i], period[i], kh)


@compiled
def _combine(
    h1: Any,
    u1: Any,
    unknown: Any,
    share1: Any,
    h2: Any,
    u2: Any,
    share2: Any,
    depth: Any,
    index: Any,
    mobile_ms: Any,
    high_share: Any,
) -> Any:
    """High velocity and height, mobile share and unknown share per cell over all pairs of wind and swell."""
    winds, cells = h1.shape
    swells = h2.shape[0]
    velocity, height = np.empty(cells), np.empty(cells)
    mobile, lost = np.empty(cells), np.empty(cells)
    u, h, w = np.empty(winds * swells), np.empty(winds * swells), np.empty(winds * swells)
    for c in range(cells):
        n = 0
        gone = 0.0
        moving = 0.0
        total = 0.0
        most = index * depth[c]
        for i in range(winds):
            if unknown[i, c]:
                gone += share1[i]
                continue
            for j in range(swells):
                hh = math.sqrt(h1[i, c] ** 2 + h2[j, c] ** 2)
                uu = math.sqrt(u1[i, c] ** 2 + u2[j, c] ** 2)
                if hh > most:
                    uu *= most / hh
                    hh = most
                u[n], h[n], w[n] = uu, hh, share1[i] * share2[j]
                total += w[n]
                if uu >= mobile_ms:
                    moving += w[n]
                n += 1
        lost[c] = gone
        velocity[c] = _quantile(u[:n], w[:n], total, high_share)
        height[c] = _quantile(h[:n], w[:n], total, high_share)
        mobile[c] = moving / total if total > 0.0 else np.nan
    return velocity, height, mobile, lost


@compiled
def _quantile(values: Any, weights: Any, total: Any, share: Any) -> Any:
    """Return the smallest value whose cumulated weight reaches the share; NaN without weight."""
    if not total > 0.0:
        return np.nan
    order = np.argsort(values)
    run = 0.0
    for k in order:
        run += weights[k]
        if run >= (share - 1e-9) * total:
            return values[k]
    return values[order[-1]]
