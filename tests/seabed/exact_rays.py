"""Exact rays through a raster, the witness for the fetch of digital lines: every cell boundary is crossed one by one.

Written for the tests and the bench; shares no code with `sitekit.seabed.fetch`.
"""

import math

import numpy as np

from sitekit.base.compiled import compiled


@compiled
def _exact(land, rows, cols, east, north):
    """Length in cells from each start centre to the first boundary of land; negative = left the raster."""
    height, width = land.shape
    out = np.empty(rows.size)
    step_c = 1 if east > 0 else -1
    step_r = -1 if north > 0 else 1
    dx = 1.0 / abs(east) if abs(east) > 1e-9 else np.inf
    dy = 1.0 / abs(north) if abs(north) > 1e-9 else np.inf
    for k in range(rows.size):
        r, c = rows[k], cols[k]
        tx, ty = 0.5 * dx, 0.5 * dy
        while True:
            if abs(tx - ty) < 1e-9:  # through a corner: stopped only if both cells beside it are land
                t = tx
                c2, r2 = c + step_c, r + step_r
                inside = 0 <= c2 < width and 0 <= r2 < height
                if inside and land[r, c2] and land[r2, c]:
                    out[k] = t
                    break
                c, r = c2, r2
                tx += dx
                ty += dy
            elif tx < ty:
                t = tx
                c += step_c
                tx += dx
            else:
                t = ty
                r += step_r
                ty += dy
            if c < 0 or c >= width or r < 0 or r >= height:
                out[k] = -t
                break
            if land[r, c]:
                out[k] = t
                break
    return out


def exact_fetch(land, cell_m, bearing_deg, rows, cols):
    """Return fetch [m] and open flag of chosen cells by exact rays."""
    angle = math.radians(bearing_deg)
    run = _exact(np.ascontiguousarray(land, dtype=np.bool_), rows, cols, math.sin(angle), math.cos(angle)) * cell_m
    return np.abs(run), run < 0


@compiled
def _march(land, rows, cols, east, north, stride):
    height, width = land.shape
    out = np.empty(rows.size)
    for k in range(rows.size):
        t = 0.0
        while True:
            t += stride
            r = math.floor(rows[k] + 0.5 - north * t)
            c = math.floor(cols[k] + 0.5 + east * t)
            if r < 0 or r >= height or c < 0 or c >= width:
                out[k] = -t
                break
            if land[r, c]:
                out[k] = t
                break
    return out


def marched_fetch(land, cell_m, bearing_deg, rows, cols, *, stride=0.5):
    """Return fetch [m], signed as above, by marching from each cell in half-cell strides (compiled): the plain way."""
    angle = math.radians(bearing_deg)
    return _march(land, rows, cols, math.sin(angle), math.cos(angle), stride) * cell_m


def archipelago(side, seed, share=0.12, scale=40.0):
    """Return a made-up land mask: smooth noise above its quantile, islands of many sizes."""
    rng = np.random.default_rng(seed)
    freq = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    noise = rng.standard_normal((side, side))
    spectrum = np.fft.rfft2(noise) / (freq + 1.0 / (scale * 4)) ** 2
    smooth = np.fft.irfft2(spectrum * np.exp(-((freq * 6) ** 2)), s=(side, side))
    return smooth > np.quantile(smooth, 1 - share)
