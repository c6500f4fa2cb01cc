"""Colours of the map: ramps made here from lightness, chroma and hue, to read in grey and without red or green.

Sequential ramps fall steadily in lightness. The class colours alternate light and dark, so that neighbours in a legend
differ in grey too; where there are more classes than colours the list repeats and the legend says so.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Fault, InputFault

# Anchors (lightness 0-1, chroma, hue in degrees) in the Oklab space; chosen for this map, tested for even lightness.
_RAMPS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "score": (
        (0.95, 0.045, 95.0),
        (0.82, 0.105, 120.0),
        (0.65, 0.115, 175.0),
        (0.48, 0.100, 225.0),
        (0.30, 0.105, 275.0),
    ),
    "depth": ((0.97, 0.020, 200.0), (0.84, 0.055, 215.0), (0.68, 0.075, 240.0), (0.52, 0.080, 260.0)),
    "warm": ((0.96, 0.040, 85.0), (0.82, 0.110, 65.0), (0.64, 0.140, 40.0), (0.45, 0.125, 20.0), (0.29, 0.085, 350.0)),
    "plain": ((0.95, 0.012, 250.0), (0.62, 0.030, 250.0), (0.30, 0.035, 250.0)),
}
_CLASSES: tuple[tuple[float, float, float], ...] = (
    (0.45, 0.125, 262.0),
    (0.80, 0.140, 80.0),
    (0.58, 0.110, 190.0),
    (0.40, 0.120, 10.0),
    (0.86, 0.070, 215.0),
    (0.62, 0.160, 45.0),
    (0.34, 0.060, 150.0),
    (0.72, 0.110, 330.0),
    (0.90, 0.110, 108.0),
    (0.50, 0.020, 260.0),
    (0.74, 0.110, 150.0),
    (0.30, 0.090, 300.0),
)


def ramp(name: str, count: int) -> list[str]:
    """Return `count` colours for the bins of a layer, lightest for the lowest bin.

    Parameters
    ----------
    name : str
        `score`, `depth`, `warm`, `plain` (sequential) or `classes` (unordered).
    count : int
        Number of bins or classes, at least 1.

    Returns
    -------
    list of str
        `#rrggbb`.

    Raises
    ------
    InputFault
        If the name is unknown or the count is below 1.

    Notes
    -----
    Anchors are joined by straight lines in Oklab (Ottosson 2020, recalled, unverified matrices; their inverse pair is
    tested), then clipped into sRGB by lowering the chroma, never the lightness.
    """
    if count < 1:
        raise InputFault(Fault("ramp", f"{count} colours", "at least 1", "Give the layer at least one bin."))
    if name == "classes":
        return [_hex(*_CLASSES[i % len(_CLASSES)]) for i in range(count)]
    if name not in _RAMPS:
        due = ", ".join([*sorted(_RAMPS), "classes"])
        raise InputFault(Fault("ramp", f"{name!r} is not known", due, "Use one of these names."))
    anchors = np.array([_rectangular(*a) for a in _RAMPS[name]])
    at = np.linspace(0, len(anchors) - 1, count) if count > 1 else np.array([(len(anchors) - 1) * 0.6])
    places = np.arange(len(anchors))
    mixed = np.stack([np.interp(at, places, anchors[:, k]) for k in range(3)], axis=1)
    return [_hex(float(m[0]), math.hypot(m[1], m[2]), math.degrees(math.atan2(m[2], m[1]))) for m in mixed]


def class_count() -> int:
    """Return how many class colours differ before the list repeats."""
    return len(_CLASSES)


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue (0-255) of `#rrggbb`."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def lightness(colour: str) -> float:
    """Return the Oklab lightness (0 black, 1 white) of `#rrggbb`."""
    return float(_oklab(np.array(rgb(colour), dtype=float) / 255)[0])


def _rectangular(light: float, chroma: float, hue: float) -> tuple[float, float, float]:
    angle = math.radians(hue)
    return light, chroma * math.cos(angle), chroma * math.sin(angle)


# Oklab: Ottosson (2020), "A perceptual color space for image processing"; recalled, unverified.
_TO_LMS = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def _oklab(srgb: NDArray[np.float64]) -> NDArray[np.float64]:
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return np.asarray(_TO_LAB @ np.cbrt(_TO_LMS @ linear))


def _srgb(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    linear = np.linalg.solve(_TO_LMS, np.linalg.solve(_TO_LAB, lab) ** 3)
    safe = np.maximum(linear, 0.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * safe ** (1 / 2.4) - 0.055)


def _hex(light: float, chroma: float, hue: float) -> str:
    for _ in range(60):
        srgb = _srgb(np.array(_rectangular(light, chroma, hue)))
        if srgb.min() >= -1e-4 and srgb.max() <= 1 + 1e-4:
            break
        chroma *= 0.95
    red, green, blue = (int(v) for v in np.rint(np.clip(srgb, 0, 1) * 255))
    return f"#{red:02x}{green:02x}{blue:02x}"
