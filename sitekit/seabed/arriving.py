"""The sea that arrives at each cell from each wind and swell, before the depth of the cell itself counts.

Straight lines only: no refraction, no diffraction, no currents. Each direction is looked along five rays. One that is
open to the ocean is *unknown* unless the user says how far the water reaches beyond the maps or which sea arrives
there; it is never counted as calm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_growth import wave_growth
from sitekit.seabed.wave_theory import relative_water_depth, shoaling
from sitekit.seabed.way import Lookout, Ways
from sitekit.seabed.wind import SwellTable, WindTable

# Shore Protection Manual 1984, chapter 3 takes the mean of nine rays 3° apart (recalled, unverified); here every second
RAYS_DEG = (-12.0, -6.0, 0.0, 6.0, 12.0)

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
        Deep-water height of what gets there of each swell [m]; one swell of 0 m if none is given.
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
    swell_s: Floats
    swell_share: Floats
    fetch_m: Floats
    unknown_share: Floats


@dataclass(frozen=True)
class Raised:
    """The sea of one wind at n cells: height [m], period [s], mean fetch [m]; NaN where unknown."""

    height_m: Floats
    period_s: Floats
    fetch_m: Floats


def raised(method: str, speed_ms: float, rays: Ways, water: OpenWater, breaker_index: float) -> Raised:
    """Return the sea of one wind, cut where its way is shallow, as the mean of its rays.

    Parameters
    ----------
    method, speed_ms
        As `wave_growth`.
    rays : Ways
        The rays of one direction, arrays of shape (rays, n).
    water : OpenWater
        Where it says nothing, cells with an open ray are unknown.
    breaker_index : float
        Greatest significant height over depth.

    Notes
    -----
    H² is the mean over the rays, the period that of the rays weighted by H². Past the shallowest place on its way
    (depth s) a sea of height H > i · s goes on with i · s, and grows anew over the distance since:
    H' = min(H, sqrt((i s)² + H_since²)), with the period of the larger part. Ours: it keeps a lagoon behind a crest
    from the full sea outside; only one such place per ray counts.
    """
    limit = water.fetch_limit_m
    length = np.where(rays.open, np.maximum(rays.fetch_m, limit or 0.0), rays.fetch_m).astype(np.float64)
    if not water.told:
        length = np.where(rays.open, np.nan, length)
    depth = np.where(np.isnan(rays.mean_m), 0.1, rays.mean_m) if method == "spm1984_shallow" else None
    grown = wave_growth(method, speed_ms, length, mean_depth_m=depth)
    height, period = grown.height_m, grown.period_s
    cap = breaker_index * rays.sill_m.astype(np.float64)
    cut = height > cap
    if cut.any():
        since = rays.since_m[cut].astype(np.float64)
        anew = wave_growth(method, speed_ms, since, mean_depth_m=None if depth is None else depth[cut])
        left = cap[cut]
        height[cut] = np.minimum(height[cut], np.sqrt(left**2 + anew.height_m**2))
        period[cut] = np.where(anew.height_m > left, anew.period_s, period[cut])
    energy = height**2
    total = energy.sum(axis=0)
    waves = total > 0
    mean_period = (energy * np.where(energy > 0, period, 0.0)).sum(axis=0) / np.where(waves, total, 1.0)
    return Raised(
        np.sqrt(total / height.shape[0]),
        np.where(waves, mean_period, np.nan),
        length.mean(axis=0),
    )


def arriving(
    look: Lookout,
    wind: WindTable,
    *,
    method: str,
    water: OpenWater,
    breaker_index: float,
    rays_deg: Sequence[float] = RAYS_DEG,
) -> Sea:
    """Return the sea at each cell.

    Parameters
    ----------
    look : Lookout
        From the n cells.
    wind : WindTable
    method, water, breaker_index
        As `raised`.
    rays_deg : sequence of float
        Offsets of the rays from each direction [degrees].
    """
    blows = np.flatnonzero(wind.speed_ms > 0)
    heights: dict[int, Raised] = {}
    for direction in np.unique(wind.direction_deg[blows]):
        rays = look(rays_of(float(direction), rays_deg))
        for i in blows[wind.direction_deg[blows] == direction]:
            heights[int(i)] = raised(method, float(wind.speed_ms[i]), rays, water, breaker_index)
    swell, period, share = _swell(look, water.swell, breaker_index, rays_deg)
    cells = swell.shape[1]
    height, periods = np.zeros((wind.share.size, cells)), np.full((wind.share.size, cells), np.nan)
    total, weight, lost = np.zeros(cells), np.zeros(cells), np.zeros(cells)
    for i, one in sorted(heights.items()):
        height[i], periods[i] = one.height_m, one.period_s
        gone = np.isnan(one.height_m)
        total += np.where(gone, 0.0, wind.share[i] * np.where(gone, 0.0, one.fetch_m))
        weight += np.where(gone, 0.0, wind.share[i])
        lost += np.where(gone, wind.share[i], 0.0)
    fetch = np.where(weight > 0, total / np.where(weight > 0, weight, 1.0), np.nan)
    return Sea(height, periods, wind.share, swell, period, share, fetch, lost)


def rays_of(direction_deg: float, rays_deg: Sequence[float]) -> Floats:
    """Return the directions of the rays about one direction, 0 to 360."""
    return np.asarray((direction_deg + np.asarray(rays_deg, np.float64)) % 360.0)


def _swell(
    look: Lookout, table: SwellTable | None, breaker_index: float, rays_deg: Sequence[float]
) -> tuple[Floats, Floats, Floats]:
    """Deep-water height, period and share of each swell; one calm state without a table.

    A swell cut to i · s over a shallow place goes on with the energy that is left: as a deep-water height
    i · s / Ks(s).
    """
    if table is None:
        return np.zeros((1, look.cells)), np.ones(1), np.ones(1)
    out = []
    for direction, height, period in zip(table.direction_deg, table.height_m, table.period_s, strict=True):
        rays = look(rays_of(float(direction), rays_deg))
        sill = rays.sill_m.astype(np.float64)
        shallow = np.isfinite(sill)
        ratio = np.ones(sill.shape)
        ratio[shallow] = shoaling(relative_water_depth(float(period), sill[shallow]))
        deep = np.where(rays.open, np.minimum(height, breaker_index * sill / ratio), 0.0)
        out.append(np.sqrt((deep**2).mean(axis=0)))
    return np.array(out), table.period_s, table.share
