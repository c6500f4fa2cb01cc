"""The sea that arrives at each cell from each wind and swell, before the depth of the cell itself counts.

Wind sea only, in straight lines: no refraction, no diffraction, no currents. A direction open to the ocean is *unknown*
unless the user says how far the water reaches beyond the maps or which sea arrives there; it is never counted as calm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_growth import wave_growth
from sitekit.seabed.way import Ways
from sitekit.seabed.wind import SwellTable, WindTable

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sea:
    """What arrives at n cells.

    Parameters
    ----------
    height_m, period_s : array, shape (winds, n)
        Wind sea of each wind of the table [m], [s]; height NaN where unknown, period NaN without waves.
    share : array, shape (winds,)
        Share of time of each wind.
    swell_m : array, shape (swells, n)
        Deep-water height of each swell that gets there [m]; one swell of 0 m if none is given.
    swell_cap_m : array, same shape
        Greatest height that the shallowest place on its way lets through [m]; infinite without one.
    swell_s, swell_share : array, shape (swells,)
        Periods [s] and shares of time.
    fetch_m : array, shape (n,)
        Mean fetch, weighted by the share of time each known wind blows [m]; NaN if none does.
    unknown_share : array, shape (n,)
        Share of time with wind or swell that is unknown, 0-1.
    """

    height_m: Floats
    period_s: Floats
    share: Floats
    swell_m: Floats
    swell_cap_m: Floats
    swell_s: Floats
    swell_share: Floats
    fetch_m: Floats
    unknown_share: Floats


def raised(
    method: str,
    speed_ms: float,
    way: tuple[NDArray[np.float32], ...],
    water: OpenWater,
    breaker_index: float,
) -> tuple[Floats, Floats, Floats]:
    """Return height [m], period [s] and fetch [m] of the sea of one wind, cut where its way is shallow.

    Parameters
    ----------
    method, speed_ms
        As `wave_growth`.
    way : tuple of array, shape (n,)
        Fetch, open, sill, distance since, mean depth of one direction, as in `Ways`.
    water : OpenWater
        Where it says nothing, open rays give NaN.
    breaker_index : float
        Greatest significant height over depth.

    Notes
    -----
    Past the shallowest place on its way (depth s) a sea of height H > i · s goes on with i · s, and grows anew over the
    distance since: H' = min(H, sqrt((i s)² + H_since²)), with the period of the larger part. Ours: keeps a lagoon
    behind a crest from the full sea outside; only one such place per way counts.
    """
    fetch, is_open, sill, since, mean = way
    limit = water.fetch_limit_m
    length = np.where(is_open, np.maximum(fetch, limit or 0.0), fetch).astype(np.float64)
    if not water.told:
        length = np.where(is_open, np.nan, length)
    depth = np.where(np.isnan(mean), 0.1, mean) if method == "spm1984_shallow" else None
    grown = wave_growth(method, speed_ms, length, mean_depth_m=depth)
    height, period = grown.height_m, grown.period_s
    cap = breaker_index * sill.astype(np.float64)
    cut = height > cap
    if cut.any():
        anew = wave_growth(
            method, speed_ms, since[cut].astype(np.float64), mean_depth_m=None if depth is None else depth[cut]
        )
        left = cap[cut]
        height[cut] = np.minimum(height[cut], np.sqrt(left**2 + anew.height_m**2))
        period[cut] = np.where(anew.height_m > left, anew.period_s, period[cut])
    return height, period, length


def arriving(
    found: Ways,
    found_swell: Ways | None,
    sources: Floats,
    wind: WindTable,
    *,
    method: str,
    water: OpenWater,
    breaker_index: float,
) -> Sea:
    """Return the sea at each cell of flat ways.

    Parameters
    ----------
    found : Ways
        With arrays of shape (directions, n).
    found_swell : Ways or None
        The ways of the swell table, shape (swells, n); due if `water` has one.
    sources : array, shape (directions,)
        The directions of `found`, rising; each wind that blows comes from one of them.
    wind : WindTable
    method, water, breaker_index
        As `raised`.
    """
    cells = found.fetch_m.shape[1]
    heights, periods = np.zeros((wind.share.size, cells)), np.full((wind.share.size, cells), np.nan)
    total, weight, lost = np.zeros(cells), np.zeros(cells), np.zeros(cells)
    where = np.searchsorted(sources, wind.direction_deg)
    for i in np.flatnonzero(wind.speed_ms > 0):
        k = where[i]
        way = (found.fetch_m[k], found.open[k], found.sill_m[k], found.since_m[k], found.mean_m[k])
        heights[i], periods[i], length = raised(method, float(wind.speed_ms[i]), way, water, breaker_index)
        gone = np.isnan(length)
        total += np.where(gone, 0.0, wind.share[i] * np.nan_to_num(length))
        weight += np.where(gone, 0.0, wind.share[i])
        lost += np.where(gone, wind.share[i], 0.0)
    fetch = np.where(weight > 0, total / np.where(weight > 0, weight, 1.0), np.nan)
    swell, cap, period, share = _swell(water.swell, found_swell, cells, breaker_index)
    return Sea(heights, periods, wind.share, swell, cap, period, share, fetch, lost)


def _swell(
    table: SwellTable | None, found: Ways | None, cells: int, breaker_index: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Height, cap, period and share of each swell; one calm state without a table."""
    if table is None or found is None:
        return np.zeros((1, cells)), np.full((1, cells), np.inf), np.ones(1), np.ones(1)
    height = np.where(found.open, table.height_m[:, None], 0.0)
    cap = np.where(found.open, breaker_index * found.sill_m.astype(np.float64), np.inf)
    return height, cap, table.period_s, table.share
