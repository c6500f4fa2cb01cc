"""Tiled rasters of a pass: read by window with a halo, written tile by tile, overviews at the end."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio._err import CPLE_BaseError
from rasterio.enums import Resampling
from rasterio.windows import Window

from sitekit.errors import Fault, FileFault
from sitekit.layers.grid import Grid
from sitekit.layers.kept_tiles import KeptTiles, kept_bytes

TILE = 512  # cells on a side of the tiles in files; blocks are the same tiles

Array = NDArray[Any]
WRITE_ERRORS = (rasterio.errors.RasterioError, CPLE_BaseError)  # the second is what closing a file raises


@dataclass(frozen=True)
class Block:
    """One tile of the grid.

    Parameters
    ----------
    row, col : int
        Its first cell.
    rows, cols : int
        Its size without the halo.
    halo : int
        Rows and columns on each side that the arrays hold besides.
    """

    row: int
    col: int
    rows: int
    cols: int
    halo: int

    @property
    def core(self) -> tuple[slice, slice]:
        """The block itself inside an array that has the halo."""
        return slice(self.halo, self.halo + self.rows), slice(self.halo, self.halo + self.cols)


@dataclass(frozen=True)
class Input:
    """One raster that a pass reads.

    Parameters
    ----------
    source : Path or array, shape (rows, columns)
        A GeoTIFF on the same grid, or the whole array.
    fill : float
        Value beyond the grid's border: NaN for measurements, 0 for codes and marks.
    band : int
        Band of the file, from 1.
    """

    source: Path | Array
    fill: float = float("nan")
    band: int = 1


@dataclass(frozen=True)
class Output:
    """One raster that a pass writes: a tiled GeoTIFF, zstd level 1, no predictor.

    With one, scores and depths of real reefs pack no smaller (many cells are gaps or equal) and take twice the time.

    Parameters
    ----------
    path : Path
        Target.
    dtype : str
        `float32`, `uint8`, …
    bands : tuple of (name, unit)
        One per band; unit may be empty.
    nodata : float or None
        Written as the file's nodata value.
    tags : mapping of str to str, optional
        Written as tags of the file.
    """

    path: Path
    dtype: str
    bands: tuple[tuple[str, str], ...]
    nodata: float | None = None
    tags: Mapping[str, str] | None = None


def as_input(source: Input | Path | Array) -> Input:
    """Return an `Input`; bare floats are NaN beyond the border, bare codes and marks 0."""
    if isinstance(source, Input):
        return source
    if isinstance(source, Path):
        with _opened(source) as file:
            return Input(source, float("nan") if file.dtypes[0].startswith("float") else 0)
    return Input(source, float("nan") if source.dtype.kind == "f" else 0)


def _opened(path: Path) -> Any:
    try:
        return rasterio.open(path)
    except rasterio.errors.RasterioIOError as error:
        raise FileFault(
            Fault(str(path), f"cannot be read ({error})", "a raster file that is whole", "Check path and file.")
        ) from error


class Reader:
    """Reads blocks with their halo; one open file, one reader at a time."""

    def __init__(self, name: str, source: Input, grid: Grid) -> None:
        self.name, self.source, self.grid = name, source, grid
        self.lock = threading.Lock()
        self.file: Any = None
        self.tiles: KeptTiles | None = None

    def __enter__(self) -> Reader:
        path = self.source.source
        if isinstance(path, Path):
            self.file = _opened(path)
            same = self.file.shape == self.grid.shape and self.file.transform.almost_equals(
                self.grid.transform, precision=1e-6
            )
            if not same:
                self.file.close()
                raise FileFault(
                    Fault(
                        str(path),
                        f"{self.file.shape} cells from {tuple(self.file.transform)[:6]}",
                        f"{self.grid.shape} cells from {tuple(self.grid.transform)[:6]}",
                        "Run the layers stage again.",
                    )
                )
        return self

    def __exit__(self, *error: object) -> None:
        if self.file is not None:
            self.file.close()

    def keep(self, halo: int, most_bytes: float) -> int:
        """Hold tiles that blocks in row order see again, if they lie in a file in such tiles; return the bytes held."""
        band = self.source.band - 1
        if self.file is None or not 0 < halo <= TILE or self.file.block_shapes[band] != (TILE, TILE):
            return 0
        need = kept_bytes(self.grid.shape[1], TILE, halo, np.dtype(self.file.dtypes[band]).itemsize)
        if need > most_bytes:
            return 0
        self.tiles = KeptTiles(self.grid.shape, TILE, halo, self._from_file)
        return need

    def _from_file(self, r0: int, c0: int, r1: int, c1: int) -> Array:
        try:
            cells: Array = self.file.read(self.source.band, window=Window(c0, r0, c1 - c0, r1 - r0))
        except rasterio.errors.RasterioIOError as error:
            raise FileFault(
                Fault(
                    str(self.source.source),
                    f"is damaged near row {r0}, column {c0} ({error})",
                    "a whole file",
                    "Run the layers stage again.",
                )
            ) from error
        return cells

    def read(self, block: Block) -> Array:
        """Return the block with its halo, shape (rows + 2 halo, cols + 2 halo), filled beyond the border."""
        top, left = block.row - block.halo, block.col - block.halo
        bottom, right = block.row + block.rows + block.halo, block.col + block.cols + block.halo
        r0, c0 = max(top, 0), max(left, 0)
        r1, c1 = min(bottom, self.grid.shape[0]), min(right, self.grid.shape[1])
        if self.file is None:
            part = self.source.source[r0:r1, c0:c1]  # type: ignore[index]
        else:
            with self.lock:
                if self.tiles is not None and self.tiles.halo == block.halo:
                    part = self.tiles.around(block.row, block.col)
                else:
                    part = self._from_file(r0, c0, r1, c1)
        if part.shape == (bottom - top, right - left):
            return np.ascontiguousarray(part)
        out = np.full((bottom - top, right - left), self.source.fill, part.dtype)
        out[r0 - top : r1 - top, c0 - left : c1 - left] = part
        return out


def open_output(path: Path, output: Output, grid: Grid) -> Any:
    """Open a new file for writing, with names and units on its bands."""
    file = rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=grid.shape[0],
        width=grid.shape[1],
        count=len(output.bands),
        dtype=output.dtype,
        crs=grid.crs.to_wkt(),
        transform=grid.transform,
        nodata=output.nodata,
        tiled=True,
        blockxsize=TILE,
        blockysize=TILE,
        compress="zstd",
        zstd_level=1,
        interleave="band",
        bigtiff="if_safer",
    )
    for band, (name, unit) in enumerate(output.bands, start=1):
        file.set_band_description(band, name)
        if unit:
            file.set_band_unit(band, unit)
    if output.tags:
        file.update_tags(**output.tags)
    return file


def write_block(file: Any, output: Output, result: Array, block: Block) -> None:
    """Write the result of one block, shape (rows, cols) or (bands, rows, cols)."""
    stack = result if result.ndim == 3 else result[np.newaxis]
    window = Window(block.col, block.row, block.cols, block.rows)
    try:
        for band in range(len(output.bands)):
            file.write(np.ascontiguousarray(stack[band], dtype=output.dtype), band + 1, window=window)
    except WRITE_ERRORS as error:
        raise write_fault({"": output}, error) from error


def write_fault(outputs: Mapping[str, Output], error: Exception) -> FileFault:
    """Return the fault that says an output could not be written."""
    names = ", ".join(str(o.path) for o in outputs.values())
    return FileFault(
        Fault(
            names,
            f"cannot be written ({error})",
            "a disk with room for the rasters",
            "Free some room or choose another folder; the older file is untouched.",
        )
    )


def add_overviews(path: Path, output: Output, grid: Grid) -> None:
    """Add versions at 1/2, 1/4, … until one fits a tile; nothing for rasters of one tile."""
    factors: list[int] = []
    while max(grid.shape) / 2 ** (len(factors)) > TILE:
        factors.append(2 ** (len(factors) + 1))
    if not factors:
        return
    # nearest neighbour keeps codes codes and gaps gaps
    with rasterio.Env(COMPRESS_OVERVIEW="ZSTD", ZSTD_LEVEL_OVERVIEW="1", GDAL_TIFF_OVR_BLOCKSIZE=str(TILE)):
        try:
            with rasterio.open(path, "r+") as file:
                file.build_overviews(factors, Resampling.nearest)
        except WRITE_ERRORS as error:
            raise write_fault({"": output}, error) from error
