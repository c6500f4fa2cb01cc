"""Shelter: how each site lies to a wind of one speed from each direction, to choose the site of the day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.arriving import RAYS_DEG, raised, rays_of
from sitekit.seabed.at_bed import MOBILE_RUBBLE_MS
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_growth import check_method
from sitekit.seabed.wave_theory import BREAKER_INDEX, breaking_height, orbital_velocity
from sitekit.seabed.way import Lookout


@dataclass(frozen=True)
class OneWind:
    """The sea that a wind of one speed raises from each direction, shape (directions, rows, columns).

    Parameters
    ----------
    directions_deg : array, shape (directions,)
        Where the wind comes from [degrees from true north].
    height_m, period_s : array
        Before the depth of the cell itself counts [m], [s]; NaN off the water and where unknown.
    fetch_m : array
        Water crossed, mean of the rays [m]; where `open`, as far as is known or the limit.
    open : array of bool
        No land was met by one of the rays.
    """

    directions_deg: NDArray[np.float64]
    height_m: NDArray[np.float64]
    period_s: NDArray[np.float64]
    fetch_m: NDArray[np.float64]
    open: NDArray[np.bool_]


def one_wind(
    look: Lookout,
    directions_deg: ArrayLike,
    speed_ms: float,
    *,
    method: str,
    open_water: OpenWater | None = None,
    breaker_index: float = BREAKER_INDEX,
    rays_deg: Sequence[float] = RAYS_DEG,
) -> OneWind:
    """Return the sea of one wind speed from each direction, swell left out: it compares winds.

    Parameters
    ----------
    look : Lookout
        From the cells wanted; its depths are those at the tide of the day.
    directions_deg : array, shape (directions,)
        0 to 360.
    speed_ms : float
        The wind to compare by [m/s].
    method, open_water, breaker_index, rays_deg
        As `wave_fields`; without a limit, open directions are unknown.

    Raises
    ------
    InputFault
        If the method is unknown, or speed or direction is out of range.

    Examples
    --------
    >>> from sitekit.seabed.way import Surroundings
    >>> bay = Surroundings(np.array([[1, 0, 0]], np.uint8), np.array([[-1.0, 2.0, 2.0]]), 1000.0)
    >>> w = one_wind(Lookout(bay, bay.codes == 0, convergence_deg=0.0), [90.0, 270.0], 8.0, method="spm1984", rays_deg=[0.0])
    >>> w.height_m[:, 0, 2].round(2)
    array([ nan, 0.18])
    """
    check_method(method)
    bearings = np.asarray(directions_deg, np.float64)
    water = OpenWater(fetch_limit_m=(open_water or OpenWater()).fetch_limit_m)
    wet = look.use
    shape = (bearings.size, *wet.shape)
    height, period, reach = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    is_open = np.zeros(shape, np.bool_)
    for k, bearing in enumerate(bearings):
        rays = look(rays_of(float(bearing), rays_deg))
        sea = raised(method, speed_ms, rays, water, breaker_index)
        height[k][wet], period[k][wet] = sea.height_m, sea.period_s
        reach[k][wet] = np.where(np.isnan(sea.fetch_m), rays.fetch_m.mean(axis=0), sea.fetch_m)
        is_open[k][wet] = rays.open.any(axis=0)
    return OneWind(bearings, height, period, reach, is_open)


def shelter_table(
    sites: Sequence[str],
    depth_m: ArrayLike,
    wind: OneWind,
    rows: ArrayLike,
    columns: ArrayLike,
    speed_ms: float,
    *,
    breaker_index: float = BREAKER_INDEX,
    mobile_ms: float = MOBILE_RUBBLE_MS,
    tide_m: float = 0.0,
) -> pd.DataFrame:
    """Return how each site lies to the wind from each direction: which site to go to on which day.

    Parameters
    ----------
    sites : sequence of str
        Site codes.
    depth_m : array, shape (sites,)
        Charted depth at each site [m]; NaN where unknown.
    wind : OneWind
    rows, columns : array of int, shape (sites,)
        Cell of each site in the arrays of `wind`.
    speed_ms : float
        Speed that `wind` was made for [m/s].
    breaker_index, mobile_ms
        As `wave_fields`.
    tide_m : float
        Height of tide that `wind` was made for [m above chart datum].

    Returns
    -------
    DataFrame
        One row per site and direction: `site`, `direction_deg`, `wind_ms`, `depth_m`, `fetch_m`, `open`,
        `arriving_m` height of the sea that arrives, `hs_m` what the site's own depth leaves of it, `period_s`,
        `orbital_velocity_ms`, `shelter` (`sheltered` below `mobile_ms`, `exposed`, `unknown`), `rank` among the sites
        for that direction, 1 = least sea that arrives, to the centimetre (where it breaks over a shallow site there is
        no shelter), equal ones share it, missing where unknown.

    Raises
    ------
    InputFault
        If the lengths differ or a site lies outside the arrays.

    References
    ----------
    `kenyon2023` for the default threshold.

    Examples
    --------
    >>> from sitekit.seabed.way import Surroundings
    >>> bay = Surroundings(np.array([[1, 0, 0]], np.uint8), np.array([[-1.0, 2.0, 2.0]]), 1000.0)
    >>> w = one_wind(Lookout(bay, bay.codes == 0, convergence_deg=0.0), [90.0, 270.0], 8.0, method="spm1984", rays_deg=[0.0])
    >>> t = shelter_table(["WS"], [2.0], w, [0], [1], 8.0)
    >>> t[["direction_deg", "open", "shelter"]].values.tolist()
    [[90.0, True, 'unknown'], [270.0, False, 'sheltered']]
    """
    r, c = np.asarray(rows, np.int64), np.asarray(columns, np.int64)
    charted = np.asarray(depth_m, np.float64)
    shape = wind.height_m.shape[1:]
    with Faults() as faults:
        if not len(sites) == r.size == c.size == charted.size:
            faults.add("sites", f"{len(sites)} codes, {r.size} cells, {charted.size} depths", "as many each", "Match.")
        for code, row, col in zip(sites, r, c, strict=False):
            if not (0 <= row < shape[0] and 0 <= col < shape[1]):
                faults.add(f"site {code}", f"cell {row}, {col}", f"inside {shape}", "Correct its position.")
    depth = charted + tide_m
    depth = np.where(depth > 0, depth, np.nan)
    count = wind.directions_deg.size
    arriving = np.where(np.isnan(depth), np.nan, wind.height_m[:, r, c])
    height = np.minimum(arriving, breaking_height(depth, index=breaker_index))
    period = wind.period_s[:, r, c]
    waves = height > 0
    velocity = np.where(
        waves, orbital_velocity(np.where(waves, height, 0.0), np.where(waves, period, 1.0), depth), height
    )
    unknown = np.isnan(height)
    word = np.where(unknown, "unknown", np.where(velocity < mobile_ms, "sheltered", "exposed"))
    rounded = pd.DataFrame(np.round(arriving, 2))
    table = {
        "site": np.tile(np.asarray(sites, dtype=object), count),
        "direction_deg": np.repeat(wind.directions_deg, len(sites)),
        "wind_ms": float(speed_ms),
        "depth_m": np.tile(charted, count),
        "fetch_m": wind.fetch_m[:, r, c].ravel(),
        "open": wind.open[:, r, c].ravel(),
        "arriving_m": arriving.ravel(),
        "hs_m": height.ravel(),
        "period_s": np.where(waves, period, np.nan).ravel(),
        "orbital_velocity_ms": velocity.ravel(),
        "shelter": word.ravel(),
        "rank": rounded.rank(axis=1, method="min").to_numpy().ravel(),
    }
    return pd.DataFrame(table).sort_values(["site", "direction_deg"], kind="stable", ignore_index=True)
