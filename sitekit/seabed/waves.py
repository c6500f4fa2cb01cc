"""Wave exposure of every cell of a small grid, cell by cell: the measure by which `exposure` is judged."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.arriving import RAYS_DEG, arriving
from sitekit.seabed.at_bed import AT_BED, HIGH_SHARE, MOBILE_RUBBLE_MS, at_bed
from sitekit.seabed.fetch import LAND, UNKNOWN
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.tide import depth_at
from sitekit.seabed.wave_growth import check_method
from sitekit.seabed.wave_theory import BREAKER_INDEX
from sitekit.seabed.way import Lookout, Surroundings
from sitekit.seabed.wind import WindTable

FIELDS = (*AT_BED, "fetch_m", "unknown_wave_share")


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
    rays_deg: Sequence[float] = RAYS_DEG,
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
        Cells to compute; others are NaN. The ways still see the whole grid.
    rays_deg : sequence of float
        Rays that each direction is looked along, as offsets from it [degrees].

    Returns
    -------
    dict of float32 arrays, shape (rows, columns)
        `orbital_velocity_ms` near-bed velocity of the significant wave, not exceeded during `high_share` of the time;
        `wave_height_m` significant height, likewise;
        `share_above_mobile` share of time with that velocity at or above `mobile_ms`, 0-1;
        `fetch_m` mean fetch, weighted by the share of time each wind blows (the limit where open);
        `unknown_wave_share` share of time with wind or swell that is unknown, 0-1 (given even where the others are NaN).

    Raises
    ------
    InputFault
        If shapes differ or a setting is out of range.

    Notes
    -----
    For each row of the wind table: H, T from the fetch of each ray, cut by the shallowest place on the way (`raised`);
    H ≤ breaker_index · h; Ub = π H / (T sinh kh). With swell, wind and swell are taken as independent: Hs² and Ub² add,
    swell shoals straight in, and both shrink together where the sum would break. A quantile of k states is the smallest
    velocity whose cumulated share reaches `high_share`.

    References
    ----------
    `spm1984`, `hasselmann1973`, `cem2002`, `dean1991`, `mccowan1894`, `kenyon2023`.

    Examples
    --------
    >>> table = WindTable([270.0], [10.0], [1.0])
    >>> f = wave_fields([[-1.0, 2.0, 2.0]], [[1, 0, 0]], 1000.0, table, method="jonswap1973", rays_deg=[0.0])
    >>> f["wave_height_m"].round(2)
    array([[ nan, 0.11, 0.2 ]], dtype=float32)
    """
    water = open_water or OpenWater()
    check_method(method)
    depth = depth_at(depth_m, tide_m)
    surface = np.asarray(land)
    surface = surface.astype(np.uint8) if surface.dtype == np.bool_ else surface
    check_shares(mobile_ms, high_share, max_unknown_share, breaker_index)
    with Faults() as faults:
        if depth.shape != surface.shape:
            faults.add("land", f"{surface.shape} cells", f"{depth.shape} as the depth", "Bring both to one grid.")
    use = (surface != LAND) & (surface != UNKNOWN) & (depth > 0)
    if wanted is not None:
        use &= np.asarray(wanted, dtype=np.bool_)
    around = Surroundings(surface, depth, cell_m)
    look = Lookout(around, use, convergence_deg=convergence_deg)
    sea = arriving(look, wind, method=method, water=water, breaker_index=breaker_index, rays_deg=rays_deg)
    held = at_bed(
        sea,
        np.arange(int(use.sum())),
        depth[use],
        breaker_index=breaker_index,
        mobile_ms=mobile_ms,
        high_share=high_share,
    )
    held |= {"fetch_m": sea.fetch_m, "unknown_wave_share": sea.unknown_share}
    known = sea.unknown_share <= max_unknown_share + 1e-9
    out = {}
    for name in FIELDS:
        out[name] = np.full(depth.shape, np.nan, dtype=np.float32)
        out[name][use] = held[name] if name == "unknown_wave_share" else np.where(known, held[name], np.nan)
    return out


def check_shares(mobile_ms: float, high_share: float, max_unknown_share: float, breaker_index: float) -> None:
    """Raise InputFault with every setting of the wave fields that is out of range."""
    with Faults() as faults:
        for name, value, low, high in (
            ("mobile_ms", mobile_ms, 0.01, 10.0),
            ("high_share", high_share, 0.5, 1.0),
            ("max_unknown_share", max_unknown_share, 0.0, 1.0),
            ("breaker_index", breaker_index, 0.3, 1.3),
        ):
            if not low <= value <= high:
                faults.add(name, f"{value}", f"{low} to {high}", "Correct the setting.")
