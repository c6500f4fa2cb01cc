"""The sea floor of a made-up reef: elevation, bottom classes, gaps in the survey, and polygons of bottom class.

Nothing here is measured: shapes are drawn by hand, texture is filtered noise from one seed.

Local coordinates: x east and y north in metres from the south-west corner; u along the reef crest (to the south-east)
and v seaward of it (to the east-north-east).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter, label

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 600, 400  # cells of 1 m
CENTRE, SEAWARD_DEG = (238.0, 196.0), 60.0

CLASSES = ("sand", "reef crest", "spur", "reef pavement", "patch reef", "rubble", "seagrass", "algal plain")
SAND, CREST, SPUR, PAVEMENT, PATCH, RUBBLE, SEAGRASS, ALGAL = range(8)
HARD = (CREST, SPUR, PAVEMENT, PATCH)
INKS = (  # red, green, blue of the classes, dry
    (226, 214, 180), (170, 140, 96), (128, 104, 78), (150, 132, 104),
    (112, 92, 70), (182, 166, 134), (74, 104, 62), (120, 128, 84),
)  # fmt: skip

# depth [m] against distance seaward of the crest [m]: lagoon, back reef, crest, spurs, terrace, slope, plain
PROFILE_V = (-340, -250, -190, -130, -80, -45, -20, -8, 8, 20, 50, 90, 125, 160, 200, 235, 270, 310, 350, 420)
PROFILE_M = (3.4, 4.9, 6.1, 5.2, 3.8, 2.2, 1.0, 0.6, 0.6, 1.1, 2.5, 4.6, 6.8, 8.2, 9.8, 12, 15.5, 19.5, 22.6, 24.6)

# patch reefs: x, y, radius, depth of the top [m]; the first rows stand in the lagoon, the others on the terrace
PATCHES = (
    (118, 168, 17, 1.6), (62, 120, 13, 2.1), (150, 108, 20, 1.3), (205, 62, 15, 1.5), (122, 40, 11, 2.4),
    (40, 42, 12, 2.0), (176, 170, 12, 1.4), (262, 40, 16, 1.7), (30, 185, 10, 2.2), (88, 70, 7, 3.2),
    (140, 352, 13, 1.5), (70, 362, 11, 2.3), (160, 226, 10, 1.2), (228, 108, 10, 1.4),
    (415, 322, 13, 8.4), (352, 372, 12, 8.2), (505, 300, 12, 14.0), (455, 205, 13, 8.6), (560, 55, 14, 11.6),
    (505, 110, 12, 9.2), (440, 370, 10, 13.2), (548, 190, 11, 14.6),
)  # fmt: skip


def _smooth(value: Floats, low: float, high: float) -> Floats:
    """Rise from 0 at `low` to 1 at `high` with level ends."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _noise(rng: np.random.Generator, sizes_m: Sequence[float]) -> Floats:
    """Noise of mean 0 and deviation 1, blobs of the given sizes, each half as strong as the one before."""
    total = np.zeros((HEIGHT, WIDTH))
    for k, size in enumerate(sizes_m):
        wide = gaussian_filter(rng.standard_normal((HEIGHT, WIDTH)), size, mode="wrap")
        total += wide / wide.std() * 0.5**k
    return (total - total.mean()) / total.std()


def reef(rng: np.random.Generator) -> tuple[Floats, NDArray[np.uint8], NDArray[np.bool_]]:
    """Elevation [m, negative below chart datum], bottom class, cells without a sounding; row 0 in the north."""
    x = np.arange(WIDTH)[None, :] + 0.5 + np.zeros((HEIGHT, 1))
    y = HEIGHT - 0.5 - np.arange(HEIGHT)[:, None] + np.zeros((1, WIDTH))
    sin, cos = np.sin(np.radians(SEAWARD_DEG)), np.cos(np.radians(SEAWARD_DEG))
    u = (x - CENTRE[0]) * cos - (y - CENTRE[1]) * sin
    v = (x - CENTRE[0]) * sin + (y - CENTRE[1]) * cos
    broad, middle, fine, grain = (_noise(rng, s) for s in ((45, 20), (17, 8, 4), (6, 3, 1.5), (1.2, 0.7)))
    v = v + 17 * np.sin(u / 74 + 0.4) + 6 * np.sin(u / 27) + 5 * middle
    depth = PchipInterpolator(PROFILE_V, PROFILE_M)(np.clip(v, PROFILE_V[0], PROFILE_V[-1]))
    depth = depth + 0.35 * broad * _smooth(np.abs(v), 15, 90) + 0.15 * middle * _smooth(np.abs(v), 10, 60)

    # spurs and grooves: a square-shouldered wave along the crest, bent by noise, fading in and out seaward
    wave = np.cos(2 * np.pi * (u + 4.5 * broad + 2.5 * middle + 0.06 * v) / 26.0) + 0.25 * fine
    groove = _smooth(wave, 0.25, 0.75)
    spur_end = 122 + 9 * middle + 6 * broad
    spur_zone = (v > 14 + 2 * fine) & (v < spur_end)
    relief = 2.6 * _smooth(v, 8, 60) * (1 - 0.9 * _smooth(v, 95, 140))
    depth = depth + np.where(v < 175, groove * relief - 0.35 * relief * (1 - groove), 0.0)
    belt = (v >= spur_end) & (v < spur_end + 13 + 3 * fine)
    depth = depth + 0.5 * belt

    # terrace: pavement broken by sand corridors that lie lower
    hard_terrace = (
        (v >= spur_end + 13 + 3 * fine) & (v < 262 + 12 * middle) & (middle + 0.55 * broad + 0.3 * fine > -0.62)
    )
    corridor = _smooth(-(middle + 0.55 * broad), 0.5, 1.2) * _smooth(v, 140, 165)
    depth = depth + 0.7 * corridor

    # the channel through the reef
    off = np.abs(u - 92 - 15 * np.sin(v / 48) - 4 * middle)
    floor = np.interp(v, (-170, -90, -30, 10, 60, 130, 220), (0, 4.6, 5.6, 6.6, 8.0, 9.3, 10.6))
    in_channel = (1 - _smooth(off, 11, 24)) * _smooth(v, -165, -110) * (1 - _smooth(v, 130, 215))
    depth = depth + np.maximum(floor - depth, 0) * in_channel

    kind = np.full(depth.shape, SAND, np.uint8)
    kind[(v > 255 + 22 * broad) & (fine + 0.8 * middle > -0.5)] = ALGAL
    kind[hard_terrace] = PAVEMENT
    kind[spur_zone & (groove < 0.5)] = SPUR
    kind[spur_zone & (groove >= 0.5) & ((v < 34 + 8 * fine) | (middle > 1.1))] = RUBBLE
    kind[(v > -13 + 3 * fine) & (v <= 14 + 2 * fine)] = CREST
    kind[(v > -52 + 10 * middle + 6 * fine) & (v <= -13 + 3 * fine)] = RUBBLE
    kind[(v < -62 + 12 * middle) & (broad + 0.5 * middle + 0.25 * fine > 0.42) & (depth < 5.6)] = SEAGRASS
    kind[(in_channel > 0.35) & (v < 150)] = SAND
    kind[(in_channel > 0.12) & (in_channel <= 0.35) & (np.abs(v) < 90) & (fine > -0.3)] = RUBBLE

    for px, py, radius, top in PATCHES:
        away = np.hypot(x - px, (y - py) * 1.15) / radius + 0.13 * middle + 0.09 * fine
        halo = (away < 1.45) & ~np.isin(kind, HARD)
        kind[halo] = SAND
        mound = 1 - _smooth(away, 0.45, 1.12)
        depth = depth - np.maximum(depth - top - 0.25 * (1 + fine), 0) * mound
        kind[away < 1.0] = PATCH

    away = (
        np.hypot((x - 78) / 37, (y - 262) / 25)
        + 0.17 * middle
        + 0.05 * fine
        + 0.12 * np.sin(3 * np.arctan2(y - 262, x - 78))
    )
    islet = 1 - _smooth(away, 0.45, 1.75)
    depth = depth + (-3.1 - depth) * islet
    kind[(away < 1.75) & (kind == SEAGRASS) & (depth < 1.2)] = SAND

    hard = np.isin(kind, HARD)
    soft = gaussian_filter(hard.astype(float), 1.0)
    depth = gaussian_filter(depth, 0.8) + (0.13 * grain + 0.12 * fine) * soft + 0.02 * grain * (1 - soft)
    depth = np.where((away > 1.3) & (depth < 0.5), 0.5 + 0.1 * (depth - 0.5), depth)
    depth = np.minimum(depth, 25.0)

    surf = (np.abs(v) < 11) & (middle + 0.4 * fine > 1.15)
    strips = (v > 238) & (np.mod(u + 6 * broad, 118) < 4.5 + 1.5 * fine)
    corner = x - 1.3 * y + 6 * fine > 585
    return -depth, kind, surf | strips | corner


def seen_from_above(elevation: Floats, kind: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return red, green and blue of a picture from above: bottoms lit from the west, veiled by water. Colours by eye."""
    bottom = np.array(INKS, float)[kind].transpose(2, 0, 1) * np.clip(
        1 + 0.25 * np.gradient(elevation, axis=1), 0.7, 1.3
    )
    clear = np.exp(-np.maximum(-elevation, 0) * np.array((0.28, 0.06, 0.045))[:, None, None])
    water = np.array((22.0, 92.0, 120.0))[:, None, None]
    return np.clip(np.rint(bottom * clear + water * (1 - clear)), 0, 255).astype(np.uint8)


def substrate_polygons(kind: NDArray[np.uint8], mapped: NDArray[np.bool_]) -> list[tuple[str, shapely.Polygon]]:
    """Polygons of equal class that share their edges exactly.

    Classes are thinned to 2 m, specks under 4 cells join a neighbour, and the corners of the cell outlines are drawn
    together. A corner moves by a rule that looks at the raster around that corner only, so that the two polygons that
    meet there move alike.
    """
    coarse = kind[1::2, 1::2].astype(np.int16)
    coarse[~mapped[1::2, 1::2]] = -1
    for _ in range(3):
        coarse = _join_specks(coarse, 4)
    moved, kept = _drawn_corners(coarse)
    found = []
    for geometry, value in shapes(coarse.astype(np.int16), connectivity=4):
        if int(value) < 0:
            continue
        rings = [_redraw(ring, moved, kept) for ring in geometry["coordinates"]]
        found.append((CLASSES[int(value)], shapely.Polygon(rings[0], [r for r in rings[1:] if r is not None])))
    return found


def _join_specks(kind: NDArray[np.int16], least: int) -> NDArray[np.int16]:
    """Give patches of fewer than `least` cells the class that is most frequent beside them."""
    out = kind.copy()
    rows, cols = kind.shape
    for value in np.unique(kind):
        parts, count = label(kind == value)
        sizes = np.bincount(parts.ravel(), minlength=count + 1)
        small = np.isin(parts, np.flatnonzero(sizes < least)) & (parts > 0)
        for r, c in np.argwhere(small):
            beside = kind[max(r - 1, 0) : r + 2, max(c - 1, 0) : c + 2].ravel()
            beside = beside[(beside != value)]
            if beside.size and rows and cols:
                out[r, c] = np.bincount(beside + 1).argmax() - 1
    return out


def _drawn_corners(kind: NDArray[np.int16]) -> tuple[Floats, NDArray[np.bool_]]:
    """New place (column, row) of each cell corner, and whether the corner is kept."""
    padded = np.pad(kind, 1, constant_values=-2)
    across = padded[:-1, :] != padded[1:, :]  # a horizontal edge lies between the two cells
    along = padded[:, :-1] != padded[:, 1:]
    right, left = across[:, 1:], across[:, :-1]
    below, above = along[1:, :], along[:-1, :]
    degree = right.astype(int) + left + below + above
    rows, cols = degree.shape
    place = np.stack(np.meshgrid(np.arange(cols, dtype=float), np.arange(rows, dtype=float)), axis=-1)
    free = degree == 2
    free[[0, -1], :] = free[:, [0, -1]] = False
    for _ in range(3):
        total = np.zeros_like(place)
        wide = np.pad(place, ((1, 1), (1, 1), (0, 0)))
        for edge, part in (
            (right, wide[1:-1, 2:]),
            (left, wide[1:-1, :-2]),
            (below, wide[2:, 1:-1]),
            (above, wide[:-2, 1:-1]),
        ):
            total += part * edge[..., None]
        place = np.where(free[..., None], 0.4 * place + 0.3 * total, place)
    odd = np.add.outer(np.arange(rows), np.arange(cols)) % 2 == 1
    return place, ~(free & odd)


def _redraw(ring: Sequence[tuple[float, float]], place: Floats, kept: NDArray[np.bool_]) -> Floats:
    """A ring in local metres with the moved corners; straight cell edges are first cut into single steps."""
    corners = []
    for (c0, r0), (c1, r1) in pairwise(ring):
        steps = int(abs(c1 - c0) + abs(r1 - r0))
        for k in range(steps):
            corner = (int(r0 + (r1 - r0) * k / steps), int(c0 + (c1 - c0) * k / steps))
            corners.append(corner)
    points = np.array([place[r, c] for r, c in corners if kept[r, c]])
    points = np.vstack([points, points[:1]])
    return np.column_stack([points[:, 0] * 2.0, HEIGHT - points[:, 1] * 2.0])
