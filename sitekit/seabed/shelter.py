"""Shelter: how each site lies to a wind of one speed from each direction, to choose the site of the day."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from sitekit.errors import Faults
from sitekit.seabed.fetch import LAND, UNKNOWN, directions
from sitekit.seabed.open_water import OpenWater, reach_of
from sitekit.seabed.tide import depth_at
from sitekit.seabed.wave_growth import check_method, wave_growth
from sitekit.seabed.wave_theory import breaking_height, orbital_velocity
from sitekit.seabed.waves import MOBILE_RUBBLE_MS


def shelter_table(
    sites: Sequence[str],
    rows: ArrayLike,
    columns: ArrayLike,
    depth_m: ArrayLike,
    land: ArrayLike,
    cell_m: float,
    *,
    speed_ms: float,
    method: str,
    count: int = 16,
    open_water: OpenWater | None = None,
    tide_m: float = 0.0,
    convergence_deg: float = 0.0,
    mobile_ms: float = MOBILE_RUBBLE_MS,
) -> pd.DataFrame:
    """Return how each site lies to a wind of one speed from each direction: which site to go to on which day.

    Parameters
    ----------
    sites : sequence of str
        Site codes.
    rows, columns : array of int, shape (sites,)
        Cell of each site.
    depth_m, land, cell_m, method, open_water, tide_m, convergence_deg, mobile_ms
        As `wave_fields`.
    speed_ms : float
        The wind to compare by [m/s].
    count : int
        Directions, 8 to 36.

    Returns
    -------
    DataFrame
        One row per site and direction: `site`, `direction_deg`, `fetch_m`, `open` (bool), `wave_height_m`, `period_s`,
        `orbital_velocity_ms`, `shelter` (`sheltered` below `mobile_ms`, `exposed`, `unknown` where open without limit).
        Swell is left out: the table compares winds.

    Raises
    ------
    InputFault
        If a site lies outside the grid, on land or where no depth is known.

    References
    ----------
    `kenyon2023` for the default threshold.

    Examples
    --------
    >>> t = shelter_table(["WS"], [0], [1], [[-1.0, 2.0]], [[1, 0]], 1000.0, speed_ms=8.0, method="spm1984", count=8)
    >>> t.loc[t.direction_deg.isin([90.0, 270.0]), ["direction_deg", "open", "shelter"]].values.tolist()
    [[90.0, True, 'unknown'], [270.0, False, 'sheltered']]
    """
    water = open_water or OpenWater()
    check_method(method)
    depth = depth_at(depth_m, tide_m)
    surface = np.asarray(land).astype(np.uint8)
    r, c = np.asarray(rows, np.int64), np.asarray(columns, np.int64)
    with Faults() as faults:
        if not len(sites) == r.size == c.size:
            faults.add(
                "sites", f"{len(sites)} codes, {r.size} rows, {c.size} columns", "one cell per site", "Match them."
            )
        for code, row, col in zip(sites, r, c, strict=False):
            if not (0 <= row < depth.shape[0] and 0 <= col < depth.shape[1]):
                faults.add(f"site {code}", f"cell {row}, {col}", f"inside {depth.shape}", "Correct its position.")
            elif not (depth[row, col] > 0 and surface[row, col] not in (LAND, UNKNOWN)):
                faults.add(f"site {code}", "no water with a known depth", "a cell with depth", "Correct its position.")
    use = np.zeros(depth.shape, dtype=np.bool_)
    use[r, c] = True
    order = np.cumsum(use.ravel()).reshape(use.shape)[r, c] - 1
    bearings = directions(count)
    reach, is_open, along = reach_of(
        surface,
        depth,
        cell_m,
        bearings,
        convergence_deg=convergence_deg,
        use=use,
        shallow=method == "spm1984_shallow",
        water=water,
    )
    reach, is_open, along = reach[:, order], is_open[:, order], along[:, order]
    unknown = is_open & (water.fetch_limit_m is None)
    mean_depth = along if method == "spm1984_shallow" else None
    grown = wave_growth(method, speed_ms, np.where(unknown, np.nan, reach), mean_depth_m=mean_depth)
    height = np.minimum(grown.height_m, breaking_height(depth[r, c]))
    velocity = np.where(
        height > 0, orbital_velocity(height, np.where(height > 0, grown.period_s, 1.0), depth[r, c]), height
    )
    word = np.where(unknown, "unknown", np.where(velocity < mobile_ms, "sheltered", "exposed"))
    table = {
        "site": np.tile(np.asarray(sites, dtype=object), count),
        "direction_deg": np.repeat(bearings, len(sites)),
        "fetch_m": reach.ravel(),
        "open": is_open.ravel(),
        "wave_height_m": height.ravel(),
        "period_s": grown.period_s.ravel(),
        "orbital_velocity_ms": velocity.ravel(),
        "shelter": word.ravel(),
    }
    return pd.DataFrame(table).sort_values(["site", "direction_deg"], kind="stable", ignore_index=True)
