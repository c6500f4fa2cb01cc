"""Rectangles side by side on straight shelves: what each bearing offers, and the best choice along and across shelves.

Everything here is on plain arrays. A *field* holds, for one bearing, the quality of the rectangle that starts at each
sample of a grid turned into that bearing; below 0: not to be used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Fault, InputFault
from sitekit.layout.robustness import disc_half_widths, robust_share
from sitekit.layout.tape import direction

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ground = tuple[NDArray[np.bool_], NDArray[np.float32], Floats]  # allowed, score, and what `fine_ground` says


@dataclass(frozen=True)
class Bottom:
    """The bottom plots are looked for on.

    Parameters
    ----------
    allowed : ndarray of bool, shape (rows, columns)
        Bottom that passes and is clear of everything; row 0 is north.
    score : ndarray of float32, shape (rows, columns)
        Suitability 0-1; NaN counts as 0.
    west_m, north_m, cell_m : float
        Outer corner of the first cell and cell side [m].
    """

    allowed: NDArray[np.bool_]
    score: NDArray[np.float32]
    west_m: float
    north_m: float
    cell_m: float

    def __post_init__(self) -> None:
        if self.allowed.ndim != 2 or self.allowed.shape != self.score.shape or not self.cell_m > 0:
            came = f"shapes {self.allowed.shape} and {self.score.shape}, cell {self.cell_m} m"
            raise InputFault(Fault("bottom", came, "two rasters of one shape, cell above 0 m", "Align the layers."))

    def stands(self, x_m: ArrayLike, y_m: ArrayLike) -> NDArray[np.bool_]:
        """Whether each map position [m] lies on allowed bottom."""
        column = np.floor((np.asarray(x_m, np.float64) - self.west_m) / self.cell_m).astype(np.int64)
        row = np.floor((self.north_m - np.asarray(y_m, np.float64)) / self.cell_m).astype(np.int64)
        rows, columns = self.allowed.shape
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        return np.asarray(inside & self.allowed[row.clip(0, rows - 1), column.clip(0, columns - 1)])


@dataclass(frozen=True)
class Field:
    """Rectangles of one bearing.

    Parameters
    ----------
    bearing_grid_deg : float
        Of the long side, clockwise from grid north [°].
    corner_x_m, corner_y_m : float
        Map position of the first sample's outer corner [m].
    step_along_m, step_across_m : float
        Spacing of positions along and across the bearing [m].
    along, across : int
        Steps a rectangle covers.
    quality : ndarray of float32, shape (rows, columns)
        Mean score of its allowed bottom × robust share, 0-1, of the rectangle starting there; -1: not allowed.
    robust : ndarray of float32, shape (rows, columns)
        Share of displaced copies on allowed bottom, 0-1.
    """

    bearing_grid_deg: float
    corner_x_m: float
    corner_y_m: float
    step_along_m: float
    step_across_m: float
    along: int
    across: int
    quality: NDArray[np.float32]
    robust: NDArray[np.float32]

    def centres(self, rows: Ints, columns: Ints) -> tuple[Floats, Floats]:
        """Return the map positions [m] of the centres of the rectangles that start at the samples given."""
        s, c = direction(self.bearing_grid_deg)
        u = (columns + 0.5 * self.along) * self.step_along_m
        v = (rows + 0.5 * self.across) * self.step_across_m
        return self.corner_x_m + u * s + v * c, self.corner_y_m + u * c - v * s


def sample_steps(cell_m: float, length_m: float, width_m: float, coarse: float = 1.0) -> tuple[int, int]:
    """Return into how many steps a rectangle's length and width are cut; `coarse` times as long, a cell at most."""
    aim = max(min(cell_m, coarse * width_m / 8.0), cell_m / 4.0)
    return math.ceil(length_m / aim - 1e-9), math.ceil(width_m / aim - 1e-9)


def rectangle_field(
    bottom: Bottom,
    *,
    bearing_grid_deg: float,
    length_m: float,
    width_m: float,
    least_allowed_share: float,
    pin_error_m: float,
    prefer_robust: bool,
    least_robust_share: float,
    coarse: float = 1.0,
) -> Field:
    """Return what rectangles of one bearing offer.

    Parameters
    ----------
    bottom : Bottom
        Allowed bottom and score.
    bearing_grid_deg : float
        Of the long side [°].
    length_m, width_m : float
        Along and across the bearing [m].
    least_allowed_share : float
        Share of the rectangle that must be allowed bottom, above 0 to 1.
    pin_error_m : float
        Radius within which copies are displaced [m].
    prefer_robust : bool
        Whether quality is multiplied by the robust share.
    least_robust_share : float
        Rectangles with less are not used, 0-1.
    coarse : float
        Times as far apart as samples otherwise are, ≥ 1; no farther than a cell.

    Returns
    -------
    Field
        Samples are at most one cell and one eighth of the width apart, but no closer than a quarter of a cell.
    """
    rows, columns = bottom.allowed.shape
    along, across = sample_steps(bottom.cell_m, length_m, width_m, coarse)
    du, dv = length_m / along, width_m / across
    s, c = direction(bearing_grid_deg)
    x = np.array([0.0, columns, 0.0, columns]) * bottom.cell_m + bottom.west_m
    y = bottom.north_m - np.array([0.0, 0.0, rows, rows]) * bottom.cell_m
    u, v = x * s + y * c, x * c - y * s
    u0, v0 = float(u.min()), float(v.min())
    nu, nv = math.ceil((u.max() - u0) / du), math.ceil((v.max() - v0) / dv)
    x0, y0 = u0 * s + v0 * c, u0 * c - v0 * s
    flat = np.array(
        [bottom.west_m, bottom.north_m, bottom.cell_m, x0, y0, s, c, du, dv, least_allowed_share], np.float64
    )
    quality = _mean_scores(bottom.allowed, bottom.score, flat, nu, nv, along, across)
    widths = disc_half_widths(pin_error_m, step_along_m=du, step_across_m=dv)
    robust = robust_share(quality >= 0, widths)
    if prefer_robust:
        quality = np.where(quality >= 0, quality * robust, quality)
    quality = np.where(robust >= least_robust_share, quality, np.float32(-1.0)).astype(np.float32)
    return Field(bearing_grid_deg, x0, y0, du, dv, along, across, quality, robust)


def fine_ground(bottom: Bottom, length_m: float, width_m: float, least_allowed_share: float) -> Ground:
    """Return what `under` looks at.

    Returns
    -------
    tuple
        Allowed bottom, score, and in one array: west, north and cell [m], length and width [m], least share, samples
        along and across.
    """
    step = min(0.1 * width_m, 0.25 * bottom.cell_m)
    flat = [bottom.west_m, bottom.north_m, bottom.cell_m, length_m, width_m, least_allowed_share]
    samples = [math.ceil(length_m / step), math.ceil(width_m / step)]
    return bottom.allowed, bottom.score, np.array([*flat, *samples], np.float64)


@compiled
def under(ground: Ground, x: float, y: float, s: float, c: float) -> tuple[float, float]:
    """Return share on allowed bottom and mean score of one rectangle, by fine samples.

    Parameters
    ----------
    ground : tuple
        From `fine_ground`.
    x, y : float
        Centre [m].
    s, c : float
        Sine and cosine of its bearing.
    """
    allowed, score, flat = ground
    west, north, cell, length, width = flat[0], flat[1], flat[2], flat[3], flat[4]
    along, across = int(flat[6]), int(flat[7])
    count, total = 0, 0.0
    for i in range(across):
        v = ((i + 0.5) / across - 0.5) * width
        for j in range(along):
            u = ((j + 0.5) / along - 0.5) * length
            column = int(np.floor((x + u * s + v * c - west) / cell))
            row = int(np.floor((north - (y + u * c - v * s)) / cell))
            if 0 <= row < allowed.shape[0] and 0 <= column < allowed.shape[1] and allowed[row, column]:
                count += 1
                if score[row, column] > 0:
                    total += score[row, column]
    return count / (along * across), total / max(count, 1)


def shelf_choice(
    values: NDArray[np.float32], *, along: int, across: int, gap_along: int, gap_across: int, base: float, weight: float
) -> tuple[float, Ints, Ints]:
    """Return the set of rectangles on straight shelves with the greatest sum of base + weight × value.

    Exact for shelves parallel to the field: the best intervals on each row, then the best rows, each by dynamic
    programming, in time proportional to the field.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
        Quality of each start; below 0: not to be used.
    along, across, gap_along, gap_across : int
        Size and gap in samples.
    base, weight : float
        What a rectangle counts: base + weight × quality; only those above 0 are taken.

    Returns
    -------
    tuple
        Sum, and rows and columns of the starts.
    """
    most = math.ceil(values.shape[0] / (across + gap_across)) * math.ceil(values.shape[1] / (along + gap_along))
    out = np.empty((most, 2), np.int64)
    total, found = _shelves(values, along + gap_along, across + gap_across, base, weight, out)
    return float(total), out[:found, 0].copy(), out[:found, 1].copy()


@compiled
def _mean_scores(
    allowed: NDArray[np.bool_],
    score: NDArray[np.float32],
    flat: Floats,
    nu: int,
    nv: int,
    along: int,
    across: int,
) -> NDArray[np.float32]:
    """Mean score of the allowed bottom under each rectangle with enough of it, by running sums of turned rasters."""
    west, north, cell, x0, y0, s, c, du, dv, least = flat
    count = np.zeros((nv + 1, nu + 1), np.int32)
    total = np.zeros((nv + 1, nu + 1), np.float64)
    rows, columns = allowed.shape
    for i in range(nv):
        line_count, line_total = 0, 0.0
        v = (i + 0.5) * dv
        for j in range(nu):
            u = (j + 0.5) * du
            column = int(np.floor((x0 + u * s + v * c - west) / cell))
            row = int(np.floor((north - (y0 + u * c - v * s)) / cell))
            if 0 <= row < rows and 0 <= column < columns and allowed[row, column]:
                line_count += 1
                if score[row, column] > 0:
                    line_total += score[row, column]
            count[i + 1, j + 1] = count[i, j + 1] + line_count
            total[i + 1, j + 1] = total[i, j + 1] + line_total
    quality = np.full((max(0, nv - across + 1), max(0, nu - along + 1)), np.float32(-1.0))
    needed = least * along * across - 1e-9
    for i in range(quality.shape[0]):
        for j in range(quality.shape[1]):
            n = count[i + across, j + along] - count[i, j + along] - count[i + across, j] + count[i, j]
            if n >= needed and n > 0:
                t = total[i + across, j + along] - total[i, j + along] - total[i + across, j] + total[i, j]
                quality[i, j] = max(0.0, t / n)
    return quality


@compiled
def _shelves(
    values: NDArray[np.float32], pitch_along: int, pitch_across: int, base: float, weight: float, out: Ints
) -> tuple[float, int]:
    """Sum and number of the chosen starts, written to `out`."""
    rows, columns = values.shape
    if rows == 0 or columns == 0:
        return 0.0, 0
    best = np.zeros(columns + 1)
    shelf = np.zeros(rows)
    for i in range(rows):
        shelf[i] = _row(values[i], pitch_along, base, weight, best)
    stack = np.zeros(rows + 1)
    for i in range(rows):
        before = stack[max(0, i + 1 - pitch_across)]
        stack[i + 1] = max(stack[i], before + shelf[i])
    found = 0
    i = rows
    while i > 0:
        if stack[i] == stack[i - 1]:
            i -= 1
            continue
        _row(values[i - 1], pitch_along, base, weight, best)
        j = columns
        while j > 0:
            if best[j] == best[j - 1]:
                j -= 1
                continue
            out[found, 0], out[found, 1] = i - 1, j - 1
            found += 1
            j = max(0, j - pitch_along)
        i = max(0, i - pitch_across)
    return float(stack[rows]), found


@compiled
def _row(value: NDArray[np.float32], pitch: int, base: float, weight: float, best: Floats) -> float:
    """Best intervals on one row: best[j] is the greatest sum with starts below j."""
    best[0] = 0.0
    for j in range(value.size):
        best[j + 1] = best[j]
        if value[j] >= 0:
            worth = base + weight * value[j]
            if worth > 0:
                best[j + 1] = max(best[j + 1], best[max(0, j + 1 - pitch)] + worth)
    return float(best[value.size])
