"""Rasters as small palette pictures on the screen's plane: one colour per bin, clear where nothing is known."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import rasterio.warp
from numpy.typing import NDArray
from PIL import Image
from rasterio.enums import ColorInterp, Resampling

from sitekit.base.wording import say
from sitekit.errors import Fault, FileFault
from sitekit.layers.grid import Grid
from sitekit.outputs.map_html.mercator import Screen, warp
from sitekit.outputs.map_html.plain_text import plain_text
from sitekit.outputs.map_html.ramps import ramp, rgb
from sitekit.outputs.map_html.scene import RasterLayer, ReasonLayer

SHADES = 32  # greys of shaded depth
SUN_AZIMUTH_DEG, SUN_HEIGHT_DEG = 315.0, 45.0  # the usual light of shaded relief: from the upper left
PNG_LEVEL = 6  # 9 takes three times as long for a few per cent
MAX_PICTURE = 2048  # pixels a side of the user's own picture


@dataclass(frozen=True)
class Overlay:
    """A picture on the screen's plane with its legend rows (colour, words) and where its corners lie [m]."""

    image: Image.Image
    west: float
    south: float
    east: float
    north: float
    pixel: float
    legend: tuple[tuple[str, str], ...]

    def data_uri(self) -> str:
        """Return the picture as a `data:` address (PNG; WebP for a photograph)."""
        stream = io.BytesIO()
        if self.image.mode == "P":
            self.image.save(stream, "PNG", compress_level=PNG_LEVEL, transparency=self.image.info["transparency"])
            kind = "png"
        else:
            self.image.save(stream, "WEBP", quality=80, method=4)
            kind = "webp"
        return f"data:image/{kind};base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def raster_overlay(layer: RasterLayer, grid: Grid, screen: Screen) -> Overlay:
    """Return a raster in the colours of its bins or classes; the legend lists exactly what is drawn."""
    if layer.classes:
        names = [plain_text(layer.classes[c]) for c in sorted(layer.classes)]
        codes = _class_codes(layer)
        colours = ramp(layer.ramp, len(names))
    else:
        codes = bin_codes(layer.values, layer.edges)
        names = bin_names(layer.values, layer.edges)
        colours = ramp(layer.ramp, len(layer.edges) - 1)
    return _overlay(codes, grid, screen, [(*rgb(c), 255) for c in colours], tuple(zip(colours, names, strict=True)))


def bin_codes(values: NDArray[Any], edges: tuple[float, ...]) -> NDArray[np.uint8]:
    """Return 1 for the first bin, 2 for the second, …; 0 where the value is missing.

    A bin holds its lower edge; the last also its upper; values outside fall to the end bins.
    """
    wide = np.asarray(values, dtype=np.float64)
    code = np.clip(np.searchsorted(np.asarray(edges[1:-1], dtype=np.float64), wide, side="right") + 1, 1, 255)
    return np.where(np.isnan(wide), 0, code).astype(np.uint8)


def bin_names(values: NDArray[Any], edges: tuple[float, ...]) -> list[str]:
    """Return what the legend says of each bin; the end bins say if they hold values beyond the edges."""
    places = _decimals(edges)
    text = [f"{e:.{places}f}".replace("-", "−") for e in edges]
    names = [say("map.bin", low=low, high=high) for low, high in pairwise(text)]
    known = np.asarray(values)[~np.isnan(values)]
    if known.size and len(names) > 1:
        if float(known.min()) < edges[0]:
            names[0] = say("map.below", value=text[1])
        if float(known.max()) > edges[-1]:
            names[-1] = say("map.above", value=text[-2])
    return names


def reason_overlay(layer: ReasonLayer, grid: Grid, screen: Screen) -> Overlay:
    """Return reasons as a picture whose red value is the place in the legend (1, 2, …); the page hatches it.

    The legend's colour is the word `excluded` or `unknown`.
    """
    rows = [(c, "excluded", t) for c, t in sorted(layer.excluded.items())]
    rows += [(c, "unknown", t) for c, t in sorted(layer.unknown.items())]
    lookup = np.zeros(int(np.max(layer.codes, initial=0)) + 1, dtype=np.uint8)
    for place, (code, _, _) in enumerate(rows, 1):
        if 0 <= code < len(lookup):
            lookup[code] = place
    palette = [(place, 0, 0, 255) for place in range(1, len(rows) + 1)]
    return _overlay(lookup[layer.codes], grid, screen, palette, tuple((k, plain_text(t)) for _, k, t in rows))


def mask_uri(overlay: Overlay, kind: str) -> str:
    """Return a `data:` address of a one-bit picture, solid where the reason is of this kind; empty if none is."""
    wanted = [place for place, (k, _) in enumerate(overlay.legend, 1) if k == kind]
    solid = np.isin(np.asarray(overlay.image), wanted)
    if not solid.any():
        return ""
    image = Image.fromarray(solid.astype(np.uint8))
    image.putpalette([0, 0, 0, 0, 0, 0])
    stream = io.BytesIO()
    image.save(stream, "PNG", compress_level=PNG_LEVEL, bits=1, transparency=bytes([0, 255]))
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def relief_overlay(depth: NDArray[np.float32], grid: Grid, screen: Screen) -> Overlay:
    """Return shaded depth in greys, so that no hue below a layer is taken for one of its own.

    Light falls from the north-west; heights are stretched so that slopes show.
    """
    shade = np.clip((hillshade(depth, grid.cell) * SHADES).astype(np.int64), 0, SHADES - 1)
    codes = np.where(np.isnan(depth), 0, shade + 1).astype(np.uint8)
    greys = [round(135 + 115 * (step + 0.5) / SHADES) for step in range(SHADES)]
    return _overlay(codes, grid, screen, [(g, g, g, 255) for g in greys], ())


def hillshade(depth: NDArray[np.float32], cell: float) -> NDArray[np.float32]:
    """Return the light on each cell, 0-1: a plain Lambert shade of central differences.

    Parameters
    ----------
    depth : ndarray
        Depth [m], positive down; NaN counts as level ground.
    cell : float
        Side of a cell [m].

    Notes
    -----
    The stretch makes the 90th percentile of the slope stand at 45°, for looking only.
    """
    deep = np.asarray(depth, dtype=np.float32)
    down_row = np.gradient(deep, cell, axis=0) if deep.shape[0] > 1 else np.zeros_like(deep)
    down_col = np.gradient(deep, cell, axis=1) if deep.shape[1] > 1 else np.zeros_like(deep)
    fall_row, fall_col = np.nan_to_num(down_row, copy=False), np.nan_to_num(down_col, copy=False)
    steep = np.sqrt(fall_row * fall_row + fall_col * fall_col)
    typical = float(np.percentile(steep[steep > 0], 90)) if (steep > 0).any() else 1.0
    stretch = 1.0 / typical
    azimuth, height = math.radians(SUN_AZIMUTH_DEG), math.radians(SUN_HEIGHT_DEG)
    # A surface falling east has an upward normal leaning east; rows run south.
    east, north = fall_col * stretch, -fall_row * stretch
    lit = math.sin(height) + math.cos(height) * (east * math.sin(azimuth) + north * math.cos(azimuth))
    shade: NDArray[np.float32] = np.clip(lit / np.sqrt(1 + east * east + north * north), 0, 1)
    return shade


def check_picture(path: Path) -> list[str]:
    """Return what was understood of the user's own picture.

    Raises
    ------
    FileFault
        If it cannot be read, has no CRS, or has neither three 8-bit colour bands, one grey band, nor a palette.
    """
    with _opened(path) as source:
        kind = "palette" if source.colorinterp[0] == ColorInterp.palette else "colour" if source.count >= 3 else "grey"
        rows, cols = source.shape
        return [f"{kind} picture, {cols} × {rows} pixels, {source.crs.to_string()}"]


def picture_overlay(path: Path, screen: Screen) -> Overlay:
    """Return the user's own picture (GeoTIFF in any CRS) on the map's outline.

    Raises
    ------
    FileFault
        As `check_picture`.
    """
    least = max(screen.east - screen.west, screen.north - screen.south) / MAX_PICTURE
    with _opened(path) as source:
        own, _, _ = rasterio.warp.calculate_default_transform(
            source.crs, screen.crs.to_wkt(), source.width, source.height, *source.bounds
        )
        (rows, cols), transform, pixel = screen.frame_of(
            screen.west, screen.south, screen.east, screen.north, max(least, own.a)
        )
        bands = _picture_bands(source)
        out = np.zeros((4, rows, cols), dtype=np.uint8)
        for k, values in enumerate(bands):
            rasterio.warp.reproject(
                values,
                out[k],
                src_transform=source.transform,
                src_crs=source.crs,
                dst_transform=transform,
                dst_crs=screen.crs.to_wkt(),
                resampling=Resampling.nearest if k == 3 else Resampling.bilinear,
                num_threads=1,
            )
    image = Image.fromarray(np.ascontiguousarray(np.moveaxis(out, 0, -1)))
    west, north = transform.c + screen.shift, transform.f
    return Overlay(image, west, north - rows * pixel, west + cols * pixel, north, pixel, ())


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    try:
        with rasterio.open(path) as source:
            faults = []
            if source.crs is None:
                faults.append(Fault(str(path), "has no CRS", "a GeoTIFF with a CRS", "Assign the CRS it was made in."))
            if source.dtypes[0] != "uint8":
                came = f"holds {source.dtypes[0]} values"
                faults.append(Fault(str(path), came, "8-bit colours", "Export it as 8-bit RGB."))
            if faults:
                raise FileFault(*faults)
            yield source
    except rasterio.errors.RasterioIOError as error:
        raise FileFault(Fault(str(path), f"cannot be read ({error})", "a GeoTIFF", "Check layers.picture.")) from error


def _picture_bands(source: Any) -> list[NDArray[np.uint8]]:
    solid = source.dataset_mask().astype(np.uint8)
    if source.colorinterp[0] == ColorInterp.palette:
        table = np.zeros((256, 4), dtype=np.uint8)
        for code, colour in source.colormap(1).items():
            table[code] = colour
        looked = table[source.read(1)]
        return [looked[..., 0], looked[..., 1], looked[..., 2], np.minimum(looked[..., 3], solid)]
    bands = [source.read(i) for i in ((1, 2, 3) if source.count >= 3 else (1, 1, 1))]
    return [*bands, solid]


def _class_codes(layer: RasterLayer) -> NDArray[np.uint8]:
    codes = np.zeros(layer.values.shape, dtype=np.uint8)
    for place, code in enumerate(sorted(layer.classes), 1):
        codes[layer.values == code] = place
    return codes


def _overlay(
    codes: NDArray[np.uint8],
    grid: Grid,
    screen: Screen,
    palette: list[tuple[int, int, int, int]],
    legend: tuple[tuple[str, str], ...],
) -> Overlay:
    drawn = warp(codes, grid, screen)
    palette, legend = _told_apart(palette, legend)
    (rows, cols), transform, pixel = screen.frame()
    image = Image.fromarray(drawn)
    image.putpalette([0, 0, 0, *(v for colour in palette for v in colour[:3])])
    image.info["transparency"] = bytes([0, *(c[3] for c in palette)])
    west, north = transform.c + screen.shift, transform.f
    return Overlay(image, west, north - rows * pixel, west + cols * pixel, north, pixel, legend)


def _told_apart(
    palette: list[tuple[int, int, int, int]], legend: tuple[tuple[str, str], ...]
) -> tuple[list[tuple[int, int, int, int]], tuple[tuple[str, str], ...]]:
    """Shift the blue of a colour that comes again by a step nobody sees, so that the page can tell its class."""
    seen: set[tuple[int, int, int]] = set()
    out = []
    for colour in palette:
        red, green, blue, alpha = colour
        step = 1 if blue < 128 else -1
        while (red, green, blue) in seen:
            blue += step
        seen.add((red, green, blue))
        out.append((red, green, blue, alpha))
    if len(legend) == len(palette) and legend and legend[0][0].startswith("#"):
        legend = tuple((f"#{c[0]:02x}{c[1]:02x}{c[2]:02x}", words) for c, (_, words) in zip(out, legend, strict=True))
    return out, legend


def _decimals(edges: tuple[float, ...]) -> int:
    return next((n for n in range(7) if all(abs(round(e, n) - e) <= 1e-9 * max(1, abs(e)) for e in edges)), 3)
