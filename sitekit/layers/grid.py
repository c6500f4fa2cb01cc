"""The one grid of a plan: a projected coordinate system, square cells, north up."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.errors import Fault, InputFault

MAX_CELLS = 4_000_000_000  # 4 × the largest tract in the design targets; refused before memory is taken


@dataclass(frozen=True)
class Grid:
    """An immutable description of square cells, row 0 in the north.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected, in metres.
    west, north : float
        Outer corner of the first cell [m].
    cell : float
        Side of a cell [m], > 0.
    shape : tuple of int
        Rows, columns.

    Raises
    ------
    InputFault
        If the CRS is not projected in metres, the cell is not positive, or the shape is empty or absurd.
    """

    crs: CRS
    west: float
    north: float
    cell: float
    shape: tuple[int, int]

    def __post_init__(self) -> None:
        faults = []
        if not self.crs.is_projected or any(a.unit_conversion_factor != 1.0 for a in self.crs.axis_info[:2]):
            faults.append(Fault("grid.crs", f"{self.crs.name}", "a projected system in metres", "Set plan.crs."))
        if not (math.isfinite(self.cell) and self.cell > 0):
            faults.append(Fault("grid.cell", f"{self.cell} m", "a number above 0", "Set plan.cell_m."))
        rows, cols = self.shape
        if rows < 1 or cols < 1:
            faults.append(Fault("grid.shape", f"{rows} × {cols} cells", "at least one cell", "Check the area."))
        elif rows * cols > MAX_CELLS:
            faults.append(
                Fault(
                    "grid.shape",
                    f"{rows} × {cols} cells",
                    f"at most {MAX_CELLS} cells",
                    "Use a larger plan.cell_m or a smaller area.",
                )
            )
        if faults:
            raise InputFault(*faults)

    @property
    def transform(self) -> Affine:
        """Cell (column, row) to easting, northing."""
        return Affine(self.cell, 0.0, self.west, 0.0, -self.cell, self.north)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north [m]."""
        rows, cols = self.shape
        return (self.west, self.north - rows * self.cell, self.west + cols * self.cell, self.north)

    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Eastings of the columns and northings of the rows, at cell centres [m]."""
        rows, cols = self.shape
        return (
            self.west + (np.arange(cols, dtype=np.float64) + 0.5) * self.cell,
            self.north - (np.arange(rows, dtype=np.float64) + 0.5) * self.cell,
        )

    def cell_of(
        self, easting: NDArray[np.float64], northing: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column that hold each point; may lie outside the grid (ask `holds`)."""
        col = np.floor((np.asarray(easting) - self.west) / self.cell).astype(np.int64)
        row = np.floor((self.north - np.asarray(northing)) / self.cell).astype(np.int64)
        return row, col

    def holds(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether each row and column lies inside."""
        return (row >= 0) & (row < self.shape[0]) & (col >= 0) & (col < self.shape[1])

    def window(self, row: int, col: int, shape: tuple[int, int]) -> Grid:
        """Return the grid of a block that starts at `row`, `col`."""
        return Grid(self.crs, self.west + col * self.cell, self.north - row * self.cell, self.cell, shape)

    def tiles(self, side: int = 512) -> Iterator[tuple[int, int, int, int]]:
        """Yield (row, column, rows, columns) of fixed tiles counted from the grid origin, row by row."""
        for row in range(0, self.shape[0], side):
            for col in range(0, self.shape[1], side):
                yield row, col, min(side, self.shape[0] - row), min(side, self.shape[1] - col)


def grid_for(bounds: tuple[float, float, float, float], crs: CRS, cell: float) -> Grid:
    """Return the smallest grid that covers a box, its lines on whole multiples of the cell from the origin of the CRS.

    Two runs over slightly different areas thus share their cell borders.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north in `crs` [m].
    crs : pyproj.CRS
        Projected, in metres.
    cell : float
        Side of a cell [m], > 0.

    Raises
    ------
    InputFault
        If the box is empty or not finite, or the grid would be refused (see `Grid`).
    """
    west, south, east, north = bounds
    if not (all(math.isfinite(v) for v in bounds) and west < east and south < north):
        raise InputFault(Fault("area", f"extent {bounds}", "west < east and south < north [m]", "Check the area."))
    if not (math.isfinite(cell) and cell > 0):
        raise InputFault(Fault("grid.cell", f"{cell} m", "a number above 0", "Set plan.cell_m."))
    slack = 1e-6  # of a cell: a border that is a multiple up to rounding stays one
    left, right = math.floor(west / cell + slack), math.ceil(east / cell - slack)
    low, high = math.floor(south / cell + slack), math.ceil(north / cell - slack)
    # nine decimals: 0.1 m cells keep short numbers in the file's header
    return Grid(crs, round(left * cell, 9), round(high * cell, 9), cell, (max(high - low, 1), max(right - left, 1)))
