"""The still picture inside the page, for phones that block scripts: first raster with hatches, outlines, colonies, legend."""

from __future__ import annotations

import base64
import io
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from sitekit.base.wording import length_unit, say
from sitekit.outputs.map_html.colonies import unpack_places
from sitekit.outputs.map_html.mercator import longitude_latitude
from sitekit.outputs.map_html.overlays import Overlay
from sitekit.outputs.map_html.vectors import STEP

FONT = Path(__file__).resolve().parents[1] / "fonts" / "DejaVuSans.ttf"
LONG_SIDE = 1000  # pixels
LEGEND = 330  # pixels
_LINES = {  # colours of outlines
    "candidates": "#0b2a4a",
    "plots": "#7a2d00",
    "work_areas": "#4a2a6a",
    "tape_lines": "#111111",
    "protected:forbidden": "#8a1c1c",
    "protected:permit": "#7a4a00",
    "protected:preferred": "#14532d",
    "protected:none": "#3c4850",
}
_BARS = (1, 2, 5)
_INK, _RING = (40, 46, 52), (50, 40, 70)


@dataclass(frozen=True)
class Shown:
    """What the still picture shows beside outlines: base, first raster with its opacity and title, its reasons."""

    base: Overlay | None
    raster: Overlay | None
    title: str
    opacity: float
    reason: Overlay | None


def still_picture(shown: Shown, layers: list[dict[str, Any]], colonies: dict[str, Any], outline: Any) -> str:
    """Return a `data:` address of a PNG.

    Parameters
    ----------
    shown : Shown
        Pictures underneath.
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
    for overlay, opacity in ((shown.base, 1.0), (shown.raster, shown.opacity)):
        if overlay is not None:
            _paste(canvas, overlay, opacity, (west, north), scale)
    if shown.reason is not None:
        canvas = _hatched(canvas, shown.reason, (west, north), scale)
    draw = ImageDraw.Draw(canvas, "RGBA")
    for layer in layers:
        for item in layer["items"]:
            if _key(layer, item) in _LINES:
                _item(draw, item, _LINES[_key(layer, item)], scale, size[1])
    if colonies["count"]:
        x, y = unpack_places(colonies)
        for px, py in zip(x * scale, size[1] - y * scale, strict=True):
            draw.point((float(px), float(py)), fill="#101010")
    font = ImageFont.truetype(str(FONT), 14)
    for layer in layers:
        if layer["id"] in ("sites", "plots", "protected"):
            for item in layer["items"]:
                px, py = next(_pixels(item.get("l") or item["r"][0][0], scale, size[1]))
                draw.text(
                    (px + 5, py - 8), item["n"][:24], font=font, fill="#000000", stroke_width=2, stroke_fill="#ffffff"
                )
    _scale_bar(draw, font, scale, size, outline)
    sheet = _with_legend(canvas, font, shown, layers, colonies)
    stream = io.BytesIO()
    sheet.quantize(128, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
        stream, "PNG", compress_level=6
    )
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def _paste(canvas: Image.Image, overlay: Overlay, opacity: float, corner: tuple[float, float], scale: float) -> None:
    west, north = corner
    size = max(1, round((overlay.east - overlay.west) * scale)), max(1, round((overlay.north - overlay.south) * scale))
    drawn = overlay.image.convert("RGBA").resize(size, Image.Resampling.NEAREST)
    veil = drawn.getchannel("A").point(lambda a: round(a * opacity))
    canvas.paste(
        drawn.convert("RGB"), (round((overlay.west - west) * scale), round((north - overlay.north) * scale)), veil
    )


def hatch_tile(kind: str, shape: tuple[int, int]) -> tuple[NDArray[np.bool_], float]:
    """Return where strokes stand, and how white the veil below them is: the page's two hatches in whole pixels.

    Excluded: falling strokes. Unknown: small rings.
    """
    side, veil = (8, 0.3) if kind == "excluded" else (12, 0.62)
    row, col = np.mgrid[0:side, 0:side]
    if kind == "excluded":
        tile = (col - row) % side == 0
    else:
        tile = np.abs(np.minimum(np.hypot(row - 3, col - 3), np.hypot(row - 9, col - 9)) - 2.0) < 0.6
    many = -(-shape[0] // side), -(-shape[1] // side)
    return np.tile(tile, many)[: shape[0], : shape[1]], veil


def _hatched(canvas: Image.Image, reason: Overlay, corner: tuple[float, float], scale: float) -> Image.Image:
    west, north = corner
    wide, high = canvas.size
    rows = np.clip(((np.arange(high) + 0.5) / scale + reason.north - north) / reason.pixel, -1, 1e9).astype(np.int64)
    cols = np.clip(((np.arange(wide) + 0.5) / scale + west - reason.west) / reason.pixel, -1, 1e9).astype(np.int64)
    codes = np.asarray(reason.image)
    inside = ((rows >= 0) & (rows < codes.shape[0]))[:, None] & ((cols >= 0) & (cols < codes.shape[1]))[None, :]
    seen = np.where(
        inside, codes[np.clip(rows, 0, codes.shape[0] - 1)[:, None], np.clip(cols, 0, codes.shape[1] - 1)[None, :]], 0
    )
    pixels = np.asarray(canvas).astype(np.float32)
    for kind, ink in (("excluded", _INK), ("unknown", _RING)):
        mask = np.isin(seen, [place for place, (k, _) in enumerate(reason.legend, 1) if k == kind])
        strokes, veil = hatch_tile(kind, mask.shape)
        pixels[mask] = pixels[mask] * (1 - veil) + 255 * veil
        pixels[mask & strokes] = pixels[mask & strokes] * 0.25 + np.array(ink, np.float32) * 0.75
    return Image.fromarray(np.rint(pixels).astype(np.uint8))


def _key(layer: dict[str, Any], item: dict[str, Any]) -> str:
    return f"protected:{item['k']}" if layer["id"] == "protected" else str(layer["id"])


def _item(draw: ImageDraw.ImageDraw, item: dict[str, Any], colour: str, scale: float, height: int) -> None:
    for part in item["r"]:
        for ring in part:
            points = list(_pixels(ring, scale, height))
            if len(points) > 1:
                draw.line(points, fill=colour, width=2)


def _pixels(steps: list[int], scale: float, height: int) -> Any:
    xs, ys = itertools.accumulate(steps[0::2]), itertools.accumulate(steps[1::2])
    return ((x * STEP * scale, height - y * STEP * scale) for x, y in zip(xs, ys, strict=True))


def _with_legend(
    canvas: Image.Image, font: Any, shown: Shown, layers: list[dict[str, Any]], colonies: dict[str, Any]
) -> Image.Image:
    """Return the map with its legend at the right: the bins, the two hatches, the outlines."""
    rows: list[tuple[str, str, str]] = []
    if shown.raster is not None:
        rows += [("head", "", shown.title), *(("bin", colour, words) for colour, words in shown.raster.legend)]
    if shown.reason is not None:
        kinds = dict.fromkeys(kind for kind, _ in shown.reason.legend)
        for kind in kinds:
            words = "; ".join(text for k, text in shown.reason.legend if k == kind)
            rows.append((kind, "", say(f"map.{kind}", reasons=words)))
    present = {_key(layer, item) for layer in layers for item in layer["items"]}
    rows += [("line", colour, _outline_words(key)) for key, colour in _LINES.items() if key in present]
    rows += [("line", "#101010", say("layer.planned_colonies"))] if colonies["count"] else []
    lines = [(kind, colour, _broken(words, font, LEGEND - 60)) for kind, colour, words in rows]
    high = max(canvas.size[1], 20 + sum(8 + 18 * len(text) for _, _, text in lines))
    sheet = Image.new("RGB", (canvas.size[0] + LEGEND, high), "#ffffff")
    sheet.paste(canvas, (0, 0))
    draw = ImageDraw.Draw(sheet)
    left, y = canvas.size[0] + 12, 10
    for kind, colour, text in lines:
        box = (left, y + 1, left + 32, y + 17)
        if kind == "bin":
            part = tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))
            draw.rectangle(box, fill=tuple(round(255 + (v - 255) * shown.opacity) for v in part), outline="#66757d")
        elif kind == "line":
            draw.line((left, y + 9, left + 32, y + 9), fill=colour, width=3)
        elif kind != "head":
            strokes, _ = hatch_tile(kind, (17, 33))
            tile = np.where(strokes[..., None], np.array(_INK if kind == "excluded" else _RING), 255).astype(np.uint8)
            sheet.paste(Image.fromarray(tile), box[:2])
            draw.rectangle(box, outline="#66757d")
        for k, line in enumerate(text):
            draw.text((left + (0 if kind == "head" else 42), y + 18 * k), line, font=font, fill="#14212b")
        y += 8 + 18 * len(text)
    return sheet


def _outline_words(key: str) -> str:
    layer, _, rule = key.partition(":")
    many = say(f"layer.many_{layer}")
    return say("page.of_kind", layer=many, kind=say(f"map.rule_{rule}")) if rule else many


def _broken(words: str, font: Any, room: int) -> Sequence[str]:
    lines = [""]
    for word in words.split(" ")[:60]:
        wider = f"{lines[-1]} {word}".strip()
        if font.getlength(wider) <= room or not lines[-1]:
            lines[-1] = wider[:60]
        else:
            lines.append(word[:60])
    return lines


def _scale_bar(draw: ImageDraw.ImageDraw, font: Any, scale: float, size: tuple[int, int], outline: Any) -> None:
    west, south, east, north = outline
    _, latitude = longitude_latitude((west + east) / 2, (south + north) / 2)
    per_metre = scale / math.cos(math.radians(latitude))  # pixels for a metre on the ground, in the middle
    unit, per = length_unit()
    room = size[0] * 0.3 / (per_metre * per)
    power = 10.0 ** math.floor(math.log10(room))
    length = max((b * power for b in _BARS if b * power <= room), default=power)
    wide, bottom = length * per_metre * per, size[1] - 14
    draw.rectangle((8, bottom - 24, 20 + max(wide, 130), bottom + 10), fill=(255, 255, 255, 215))
    draw.line(
        [(14, bottom - 4), (14, bottom + 4), (14 + wide, bottom + 4), (14 + wide, bottom - 4)], fill="#000000", width=2
    )
    words = f"{length / 1000:g} km" if unit == "m" and length >= 1000 else f"{length:g} {unit}"
    draw.text((16, bottom - 20), words + "   " + say("layer.north_up"), font=font, fill="#000000")
