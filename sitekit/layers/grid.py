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
            self.west + (np.arange(cols) + 0.5) * self.cell,
            self.north - (np.arange(rows) + 0.5) * self.cell,
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
