"""What the sea that arrives does at the depth of a cell: height, near-bed motion, share of time that loose rubble moves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.seabed.arriving import Sea
from sitekit.seabed.wave_theory import GRAVITY_MS2, bed_velocity, relative_depth

MOBILE_RUBBLE_MS = 0.30  # near-bed orbital velocity that moves half of loose rubble: Kenyon et al. 2023, abstract [m/s]
HIGH_SHARE = 0.95  # exposure is what is not exceeded during 95 % of the time; ours, no source
_STATES_AT_ONCE = 40_000  # states (places × winds × swells) of one pass stay near the processor

Floats = NDArray[np.float64]
AT_BED = ("orbital_velocity_ms", "wave_height_m", "share_above_mobile")


def at_bed(
    sea: Sea,
    cell: NDArray[np.intp],
    depth_m: Floats,
    *,
    breaker_index: float,
    mobile_ms: float,
    high_share: float,
    gravity_ms2: float = GRAVITY_MS2,
) -> dict[str, Floats]:
    """Return what happens at places of known depth.

    Parameters
    ----------
    sea : Sea
        What arrives at n cells.
    cell : array of int, shape (places,)
        Which of them each place belongs to.
    depth_m : array, shape (places,)
        Depth of water there, above 0 [m].
    breaker_index, mobile_ms, high_share
        As `wave_fields`.
    gravity_ms2 : float
        [m/s²].

    Returns
    -------
    dict of array, shape (places,)
        `orbital_velocity_ms`, `wave_height_m`, `share_above_mobile` as `wave_fields`, over the known time only; NaN
        without any.

    Notes
    -----
    Wind sea and swell are independent: all pairs count, squares of heights and of velocities add, both shrink together
    where the sum would break. Worked in float32: to about 1e-6 of the value.
    """
    winds, swells = sea.height_m.shape[0], sea.swell_m.shape[0]
    states = winds * swells
    size = max(1, _STATES_AT_ONCE // states)
    out = {name: np.full(depth_m.size, np.nan) for name in AT_BED}
    weights = (sea.share[:, None] * sea.swell_share[None, :]).ravel()
    h1 = np.ascontiguousarray(sea.height_m.T, dtype=np.float32)
    t1 = np.ascontiguousarray(np.where(np.isnan(sea.period_s), 1.0, sea.period_s).T, dtype=np.float32)
    h2 = np.ascontiguousarray(sea.swell_m.T, dtype=np.float32)
    t2 = np.broadcast_to(sea.swell_s.astype(np.float32), h2.shape)
    for start in range(0, depth_m.size, size):
        part = slice(start, start + size)
        at = cell[part]
        depth = depth_m[part].astype(np.float32)[:, None]
        known = ~np.isnan(h1[at])
        height1 = np.where(known, h1[at], np.float32(0.0))
        speed1 = _speed(height1, t1[at], depth, gravity_ms2)
        height2, speed2 = _shoaled(h2[at], t2[at], depth, gravity_ms2)
        shape = (at.size, winds, swells)
        height = np.sqrt(height1[:, :, None] ** 2 + height2[:, None, :] ** 2).reshape(at.size, states)
        speed = np.sqrt(speed1[:, :, None] ** 2 + speed2[:, None, :] ** 2).reshape(at.size, states)
        most = np.float32(breaker_index) * depth
        breaks = height > most
        speed = np.where(breaks, speed * (most / np.where(breaks, height, np.float32(1.0))), speed)
        height = np.minimum(height, most)
        weight = np.broadcast_to(weights, (at.size, states))
        if not known.all():
            weight = np.where(np.broadcast_to(known[:, :, None], shape).reshape(at.size, states), weight, 0.0)
        total = weight.sum(axis=1)
        some = total > 0
        moving = np.where(speed >= np.float32(mobile_ms), weight, 0.0).sum(axis=1)
        out["share_above_mobile"][part] = np.where(some, moving / np.where(some, total, 1.0), np.nan)
        out["orbital_velocity_ms"][part] = np.where(some, _quantile(speed, weight, total * (1 - high_share)), np.nan)
        out["wave_height_m"][part] = np.where(some, _quantile(height, weight, total * (1 - high_share)), np.nan)
    return out


def _speed(
    height: NDArray[np.float32], period: NDArray[np.float32], depth: NDArray[np.float32], gravity: float
) -> NDArray[np.float32]:
    kh = relative_depth(np.float32(4 * np.pi**2 / gravity) * depth / period**2)
    return np.asarray(bed_velocity(height, period, kh), dtype=np.float32)


def _shoaled(
    height: NDArray[np.float32], period: NDArray[np.float32], depth: NDArray[np.float32], gravity: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Height and near-bed speed of swell that runs straight in."""
    if not height.any():
        return height, height
    kh = relative_depth(np.float32(4 * np.pi**2 / gravity) * depth / period**2)
    x = np.minimum(kh, np.float32(40.0))
    grown = height / np.sqrt(np.tanh(x) * (1 + 2 * x / np.sinh(2 * x)))
    return np.asarray(grown, np.float32), np.asarray(bed_velocity(grown, period, kh), np.float32)


def _quantile(values: NDArray[np.float32], weights: Floats, spare: Floats) -> Floats:
    """Smallest value of each row with no more than a spare weight above it.

    Values are not negative, so their bits sort like the numbers; the place in the row rides in the low bits. The
    largest quarter of the states is looked at first, and is enough for most rows.
    """
    states = values.shape[1]
    keys = (np.ascontiguousarray(values).view(np.int32).astype(np.int64) << 20) | np.arange(states)
    few = max(states // 4, 1)
    top = np.partition(keys, states - few, axis=1)[:, states - few :] if states > few else keys
    out, settled = _largest(values, weights, spare, top)
    if not settled.all():
        rest = ~settled
        out[rest], _ = _largest(values[rest], weights[rest], spare[rest], keys[rest])
    return out


def _largest(
    values: NDArray[np.float32], weights: Floats, spare: Floats, keys: NDArray[np.int64]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Go down from the largest value of each row while the weight above is spare; whether that ended among the keys."""
    order = np.sort(keys, axis=1)[:, ::-1] & ((1 << 20) - 1)
    rows = np.arange(order.shape[0])
    run = np.cumsum(weights[rows[:, None], order], axis=1)
    above = (run <= (spare * (1 + 1e-9) + 1e-12)[:, None]).sum(axis=1)
    picked = order[rows, np.minimum(above, order.shape[1] - 1)]
    return values[rows, picked].astype(np.float64), above < order.shape[1]
