"""What lies on the way of a wind to each cell: open water, its end, its shallowest place, its mean depth.

The digital lines of `fetch`, in numpy row by row, which needs no compiling and carries more along; for the thinned
grids of a plan. Round the area a second, coarser map of land may continue the open rays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.fetch import LAND, UNKNOWN, WATER, checked_surface, course

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class Surroundings:
    """Water and land of an area, and of what lies around it.

    Parameters
    ----------
    codes : array of uint8, shape (rows, columns)
        0 water, 1 land, 2 unknown. Row 0 is north.
    depth_m : array, same shape
        Depth of water, positive down [m]; NaN where unknown.
    cell_m : float
        Side of a cell [m].
    far : array of uint8, optional
        Codes on coarser cells that reach beyond the area; its cells inside the area are not looked at.
    far_cell_m : float
        Side of those cells [m].
    far_origin : tuple of float
        Row and column, in far cells, of the north-west corner of the area.

    Raises
    ------
    InputFault
        If shapes differ or a cell is not above 0.
    """

    codes: NDArray[np.uint8]
    depth_m: NDArray[np.float64]
    cell_m: float
    far: NDArray[np.uint8] | None = None
    far_cell_m: float = 0.0
    far_origin: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        checked_surface(self.codes, self.cell_m, [])
        with Faults() as faults:
            if self.depth_m.shape != self.codes.shape:
                faults.add(
                    "depth_m", f"{self.depth_m.shape} cells", f"{self.codes.shape} as the land mask", "Use one grid."
                )
            if self.far is not None and not self.far_cell_m > 0:
                faults.add("far_cell_m", f"{self.far_cell_m} m", "above 0 m", "Give the side of a far cell.")


@dataclass(frozen=True)
class Ways:
    """The way of each wind to each cell, shape (directions, rows, columns).

    Parameters
    ----------
    fetch_m : array of float32
        To land, or where `open` to the end of what is known [m]; NaN off the water.
    open : array of bool
        No land was met.
    sill_m : array of float32
        Least known depth on the way inside the area, the cell itself left out [m]; infinite where none is known.
    since_m : array of float32
        Distance from that place to the cell [m]; 0 without one.
    mean_m : array of float32
        Mean known depth on the way inside the area, the cell itself included [m]; NaN where none is known.
    """

    fetch_m: Floats
    open: NDArray[np.bool_]
    sill_m: Floats
    since_m: Floats
    mean_m: Floats


def ways(around: Surroundings, directions_deg: ArrayLike, *, convergence_deg: float = 0.0) -> Ways:
    """Return what each wind meets on its way to each cell.

    Parameters
    ----------
    around : Surroundings
    directions_deg : array, shape (n,)
        Where the wind comes from [degrees clockwise from true north], 0 to 360.
    convergence_deg : float
        Grid convergence [deg]; grid direction = true direction - convergence.

    Returns
    -------
    Ways
        Fetch and open flag equal `fetch` bit for bit inside the area; an open ray goes on over the far map, where its
        length is right to about half a far cell.

    Raises
    ------
    InputFault
        If a direction is out of range.

    References
    ----------
    `digital-lines`.

    Examples
    --------
    >>> sea = Surroundings(np.array([[1, 0, 0, 0]], np.uint8), np.array([[-1.0, 4.0, 1.0, 5.0]]), 10.0)
    >>> w = ways(sea, [270.0])
    >>> w.fetch_m[0, 0, 3], w.sill_m[0, 0, 3], w.since_m[0, 0, 3]
    (np.float32(25.0), np.float32(1.0), np.float32(10.0))
    """
    codes, bearings = checked_surface(around.codes, around.cell_m, directions_deg)
    shape = (bearings.size, *codes.shape)
    out = Ways(*(np.empty(shape, np.bool_ if k == 1 else np.float32) for k in range(5)))
    for k, bearing in enumerate(bearings):
        lines = _lines(codes, around.depth_m, around.cell_m, float(bearing) - convergence_deg)
        is_open = lines[0] < 0
        length = np.abs(lines[0])
        if around.far is not None and is_open.any():
            length, is_open = _beyond(around, float(bearing) - convergence_deg, length, is_open)
        out.fetch_m[k], out.open[k] = length, is_open
        out.sill_m[k], out.since_m[k], out.mean_m[k] = lines[1:]
    return out


def _beyond(
    around: Surroundings, bearing: float, length: Floats, is_open: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Continue the open rays of one direction over the far map; inside the area the near map has the word."""
    far = np.array(around.far)
    ratio = around.cell_m / around.far_cell_m
    top, left = around.far_origin
    rows, cols = length.shape
    far[
        math.ceil(top - 0.5) : math.floor(top + rows * ratio + 0.5),
        math.ceil(left - 0.5) : math.floor(left + cols * ratio + 0.5),
    ] = WATER
    at_row = np.clip((top + (np.arange(rows) + 0.5) * ratio).astype(np.intp), 0, far.shape[0] - 1)
    at_col = np.clip((left + (np.arange(cols) + 0.5) * ratio).astype(np.intp), 0, far.shape[1] - 1)
    signed = _lines(far, None, around.far_cell_m, bearing)[0][np.ix_(at_row, at_col)]
    whole = np.where(np.isnan(signed), -length, signed)  # a cell that is land on the coarse map keeps what is known
    return (
        np.where(is_open, np.maximum(np.abs(whole), length), length),
        np.where(is_open, whole < 0, False),
    )


def _lines(
    codes: NDArray[np.uint8], depth: NDArray[np.float64] | None, cell_m: float, bearing_deg: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Signed fetch (below 0 = open), sill, distance since, mean depth; the last three are empty without depths."""
    by_rows, down, slope = course(bearing_deg)
    step = np.float64(cell_m * math.sqrt(1.0 + slope * slope))
    if not by_rows:
        codes, depth = codes.T, None if depth is None else depth.T
    if not down:
        codes, depth = codes[::-1], None if depth is None else depth[::-1]
    count, sill, since, mean = _scan(np.ascontiguousarray(codes), depth, slope)
    length = np.where(count == 0, np.nan, (count - 0.5 * np.sign(count)) * step).astype(np.float32)
    found = [length, sill, (since * step).astype(np.float32), mean]
    if not down:
        found = [a[::-1] for a in found]
    if not by_rows:
        found = [a.T for a in found]
    return found[0], found[1], found[2], found[3]


def _scan(
    codes: NDArray[np.uint8], depth: NDArray[np.float64] | None, slope: float
) -> tuple[NDArray[np.int32], Floats, NDArray[np.int32], Floats]:
    """Run along the lines from the first row on; each row reads the one before it, shifted by 0 or 1 cell."""
    rows, cols = codes.shape
    count = np.zeros((rows, cols), np.int32)
    kept = rows if depth is not None else 0
    sill, mean = np.full((kept, cols), np.inf, np.float32), np.full((kept, cols), np.nan, np.float32)
    since = np.zeros((kept, cols), np.int32)
    known = None if depth is None else np.where((depth > 0) & (codes == WATER), depth, np.inf).astype(np.float32)
    total, number = np.zeros(cols + 2), np.zeros(cols + 2)  # one cell of margin on either side
    upwind = np.zeros(cols + 2, np.int32)
    upcode = np.full(cols + 2, UNKNOWN, np.uint8)
    low, steps = np.full(cols + 2, np.inf, np.float32), np.zeros(cols + 2, np.int32)
    here = np.full(cols + 2, UNKNOWN, np.uint8)
    shift = 0
    for r in range(rows):
        moved = int(math.floor(r * abs(slope) + 0.5)) * (1 if slope >= 0 else -1)
        d = moved - shift if r else 0
        shift = moved
        here[1:-1] = codes[r]
        before = slice(1 - d, 1 - d + cols)
        last = upwind[before]
        starts = upcode[before] == LAND
        n = np.where(last == 0, np.where(starts, 1, -1), last + np.sign(last))
        fresh = last == 0
        if d:
            corner = (upcode[1:-1] == LAND) & (here[before] == LAND)
            n[corner] = 1
            fresh |= corner
        dry = codes[r] != WATER
        n[dry] = 0
        count[r] = n
        upwind[1:-1] = n
        if known is not None:
            passed = np.where(fresh, np.inf, low[before]).astype(np.float32)
            s = np.where(np.isinf(passed), 0, steps[before] + 1)
            sill[r], since[r] = np.where(dry, np.inf, passed), np.where(dry, 0, s)
            own = known[r]
            lower = own <= passed
            low[1:-1] = np.where(lower, own, passed)
            steps[1:-1] = np.where(lower, 0, s)
            has = ~np.isinf(own)
            sums = np.where(fresh, 0.0, total[before]) + np.where(has, own, 0.0)
            counts = np.where(fresh, 0.0, number[before]) + has
            total[1:-1], number[1:-1] = sums, counts
            usable = (counts > 0) & ~dry
            mean[r, usable] = (sums[usable] / counts[usable]).astype(np.float32)
        upcode[1:-1] = codes[r]
    return count, sill, since, mean
