"""What lies on the way of a wind to each cell: open water, its end, its shallowest place, its mean depth.

The digital lines of `fetch`, in numpy row by row, which needs no compiling and carries more along; for the thinned
grids of a plan. Round the area a second, coarser map of land may continue the open rays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.fetch import LAND, WATER, checked_surface, course

_REMEMBERED = 50_000  # cells; 36 directions of five rays from them take 150 MB

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
    on_grid = bearings - convergence_deg
    signed, sill, since, mean = _lines(codes, around.depth_m, around.cell_m, on_grid)
    is_open, length = signed < 0, np.abs(signed)
    if around.far is not None and is_open.any():
        length, is_open = _beyond(around, on_grid, length, is_open)
    return Ways(length, is_open, sill, since, mean)


class Lookout:
    """Looks along directions from the cells of a mask, and remembers what it saw on grids that are not large.

    Parameters
    ----------
    around : Surroundings
    use : array of bool, shape of the grid
        The n cells to look from.
    convergence_deg : float
        As `ways`.
    """

    def __init__(self, around: Surroundings, use: NDArray[np.bool_], *, convergence_deg: float) -> None:
        self.around, self.use, self.convergence_deg = around, use, convergence_deg
        self.cells = int(use.sum())
        self.seen: dict[bytes, Ways] = {}

    def __call__(self, directions_deg: NDArray[np.float64]) -> Ways:
        """Return the ways of the used cells, arrays of shape (directions, n)."""
        key = np.asarray(directions_deg, np.float64).tobytes()
        if key in self.seen:
            return self.seen[key]
        found = ways(self.around, directions_deg, convergence_deg=self.convergence_deg)
        at = self.use
        flat = Ways(
            found.fetch_m[:, at], found.open[:, at], found.sill_m[:, at], found.since_m[:, at], found.mean_m[:, at]
        )
        if self.cells <= _REMEMBERED:
            self.seen[key] = flat
        return flat


def _beyond(
    around: Surroundings, bearings: NDArray[np.float64], length: Floats, is_open: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Continue the open rays over the far map; inside the area the near map has the word."""
    far = np.array(around.far)
    ratio = around.cell_m / around.far_cell_m
    top, left = around.far_origin
    rows, cols = length.shape[1:]
    far[
        math.ceil(top - 0.5) : math.floor(top + rows * ratio + 0.5),
        math.ceil(left - 0.5) : math.floor(left + cols * ratio + 0.5),
    ] = WATER
    at_row = np.clip((top + (np.arange(rows) + 0.5) * ratio).astype(np.intp), 0, far.shape[0] - 1)
    at_col = np.clip((left + (np.arange(cols) + 0.5) * ratio).astype(np.intp), 0, far.shape[1] - 1)
    signed = _lines(far, None, around.far_cell_m, bearings)[0][:, at_row[:, None], at_col]
    whole = np.where(np.isnan(signed), -length, signed)  # a cell that is land on the coarse map keeps what is known
    return (
        np.where(is_open, np.maximum(np.abs(whole), length), length),
        np.where(is_open, whole < 0, False),
    )


def _lines(
    codes: NDArray[np.uint8], depth: NDArray[np.float64] | None, cell_m: float, bearings: NDArray[np.float64]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Signed fetch (below 0 = open), sill, distance since, mean depth; without depths only the first."""
    shape = (bearings.size, *codes.shape)
    courses = [course(float(b)) for b in bearings]
    length = np.empty(shape, np.float32)
    others = [np.empty(shape if depth is not None else (0, 0, 0), np.float32) for _ in range(3)]
    known = None if depth is None else np.where((depth > 0) & (codes == WATER), depth, np.inf).astype(np.float32)
    for by_rows in (True, False):
        for down in (True, False):
            group = [k for k, c in enumerate(courses) if c[:2] == (by_rows, down)]
            if not group:
                continue

            def turned(values: NDArray[Any], by_rows: bool = by_rows, down: bool = down) -> NDArray[Any]:
                values = values if by_rows else np.swapaxes(values, -1, -2)
                return values if down else values[..., ::-1, :]

            def back(values: NDArray[Any], by_rows: bool = by_rows, down: bool = down) -> NDArray[Any]:
                values = values if down else values[..., ::-1, :]
                return values if by_rows else np.swapaxes(values, -1, -2)

            slopes = np.array([courses[k][2] for k in group])
            step = (cell_m * np.sqrt(1.0 + slopes * slopes))[:, None, None]
            count, sill, since, mean = _scan(
                np.ascontiguousarray(turned(codes)), None if known is None else turned(known), slopes
            )
            length[group] = back(np.where(count == 0, np.nan, (count - 0.5 * np.sign(count)) * step))
            if known is not None:
                others[0][group], others[1][group], others[2][group] = back(sill), back(since * step), back(mean)
    return length, others[0], others[1], others[2]


def _scan(
    codes: NDArray[np.uint8], known: Floats | None, slopes: NDArray[np.float64]
) -> tuple[NDArray[np.int32], Floats, NDArray[np.int32], Floats]:
    """Run along the lines of several directions from the first row on.

    Each row reads the one before it, shifted by 0 or 1 cell as the direction's slope says. Arrays of a row have one
    cell of margin on either side, for lines that enter from the border.
    """
    rows, cols = codes.shape
    n = slopes.size
    count = np.zeros((n, rows, cols), np.int32)
    kept = rows if known is not None else 0
    sill, mean = np.empty((n, kept, cols), np.float32), np.full((n, kept, cols), np.nan, np.float32)
    since = np.zeros((n, kept, cols), np.int32)
    upwind = np.zeros((n, cols + 2), np.int32)
    upland, here = np.zeros(cols + 2, np.bool_), np.zeros(cols + 2, np.bool_)
    low, steps = np.full((n, cols + 2), np.inf, np.float32), np.zeros((n, cols + 2), np.int32)
    total, number = np.zeros((n, cols + 2), np.float32), np.zeros((n, cols + 2), np.int32)
    sign = np.where(slopes >= 0, 1, -1)
    line = np.arange(n)[:, None]
    shift = np.zeros(n, np.int64)
    for r in range(rows):
        moved = np.floor(r * np.abs(slopes) + 0.5).astype(np.int64) * sign
        at = np.arange(1, cols + 1) - (moved - shift)[:, None]  # where each line was in the row before
        slant = (moved != shift)[:, None]
        shift = moved
        here[1:-1] = codes[r] == LAND
        dry = codes[r] != WATER
        last = upwind[line, at]
        fresh = last == 0
        now = np.where(fresh, np.where(upland[at], 1, -1), last + np.sign(last))
        corner = slant & upland[1:-1] & here[at]  # the line would slip between two land cells that touch there
        now[corner] = 1
        now[:, dry] = 0
        count[:, r] = now
        upwind[:, 1:-1] = now
        if known is not None:
            fresh |= corner
            own = known[r]
            passed = np.where(fresh, np.float32(np.inf), low[line, at])
            run = np.where(np.isinf(passed), 0, steps[line, at] + 1)
            sill[:, r] = np.where(dry, np.inf, passed)
            since[:, r] = np.where(dry, 0, run)
            lower = own <= passed
            low[:, 1:-1] = np.where(lower, own, passed)
            steps[:, 1:-1] = np.where(lower, 0, run)
            has = ~np.isinf(own)
            sums = np.where(fresh, np.float32(0.0), total[line, at]) + np.where(has, own, np.float32(0.0))
            counts = np.where(fresh, 0, number[line, at]) + has
            total[:, 1:-1], number[:, 1:-1] = sums, counts
            mean[:, r] = np.where((counts > 0) & ~dry, sums / np.maximum(counts, 1), np.nan)
        upland[1:-1] = here[1:-1]
    return count, sill, since, mean
