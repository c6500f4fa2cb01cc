"""What became of a source: the aligned file, and the figures gathered tile by tile while it was written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from sitekit.errors import Fault, InputFault
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import WRITE_ERRORS, Output, add_overviews, open_output, write_fault

# Values that programs write into gaps; one far outside all other values is a gap without a tag.
_SENTINELS = np.array([
    -9999.0, -99999.0, -999999.0, -32768.0, -32767.0, 9999.0, 99999.0, 32767.0, -3.4028234663852886e38,
    3.4028234663852886e38, 9.969209968386869e36, 1e20, -999.0, 999.0,
])  # fmt: skip
_FAR = 5.0  # a sentinel is one when it lies this many times further from zero than every other value


@dataclass(frozen=True)
class Aligned:
    """What became of one source.

    Parameters
    ----------
    path : Path
        The aligned file: float32 with NaN in gaps, or uint8 codes with 0 for unknown.
    share_covered : float
        Share of the grid's cells with a value, 0-1.
    minimum, maximum : float
        Of the values written; NaN where there is none.
    share_positive : float
        Share of the cells with a value that lie above 0; for depths, the share below the datum.
    source_crs : str
        Short name of the source's system.
    source_resolution_m : tuple of float or None
        Width and height of a source cell in the middle of the grid [m]; None for polygons.
    extent : tuple of float
        West, south, east, north of the source [degrees, WGS 84].
    notes : tuple of str
        Remarks for the `check` table.
    """

    path: Path
    share_covered: float
    minimum: float
    maximum: float
    share_positive: float
    source_crs: str
    source_resolution_m: tuple[float, float] | None
    extent: tuple[float, float, float, float]
    notes: tuple[str, ...]


@dataclass
class Seen:
    """Figures gathered tile by tile."""

    cells: int = 0
    positive: int = 0
    minimum: float = float("nan")
    maximum: float = float("nan")
    unmapped: Counter[float] = field(default_factory=Counter)
    sentinels: set[float] = field(default_factory=set)
    lowest: float = float("inf")
    highest: float = float("-inf")

    def add(self, values: NDArray[Any]) -> None:
        """Count one tile of the aligned raster."""
        held = values[np.isfinite(values)] if values.dtype.kind == "f" else values[values > 0]
        if held.size:
            self.cells += held.size
            self.positive += int((held > 0).sum())
            self.minimum = float(np.fmin(self.minimum, held.min()))
            self.maximum = float(np.fmax(self.maximum, held.max()))

    def watch(self, values: NDArray[np.float64]) -> None:
        """Note sentinels and the range of everything else among raw values."""
        held = values[np.isfinite(values)]
        odd = np.isin(held, _SENTINELS)
        self.sentinels.update(float(v) for v in np.unique(held[odd]))
        rest = held[~odd]
        if rest.size:
            self.lowest = min(self.lowest, float(rest.min()))
            self.highest = max(self.highest, float(rest.max()))


def write_tiles(
    beside: Path, grid: Grid, tile: Callable[[Grid], NDArray[Any]], seen: Seen, name: str, unit: str, dtype: Any
) -> None:
    """Write a raster tile by tile in row order, gathering its figures on the way."""
    kind = np.dtype(dtype).name
    output = Output(beside, kind, ((name, unit),), float("nan") if kind == "float32" else 0)
    try:
        with open_output(beside, output, grid) as file:
            for row, col, rows, cols in grid.tiles():
                values = tile(grid.window(row, col, (rows, cols)))
                seen.add(values)
                file.write(values, 1, window=Window(col, row, cols, rows))
    except WRITE_ERRORS as error:  # reading a damaged source has a fault of its own
        target = beside.with_name(beside.name.removeprefix(".").replace(".writing.", "."))
        raise write_fault({"": Output(target, kind, output.bands)}, error) from error
    add_overviews(beside, output, grid)


def aligned_result(
    target: Path,
    seen: Seen,
    grid: Grid,
    crs: str,
    size: tuple[float, float] | None,
    extent: tuple[float, float, float, float],
    notes: list[str],
) -> Aligned:
    """Return the figures as a result; at least one cell has a value."""
    share = seen.cells / (grid.shape[0] * grid.shape[1])
    positive = seen.positive / seen.cells
    return Aligned(target, share, seen.minimum, seen.maximum, positive, crs, size, extent, tuple(notes))


def refuse_hidden_gaps(where: str, seen: Seen) -> None:
    """Refuse values such as −9999 that stand far outside all others and carry no tag.

    Raises
    ------
    InputFault
        Naming the value and the line to write.
    """
    reach = max(abs(seen.lowest), abs(seen.highest), 1.0) if seen.lowest <= seen.highest else 1.0
    far = sorted(v for v in seen.sentinels if abs(v) > _FAR * reach)
    if far:
        text = ", ".join(f"{v:g}" for v in far)
        raise InputFault(
            Fault(
                where,
                f"holds {text} among values from {seen.lowest:g} to {seen.highest:g}, and no nodata value is declared",
                "gaps that the file or the settings declare",
                f"If it marks gaps, set nodata = {far[0]:.17g}.",
            )
        )
