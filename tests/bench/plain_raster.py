"""The raster pass as a user writes it in numpy and scipy: whole arrays, discs by FFT. Frozen: the bench's baseline."""

import numpy as np
from scipy.signal import fftconvolve


def disc(radius, inner=0.0):
    """Cells at inner ≤ distance ≤ radius, as a kernel of ones."""
    k = int(radius)
    y, x = np.mgrid[-k : k + 1, -k : k + 1]
    far = np.hypot(x, y)
    return ((far <= radius) & (far >= inner)).astype(np.float64)


def terrain(depth, cell, inner, outer, ruggedness_radius):
    """Slope, aspect, ruggedness, position index of a depth array without gaps."""
    z = np.pad(depth.astype(np.float64), 1, mode="edge")
    nw, n, ne = z[:-2, :-2], z[:-2, 1:-1], z[:-2, 2:]
    w, e = z[1:-1, :-2], z[1:-1, 2:]
    sw, s, se = z[2:, :-2], z[2:, 1:-1], z[2:, 2:]
    east = ((ne + 2 * e + se) - (nw + 2 * w + sw)) / (8 * cell)
    south = ((sw + 2 * s + se) - (nw + 2 * n + ne)) / (8 * cell)
    slope = np.degrees(np.arctan(np.hypot(east, south)))
    aspect = np.degrees(np.arctan2(east, -south)) % 360.0
    up = 1.0 / np.sqrt(1.0 + east**2 + south**2)
    window = disc(ruggedness_radius / cell)
    total = [fftconvolve(part, window, mode="same") for part in (east * up, south * up, up)]
    rugged = 1.0 - np.sqrt(total[0] ** 2 + total[1] ** 2 + total[2] ** 2) / window.sum()
    ring = disc(outer / cell, inner / cell)
    position = fftconvolve(depth.astype(np.float64), ring, mode="same") / ring.sum() - depth
    return slope, aspect, rugged, position


def score(fields, knots, weights):
    """Weighted geometric mean and limiting criterion of fields through piecewise linear curves."""
    with np.errstate(divide="ignore"):
        logs = np.stack([w * np.log(np.interp(f, *k)) for f, k, w in zip(fields, knots, weights, strict=True)])
    total = np.exp(logs.sum(0) / sum(weights))
    limiting = logs.argmin(0).astype(np.uint8)
    limiting[logs.min(0) == 0.0] = 255
    return total.astype(np.float32), limiting
