"""A raster as somebody made it: opened, placed, read by window as numbers with gaps, averaged where it is finer."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from sitekit.base.crs import WGS84, geographic_bounds, name_of, read_crs, transform_points
from sitekit.base.geodesy import distance
from sitekit.errors import Fault, FileFault, InputFault

_STRIP = 16_000_000  # source cells held at once while averaging down


@dataclass
class SourceRaster:
    """An open band with its place.

    Parameters
    ----------
    path : Path
        For messages.
    file : rasterio dataset
        Open for reading.
    band : int
        From 1.
    crs : pyproj.CRS
        Of the file, or as stated by the user.
    transform : affine.Affine
        Column, row to x, y.
    nodata : float or None
        As stated by the user or by the file.
    factor, offset : float
        The file's own packing: value = stored × factor + offset.
    notes : list of str
        What a reader of the `check` table should know.
    """

    path: Path
    file: Any
    band: int
    crs: CRS
    transform: Affine
    nodata: float | None
    factor: float
    offset: float
    notes: list[str]

    @property
    def corners(self) -> tuple[float, float, float, float]:
        """West, south, east, north in the raster's own system."""
        t, wide, high = self.transform, self.file.width, self.file.height
        x = [t.a * c + t.b * r + t.c for c in (0, wide) for r in (0, high)]
        y = [t.d * c + t.e * r + t.f for c in (0, wide) for r in (0, high)]
        return min(x), min(y), max(x), max(y)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, south, east, north [degrees, WGS 84], longitudes within ±180."""
        west, south, east, north = self.corners
        if self.crs.is_geographic:
            turn = 360.0 * math.floor((west + 180.0) / 360.0)
            west, east = west - turn, east - turn
            return west, south, east if east <= 180.0 else east - 360.0, north
        return geographic_bounds((west, south, east, north), self.crs)

    def resolution_m(self, x: float, y: float) -> tuple[float, float]:
        """Width and height of a source cell on the ellipsoid at a place in the raster's own system [m]."""
        a, b, d, e = self.transform.a, self.transform.b, self.transform.d, self.transform.e
        lon, lat = transform_points([x, x + a, x + b], [y, y + d, y + e], self.crs, WGS84)
        size = distance([lon[0]] * 2, [lat[0]] * 2, lon[1:], lat[1:])
        return float(size[0]), float(size[1])

    def pixels(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Columns and rows, with fractions, of places in the raster's own system.

        Longitudes are turned by 360° to the side on which the raster counts them (0-360 or ±180).
        """
        if self.crs.is_geographic:
            west, _, east, _ = self.corners
            x = x + 360.0 * np.round(((west + east) / 2.0 - x) / 360.0)
        back = ~self.transform
        return back.a * x + back.b * y + back.c, back.d * x + back.e * y + back.f

    def read(self, row: int, col: int, rows: int, cols: int, block: int = 1) -> NDArray[np.float64]:
        """Values of a window; NaN in gaps and beyond the raster.

        Parameters
        ----------
        row, col, rows, cols : int
            Window in blocks; may reach beyond the raster.
        block : int
            Source cells per side that one answer averages; cells without a value do not count, and a block with none is
            a gap. Blocks are counted from the raster's first cell.
        """
        if block == 1:
            return self._read(row, col, rows, cols)
        out = np.empty((rows, cols))
        step = max(1, _STRIP // (block * block * max(cols, 1)))
        for first in range(0, rows, step):
            count = min(step, rows - first)
            part = self._read((row + first) * block, col * block, count * block, cols * block)
            cells = part.reshape(count, block, cols, block)
            have = np.isfinite(cells)
            number = have.sum(axis=(1, 3))
            total = np.where(have, cells, 0.0).sum(axis=(1, 3))
            out[first : first + count] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
        return out

    def _read(self, row: int, col: int, rows: int, cols: int) -> NDArray[np.float64]:
        out = np.full((rows, cols), np.nan)
        r0, c0 = max(row, 0), max(col, 0)
        r1, c1 = min(row + rows, self.file.height), min(col + cols, self.file.width)
        if r0 >= r1 or c0 >= c1:
            return out
        try:
            stored = self.file.read(self.band, window=Window(c0, r0, c1 - c0, r1 - r0))
            mask = self.file.read_masks(self.band, window=Window(c0, r0, c1 - c0, r1 - r0)) if self._masked else None
        except RasterioError as error:
            raise FileFault(
                Fault(
                    str(self.path), f"is damaged near row {r0}, column {c0} ({error})", "a whole file", "Get it again."
                )
            ) from error
        values = stored.astype(np.float64)
        kind = stored.dtype
        if self.nodata is not None and (kind.kind == "f" or _fits(self.nodata, kind)):
            # float32 files hold the float32 neighbour of a nodata value such as -3.4e38
            values[stored == np.asarray(self.nodata).astype(stored.dtype)] = np.nan
        if mask is not None:
            values[mask == 0] = np.nan
        values[~np.isfinite(values)] = np.nan
        out[r0 - row : r1 - row, c0 - col : c1 - col] = values * self.factor + self.offset
        return out

    @property
    def _masked(self) -> bool:
        flags = self.file.mask_flag_enums[self.band - 1]
        return rasterio.enums.MaskFlags.per_dataset in flags or rasterio.enums.MaskFlags.alpha in flags


def _fits(value: float, kind: np.dtype[Any]) -> bool:
    """Whether a whole-number type can hold a value: −9999 in a file of bytes marks nothing, and must not wrap to 241."""
    limits = np.iinfo(kind)
    return limits.min <= value <= limits.max and value == int(value)


@contextmanager
def open_source(
    path: Path,
    *,
    band: int = 1,
    crs: CRS | str | None = None,
    nodata: float | None = None,
    variable: str | None = None,
) -> Iterator[SourceRaster]:
    """Open one band of a raster file: GeoTIFF, NetCDF, ESRI-type ASCII grid, or what else GDAL reads.

    Parameters
    ----------
    path : Path
        The file.
    band : int
        From 1.
    crs : CRS or str, optional
        Where the file does not say; a stated system wins over the file's, and a note says so.
    nodata : float, optional
        Value of gaps; wins over the file's.
    variable : str, optional
        Which variable of a file that holds several.

    Raises
    ------
    FileFault
        If the file is missing or unreadable.
    InputFault
        If the band is absent, several variables stand to choose from, or the file has no place or system.
    """
    if not Path(path).is_file():
        raise FileFault(Fault(str(path), "does not exist", "a raster file", "Check the path in the settings."))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # told below as a fault, with advice
        try:
            file = rasterio.open(path)
            if file.count == 0 and file.subdatasets:
                name = _subdataset(path, list(file.subdatasets), variable)
                file.close()
                file = rasterio.open(name)
        except RasterioError as error:
            raise FileFault(
                Fault(str(path), f"cannot be read ({error})", "a raster that GDAL reads", "Check that it is whole.")
            ) from error
    with file:
        yield _placed(Path(path), file, band, crs, nodata)


def _subdataset(path: Path, names: list[str], variable: str | None) -> str:
    short = {n.rsplit(":", 1)[-1].strip('"'): n for n in names}
    if variable is None and len(names) == 1:
        return names[0]
    if variable in short:
        return short[variable]
    raise InputFault(
        Fault(str(path), f"holds {len(short)} variables", ", ".join(short), "Name the one to read (variable).")
    )


def _placed(path: Path, file: Any, band: int, crs: CRS | str | None, nodata: float | None) -> SourceRaster:
    faults: list[Fault] = []
    notes: list[str] = []
    if not 1 <= band <= file.count:
        faults.append(Fault(f"{path}, band", str(band), f"1 to {file.count}", "Set band."))
    elif np.dtype(file.dtypes[band - 1]).kind not in "iuf":
        faults.append(Fault(f"{path}, band", f"holds {file.dtypes[band - 1]} values", "real numbers", "Convert it."))
    own = CRS.from_wkt(file.crs.to_wkt()) if file.crs else None
    stated = read_crs(crs, f"{path}, crs") if crs is not None else None
    if own is None and stated is None:
        faults.append(
            Fault(
                str(path), "has no coordinate system", "a raster that says where it lies", "State it: crs = 'EPSG:…'."
            )
        )
    if own is not None and stated is not None and own != stated:
        notes.append(f"the file says {name_of(own)}, the settings say {name_of(stated)}: the settings are followed")
    if file.transform == Affine.identity() or file.transform.determinant == 0.0:
        faults.append(
            Fault(str(path), "has no position (rows and columns only)", "a placed raster", "Georeference it first.")
        )
    if faults:
        raise InputFault(*faults)
    factor, offset = file.scales[band - 1], file.offsets[band - 1]
    if (factor, offset) != (1.0, 0.0):
        notes.append(f"the file packs its values: × {factor:g} + {offset:g} applied")
    gaps = nodata if nodata is not None else file.nodatavals[band - 1]
    system = stated if stated is not None else own
    assert system is not None
    return SourceRaster(path, file, band, system, file.transform, gaps, float(factor), float(offset), notes)
