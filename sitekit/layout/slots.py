"""What stands inside a plot: numbered slots at readings of 0.1 m, the ones on bad bottom skipped.

Slots are laid out once per kind of plot and then read off each plot's own tape line. A slot keeps its number whether or
not it is used, so that a diver who skips one does not lose count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.errors import Fault, InputFault
from sitekit.layout.readings import READING_M, Stands
from sitekit.layout.tape import TapeLine

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pattern:
    """Planned readings of one kind of plot.

    Parameters
    ----------
    along_m, offset_m : ndarray, shape (n,)
        Flat-bottom readings [m], multiples of 0.1 m for rectangles; offset 0 is the tape.
    angle_deg : ndarray or None
        For circles: whole degrees clockwise from the radius line at which the slot is `along_m` from the pin; offsets
        are then 0.
    """

    along_m: Floats
    offset_m: Floats
    angle_deg: Floats | None = None


@dataclass(frozen=True)
class Slots:
    """The slots of one plot.

    Parameters
    ----------
    number : ndarray of int64
        1 to n, in the pattern's order.
    along_m, offset_m : ndarray
        Readings along the bottom [m], multiples of 0.1 m.
    angle_deg : ndarray
        Degrees from the radius line; NaN in rectangles.
    x_m, y_m : ndarray
        Map positions of these readings [m].
    usable : ndarray of bool
        False: bad bottom or outside the outline; the number is skipped.
    """

    number: NDArray[np.int64]
    along_m: Floats
    offset_m: Floats
    angle_deg: Floats
    x_m: Floats
    y_m: Floats
    usable: NDArray[np.bool_]


def array_pattern(columns: int, rows: int, *, along_spacing_m: float, offset_spacing_m: float) -> Pattern:
    """Return rows × columns at fixed spacings, the tape down the middle; column after column.

    Parameters
    ----------
    columns, rows : int
        Slots along the tape, and across it, ≥ 1.
    along_spacing_m, offset_spacing_m : float
        [m], ≥ 0.1; rounded up to 0.1 m (offsets of an even number of rows to 0.1 m on both sides).

    Returns
    -------
    Pattern
        columns × rows slots; along from 0.

    Raises
    ------
    InputFault
        If a number is out of range.
    """
    if columns < 1 or rows < 1 or min(along_spacing_m, offset_spacing_m) < READING_M - 1e-9:
        came = f"{columns} columns × {rows} rows at {along_spacing_m} m and {offset_spacing_m} m"
        raise InputFault(Fault("plots", came, "at least 1 × 1 at 0.1 m or more", "Correct the array."))
    a, o = _steps_up(along_spacing_m), _steps_up(offset_spacing_m)
    along = np.arange(columns) * a
    offset = np.arange(rows) * o - ((rows - 1) * o) // 2
    grid_along, grid_offset = np.repeat(along, rows), np.tile(offset, columns)
    return Pattern(np.round(grid_along * READING_M, 1), np.round(grid_offset * READING_M, 1))


def free_pattern(length_m: float, width_m: float, *, separation_m: float) -> Pattern:
    """Return as many slots as straight rows hold in a rectangle: square or staggered, whichever holds more.

    Parameters
    ----------
    length_m, width_m : float
        Along and across the tape [m]; slots may stand on the outline.
    separation_m : float
        Least distance between two slots [m], ≥ 0.1.

    Returns
    -------
    Pattern
        Multiples of 0.1 m, column after column along the tape; every pair at least `separation_m` apart.

    Raises
    ------
    InputFault
        If the separation is below 0.1 m or a side is negative.
    """
    if separation_m < READING_M - 1e-9 or min(length_m, width_m) < 0:
        came = f"{length_m} × {width_m} m at {separation_m} m"
        raise InputFault(Fault("plots", came, "sides from 0 m, separation from 0.1 m", "Correct the plot."))
    long, wide, d = _steps_down(length_m), _steps_down(width_m), _steps_up(separation_m)
    trials = []
    for row_step, shift in ((d, 0), *_staggers(d, separation_m)):
        rows = wide // row_step + 1
        middle = ((rows - 1) * row_step) // 2
        points = [
            (along, j * row_step - middle) for j in range(rows) for along in range(shift if j % 2 else 0, long + 1, d)
        ]
        trials.append(np.array(sorted(points), np.int64))
    best = max(trials, key=len)
    return Pattern(np.round(best[:, 0] * READING_M, 1), np.round(best[:, 1] * READING_M, 1))


def circle_pattern(radius_m: float, *, separation_m: float) -> Pattern:
    """Return slots on rings around a pin, read as radius and whole degrees.

    Parameters
    ----------
    radius_m : float
        Of the plot [m]; a ring may stand on the rim.
    separation_m : float
        Least distance between two slots [m], ≥ 0.1.

    Returns
    -------
    Pattern
        Ring after ring from the inside; rings one separation apart (rounded up to 0.1 m), the first one separation from
        the pin; on a ring equal angles of whole degrees.

    Raises
    ------
    InputFault
        If the separation is below 0.1 m.
    """
    if separation_m < READING_M - 1e-9:
        raise InputFault(Fault("plots", f"{separation_m} m", "a separation from 0.1 m", "Correct it."))
    d, along, angle = _steps_up(separation_m), [], []
    for ring in range(d, _steps_down(radius_m) + 1, d):
        least = math.degrees(2 * math.asin(min(1.0, separation_m / (2 * ring * READING_M))))
        number = int(360 // math.ceil(least - 1e-9))
        for k in range(number):
            along.append(round(ring * READING_M, 1))
            angle.append(float((360 * k) // number))
    return Pattern(np.array(along), np.zeros(len(along)), np.array(angle))


def slots_of(pattern: Pattern, line: TapeLine, *, separation_m: float = 0.0, stands: Stands | None = None) -> Slots:
    """Read a pattern off one plot's tape line.

    Parameters
    ----------
    pattern : Pattern
        Readings on flat bottom.
    line : TapeLine
        The plot's line; its slope ratios turn readings into map positions.
    separation_m : float
        Least map distance between two slots [m]; 0: the pattern's own readings are used as they are.
    stands : callable, optional
        `stands(x, y)` -> bool array: allowed bottom.

    Returns
    -------
    Slots
        On a slope, readings are stretched (rounded up to 0.1 m per spacing) just as far as the separation on the map
        needs; slots that then pass the second pin or the plot's edge are not usable.
    """
    along, offset = pattern.along_m, pattern.offset_m
    if pattern.angle_deg is not None:
        return _ring_slots(pattern, line, stands)
    end, edge = float(along.max(initial=0.0)), float(np.abs(offset).max(initial=0.0))
    if separation_m > 0 and max(line.along_ratio, line.offset_ratio) > 1.0:
        along, offset = _stretched(along, offset, line, separation_m)
    x, y = line.to_map(along, offset)
    usable = (along <= end * line.along_ratio + 1e-6) & (np.abs(offset) <= edge * line.offset_ratio + 1e-6)
    if stands is not None:
        usable &= stands(x, y)
    number = np.arange(1, along.size + 1)
    return Slots(number, along, offset, np.full(along.size, np.nan), x, y, usable)


def _ring_slots(pattern: Pattern, line: TapeLine, stands: Stands | None) -> Slots:
    assert pattern.angle_deg is not None
    turn = np.radians(pattern.angle_deg)
    # Bottom distance per map distance in each direction, from the two ratios of the plane along and across the line.
    rise = math.sqrt(max(0.0, line.along_ratio**2 - 1)) * np.abs(np.cos(turn))
    rise = rise + math.sqrt(max(0.0, line.offset_ratio**2 - 1)) * np.abs(np.sin(turn))
    along = np.ceil(pattern.along_m * np.hypot(1.0, rise) / READING_M - 1e-6)
    flat = TapeLine(line.pin_x_m, line.pin_y_m, line.bearing_grid_deg, line.length_m)
    x, y = flat.to_map(pattern.along_m * np.cos(turn), pattern.along_m * np.sin(turn))
    usable = np.ones(along.size, np.bool_) if stands is None else np.asarray(stands(x, y))
    number = np.arange(1, along.size + 1)
    reading = np.round(along * READING_M, 1)
    return Slots(number, reading, np.zeros(along.size), pattern.angle_deg.copy(), x, y, usable)


def _stretched(along: Floats, offset: Floats, line: TapeLine, separation: float) -> tuple[Floats, Floats]:
    """Widen each direction's steps, a tenth at a time, until all pairs keep the separation on the map."""
    columns, a = np.unique(np.round(along / READING_M).astype(np.int64), return_inverse=True)
    lanes, o = np.unique(np.round(offset / READING_M).astype(np.int64), return_inverse=True)
    middle = int(np.argmin(np.abs(lanes)))
    for stretch in np.arange(1.0, max(line.along_ratio, line.offset_ratio) + 0.02, 0.01):
        ca = _widened(columns, min(stretch, line.along_ratio))
        co = _widened(lanes, min(stretch, line.offset_ratio))
        co -= co[middle] - lanes[middle]
        x, y = ca[a] / line.along_ratio * READING_M, co[o] / line.offset_ratio * READING_M
        if _closest(x, y) >= separation * (1 - 1e-9):
            break
    return np.round(ca[a] * READING_M, 1), np.round(co[o] * READING_M, 1)


def _widened(steps: NDArray[np.int64], stretch: float) -> Floats:
    """Sorted steps with every difference stretched and rounded up."""
    wider = np.ceil(np.diff(steps) * stretch - 1e-9)
    return np.asarray(steps[0] + np.concatenate([[0.0], np.cumsum(wider)]))


def _closest(x: Floats, y: Floats) -> float:
    if x.size < 2:
        return math.inf
    points = np.column_stack([x, y])
    return float(cKDTree(points).query(points, k=2)[0][:, 1].min())


def _staggers(d: int, separation: float) -> list[tuple[int, int]]:
    """Row step and shift (steps of 0.1 m) of staggered rows: the closest rows that keep the separation."""
    need = (separation / READING_M) ** 2 * (1 - 1e-9)
    found = []
    for shift in {d // 2, d - d // 2}:
        near = min(shift, d - shift)
        step = math.ceil(math.sqrt(max(need - near * near, 0.0)) - 1e-9)
        # Rows two apart stand in line again.
        found.append((max(step, math.ceil(d / 2)), shift))
    return found


def _steps_up(value_m: float) -> int:
    return math.ceil(value_m / READING_M - 1e-6)


def _steps_down(value_m: float) -> int:
    return math.floor(value_m / READING_M + 1e-6)
