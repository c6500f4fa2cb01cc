"""Tape lines fitted to points that are placed already: every unit belongs to one plot, whatever the mode.

Points of the modes `number` and `fill` are cut into strips along one bearing and into lengths a diver can swim; each
bundle gets a tape line down its middle, and readings of 0.1 m that keep the separation.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Fault, InputFault
from sitekit.layout.readings import READING_M, Readings, Stands, rounded_readings
from sitekit.layout.tape import TapeLine, direction

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ratios = Callable[[Floats, Floats, float], tuple[float, float]]

TAPE_M = 30.0  # a common reel of fibreglass tape (common practice, no source)
MOST_OFFSET_M = 2.0  # as in the array after Johnson 2011, Box 7 (our reading): what a diver reaches from the tape
MOST_UNITS = 50  # 10 genets × 5 ramets, one array of Johnson 2011, Box 7
MOST_EMPTY_M = 6.0  # a longer stretch of tape without a unit begins a new plot (our choice)
BEARINGS_DEG = tuple(float(b) for b in range(0, 180, 15))
_PHASES = 4


@dataclass(frozen=True)
class Bundles:
    """Points bundled along tape lines.

    Parameters
    ----------
    lines : tuple of TapeLine
        One per bundle.
    bundle : ndarray of int64, shape (n,)
        Bundle of each point.
    readings : Readings
        Along, offset, map position and whether the point is kept.
    half_width_m : ndarray
        Greatest distance of a unit from the tape on the map, per bundle [m].
    """

    lines: tuple[TapeLine, ...]
    bundle: Ints
    readings: Readings
    half_width_m: Floats


def bundle_points(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    separation_m: float,
    tape_m: float = TAPE_M,
    most_offset_m: float = MOST_OFFSET_M,
    most_units: int = MOST_UNITS,
    bearings_deg: tuple[float, ...] = BEARINGS_DEG,
    ratios: Ratios | None = None,
    stands: Stands | None = None,
) -> Bundles:
    """Cut points into bundles along tape lines of one bearing, as few bundles as the bearings tried allow.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Planned map positions of one candidate [m].
    separation_m : float
        Least map distance between any two [m]; readings keep it. Plan points `ROUNDING_MARGIN_M` wider apart and none
        is lost.
    tape_m, most_offset_m : float
        Greatest length of a tape line and greatest distance from it [m].
    most_units : int
        Greatest number of units in a bundle, ≥ 1.
    bearings_deg : tuple of float
        Grid bearings tried, 0 to below 180 [°].
    ratios : callable, optional
        `ratios(x, y, bearing)` -> bottom distance per map distance along and across, for the points of one bundle.
    stands : callable, optional
        `stands(x, y)` -> bool array: allowed bottom.

    Returns
    -------
    Bundles
        In the order of the points. A tape line begins at its first unit and ends at its last, 1 m long at least.

    Raises
    ------
    InputFault
        If a length or the number of units is not positive.
    """
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    if min(tape_m, most_offset_m) <= 0 or most_units < 1 or not bearings_deg:
        came = f"tape {tape_m} m, offset {most_offset_m} m, {most_units} units"
        raise InputFault(Fault("plots", came, "numbers above 0 and a bearing", "Correct the plot settings."))
    if x.size == 0:
        return Bundles((), np.zeros(0, np.int64), rounded_readings([], [], x, y, separation_m=0), np.zeros(0))
    best: tuple[int, float, Ints] | None = None
    fewest = (x.size + 1, 0.0)
    for bearing in bearings_deg:
        s, c = direction(bearing)
        u, v = x * s + y * c, x * c - y * s
        for phase in range(_PHASES):
            strip = np.floor((v - v.min()) / (2 * most_offset_m) + phase / _PHASES).astype(np.int64)
            order = np.lexsort((u, strip))
            number, of = _cut(u, strip, order, most_units, tape_m)
            size, mean = np.bincount(of), np.bincount(of, v - v.min())
            spread = round(float(((v - v.min()) ** 2).sum() - (mean**2 / size).sum()), 6)
            if (number, spread) < fewest:  # of equal numbers, the one whose units stand closest to their tapes
                best, fewest = (number, bearing, of), (number, spread)
    assert best is not None
    lines = [_line(x[best[2] == k], y[best[2] == k], best[1], ratios) for k in range(best[0])]
    readings = rounded_readings(lines, best[2], x, y, separation_m=separation_m, stands=stands)
    half = np.zeros(best[0])
    across = np.abs(readings.offset_m) / np.array([line.offset_ratio for line in lines])[best[2]]
    np.maximum.at(half, best[2], np.where(readings.kept, across, 0.0))
    return Bundles(tuple(lines), best[2], readings, half)


def _line(x: Floats, y: Floats, bearing: float, ratios: Ratios | None) -> TapeLine:
    s, c = direction(bearing)
    u, v = x * s + y * c, x * c - y * s
    start, end, middle = float(u.min()), float(u.max()), 0.5 * float(v.min() + v.max())
    along_ratio, offset_ratio = (1.0, 1.0) if ratios is None else ratios(x, y, bearing)
    tape = max(1.0, math.ceil((end - start) * along_ratio / READING_M - 1e-6) * READING_M)
    pin_x, pin_y = start * s + middle * c, start * c - middle * s
    return TapeLine(pin_x, pin_y, bearing, tape / along_ratio, along_ratio, offset_ratio)


@compiled
def _cut(u: Floats, strip: Ints, order: Ints, most_units: int, tape: float) -> tuple[int, Ints]:
    """Number of bundles, and each point's: a new one at a new strip, a full one, a tape's end or a long gap."""
    of = np.empty(u.size, np.int64)
    bundle, held, first, last, lane = -1, 0, 0.0, 0.0, np.int64(-1)
    for k in order:
        if strip[k] != lane or held >= most_units or u[k] - first > tape or u[k] - last > MOST_EMPTY_M:
            bundle += 1
            held, first, lane = 0, u[k], strip[k]
        of[k] = bundle
        held += 1
        last = u[k]
    return bundle + 1, of
