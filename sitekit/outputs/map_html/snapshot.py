"""The still picture inside the page, for phones that block scripts: first raster, outlines, colonies, scale bar."""

from __future__ import annotations

import base64
import io
import itertools
import math
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw, ImageFont

from sitekit.outputs.map_html.colonies import unpack_places
from sitekit.outputs.map_html.mercator import longitude_latitude
from sitekit.outputs.map_html.overlays import Overlay
from sitekit.outputs.map_html.vectors import STEP

FONT = Path(__file__).resolve().parents[1] / "fonts" / "DejaVuSans.ttf"
LONG_SIDE = 1000  # pixels
_LINES = {
    "candidates": "#0b2a4a",
    "plots": "#7a2d00",
    "work_areas": "#4a2a6a",
    "protected": "#8a1c1c",
    "tape_lines": "#7a2d00",
}
_BARS = (1, 2, 5)


def still_picture(
    base: Overlay | None, shown: Overlay | None, layers: list[dict[str, Any]], colonies: dict[str, Any], outline: Any
) -> str:
    """Return a `data:` address of a PNG.

    Parameters
    ----------
    base, shown : Overlay, optional
        Underneath (relief or picture) and above it (the first raster).
    layers : list of dict
        From `vectors.vector_layer`.
    colonies : dict
        From `colonies.pack_colonies`.
    outline : tuple of float
        West, south, east, north of the map on the screen's plane [m].
    """
    west, south, east, north = outline
    scale = LONG_SIDE / max(east - west, north - south)
    size = max(48, round((east - west) * scale)), max(48, round((north - south) * scale))
    canvas = Image.new("RGB", size, "#e9eef2")
    for overlay, opacity in ((base, 1.0), (shown, 0.8)):
        if overlay is not None:
            _paste(canvas, overlay, opacity, (west, north), scale)
    draw = ImageDraw.Draw(canvas, "RGBA")
    for layer in layers:
        if layer["id"] in _LINES:
            for item in layer["items"]:
                _item(draw, item, _LINES[layer["id"]], scale, size[1])
    if colonies["count"]:
        x, y = unpack_places(colonies)
        for px, py in zip(x * scale, size[1] - y * scale, strict=True):
            draw.point((float(px), float(py)), fill="#101010")
    font = ImageFont.truetype(str(FONT), 14)
    for layer in layers:
        if layer["id"] in ("sites", "plots"):
            for item in layer["items"]:
                px, py = next(_pixels(item["r"][0][0], scale, size[1]))
                draw.text(
                    (px + 5, py - 8), item["n"][:24], font=font, fill="#000000", stroke_width=2, stroke_fill="#ffffff"
                )
    _scale_bar(draw, font, scale, size, outline)
    stream = io.BytesIO()
    canvas.quantize(128, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(stream, "PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def _paste(canvas: Image.Image, overlay: Overlay, opacity: float, corner: tuple[float, float], scale: float) -> None:
    west, north = corner
    size = max(1, round((overlay.east - overlay.west) * scale)), max(1, round((overlay.north - overlay.south) * scale))
    drawn = overlay.image.convert("RGBA").resize(size, Image.Resampling.NEAREST)
    veil = drawn.getchannel("A").point(lambda a: round(a * opacity))
    canvas.paste(
        drawn.convert("RGB"), (round((overlay.west - west) * scale), round((north - overlay.north) * scale)), veil
    )


def _item(draw: ImageDraw.ImageDraw, item: dict[str, Any], colour: str, scale: float, height: int) -> None:
    for part in item["r"]:
        for ring in part:
            points = list(_pixels(ring, scale, height))
            if len(points) > 1:
                draw.line(points, fill=colour, width=2)


def _pixels(steps: list[int], scale: float, height: int) -> Any:
    xs, ys = itertools.accumulate(steps[0::2]), itertools.accumulate(steps[1::2])
    return ((x * STEP * scale, height - y * STEP * scale) for x, y in zip(xs, ys, strict=True))


def _scale_bar(draw: ImageDraw.ImageDraw, font: Any, scale: float, size: tuple[int, int], outline: Any) -> None:
    west, south, east, north = outline
    _, latitude = longitude_latitude((west + east) / 2, (south + north) / 2)
    per_metre = scale / math.cos(math.radians(latitude))  # pixels for a metre on the ground, in the middle
    room = size[0] * 0.3 / per_metre
    power = 10.0 ** math.floor(math.log10(room))
    length = max((b * power for b in _BARS if b * power <= room), default=power)
    wide, bottom = length * per_metre, size[1] - 14
    draw.rectangle((8, bottom - 24, 20 + max(wide, 90), bottom + 10), fill=(255, 255, 255, 215))
    draw.line(
        [(14, bottom - 4), (14, bottom + 4), (14 + wide, bottom + 4), (14 + wide, bottom - 4)], fill="#000000", width=2
    )
    words = f"{length / 1000:g} km" if length >= 1000 else f"{length:g} m"
    draw.text((16, bottom - 20), words + "   north is up", font=font, fill="#000000")
