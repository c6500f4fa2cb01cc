"""A tighter area than the whole dilated bottom: how far beyond the bottom cells of points must be counted.

A point's Voronoi cell cut to the radius ρ = d/√3 holds more than the hexagon A = (√3/2) d² where few neighbours can
stand, as at an edge of the bottom. Counted is a part W of the plane: the bottom dilated by less than ρ, and more only
around places where that does not leave every cut cell its A. Then N · A ≤ area of W. docs/methods-layout.md has the proof.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

START = 0.475  # dilation counted everywhere, in separations; a straight edge needs 0.449, coarsely measured more
FINENESS = 24.0  # fine cells per separation
LARGEST = 24.0  # cells per separation; beyond that the tables grow too large and nothing is gained here
_SECTORS = 128  # directions in which neighbours are looked for
_BLOCK = 4  # fine cells along the side of a block, looked at together first; even
_TILE = 384  # fine cells along a tile's side, about
_WORDS = _SECTORS // 64


def rim_areas(group: Ints, groups: int, d: float) -> Floats:
    """Return per group an area, in cells, whose share by (√3/2) d² no number of points exceeds.

    Parameters
    ----------
    group : ndarray of int64, shape (rows, columns)
        Group of each allowed cell, −1 elsewhere; groups are at least 2 d/√3 apart.
    groups : int
        Number of groups.
    d : float
        Separation in cells, > 0 and at most `LARGEST`.
    """
    padded, reach, fine, one_by_one, by_block = _prepared(group, d)
    tile = max(2, _TILE // fine)
    return np.asarray(_areas(padded, reach, groups, d, fine, tile, one_by_one, by_block))


def counted(group: Ints, d: float) -> tuple[NDArray[np.int32], int, int]:
    """Return what is counted as one raster of fine cells: their group, fine cells per cell, corner in cells (below 0).

    For small bottoms: nothing is cut into tiles.
    """
    padded, reach, fine, one_by_one, by_block = _prepared(group, d)
    halo, tile = _halo(d, fine), max(group.shape)
    held = np.empty(((tile + 2 * halo) * fine,) * 2, np.int32)
    missing = np.zeros((held.shape[0], held.shape[1] + 1), np.int32)
    _tile_area(padded, reach, 0, 0, tile, halo, d, fine, one_by_one, by_block, held, missing, np.zeros(group.max() + 1))
    return held, fine, -halo


def _prepared(group: Ints, d: float) -> tuple[NDArray[np.int32], int, int, NDArray[np.uint64], NDArray[np.uint64]]:
    fine = _BLOCK * max(1, math.ceil(FINENESS / d / _BLOCK))
    reach = math.ceil(2.0 / math.sqrt(3.0) * d + 1.0) + 1
    padded = np.pad(group, reach, constant_values=-1).astype(np.int32)
    return padded, reach, fine, _known_directions(d, fine, reach), _known_directions(d, fine // _BLOCK, reach)


@lru_cache(maxsize=16)
def _known_directions(d: float, fine: int, reach: int) -> NDArray[np.uint64]:
    """Return `_directions`, worked out once for all candidates."""
    found = np.asarray(_directions(d, fine, reach))
    found.flags.writeable = False
    return found


@compiled
def _halo(d: float, fine: int) -> int:
    """Return the cells around a tile that cut cells of its points may reach."""
    return int(math.ceil(d / math.sqrt(3.0) + 2.0 / fine)) + 1


@compiled
def _directions(d: float, fine: int, reach: int) -> NDArray[np.uint64]:
    """Return for each place of a point in its cell, and each cell around, the sectors in which a neighbour may stand.

    Shape (fine², (2 reach + 1)², words). A neighbour that cuts the cell stands d to 2 d/√3 away.
    """
    side = 2 * reach + 1
    out = np.zeros((fine * fine, side * side, _WORDS), np.uint64)
    loose = 0.7072 / fine  # the point is somewhere in its fine cell
    near, far = d - loose, 2.0 / math.sqrt(3.0) * d + loose
    parts = int(math.ceil(10.0 / d))
    half = 0.5 / parts
    more = math.asin(min(loose / max(near, 1e-9), 1.0)) + 1e-6
    for p in range(fine * fine):
        py, px = (p // fine + 0.5) / fine, (p % fine + 0.5) / fine
        for c in range(side * side):
            for q in range(parts * parts):
                y = c // side - reach + (q // parts + 0.5) / parts - py
                x = c % side - reach + (q % parts + 0.5) / parts - px
                ax, ay = abs(x), abs(y)
                nearest = math.hypot(max(ax - half, 0.0), max(ay - half, 0.0))
                if nearest > far or math.hypot(ax + half, ay + half) < near:
                    continue
                if nearest <= 0.0:
                    for w in range(_WORDS):
                        out[p, c, w] = ~np.uint64(0)
                    continue
                middle = math.atan2(y, x)
                spread = 0.0
                for corner in range(4):
                    cx, cy = x + (half if corner % 2 else -half), y + (half if corner > 1 else -half)
                    turn = math.atan2(cy * x - cx * y, cx * x + cy * y)
                    spread = max(spread, abs(turn))
                spread += more
                first = int(math.floor((middle - spread) / (2.0 * math.pi) * _SECTORS))
                last = int(math.floor((middle + spread) / (2.0 * math.pi) * _SECTORS))
                for k in range(first, min(last, first + _SECTORS - 1) + 1):
                    s = k % _SECTORS
                    out[p, c, s // 64] |= np.uint64(1) << np.uint64(s % 64)
    return out


@compiled
def _saved(mask: NDArray[np.uint64]) -> float:
    """Return how many of six segments cannot be cut off at once: of each empty arc what it has above 60°, over 60°."""
    any_set = False
    first = 0
    for s in range(_SECTORS):
        if (mask[s // 64] >> np.uint64(s % 64)) & np.uint64(1):
            any_set, first = True, s
            break
    if not any_set:
        return 6.0
    saved = 0.0
    empty = 0
    for k in range(1, _SECTORS + 1):
        s = (first + k) % _SECTORS
        if (mask[s // 64] >> np.uint64(s % 64)) & np.uint64(1):
            saved += max(6.0 * empty / _SECTORS - 1.0, 0.0)
            empty = 0
        else:
            empty += 1
    return saved


@compiled
def _areas(
    group: NDArray[np.int32],
    pad: int,
    groups: int,
    d: float,
    fine: int,
    tile: int,
    directions: NDArray[np.uint64],
    by_block: NDArray[np.uint64],
) -> Floats:
    rows, cols = group.shape[0] - 2 * pad, group.shape[1] - 2 * pad
    out = np.zeros(groups)
    halo = _halo(d, fine)
    size = (tile + 2 * halo) * fine
    held = np.empty((size, size), np.int32)
    missing = np.zeros((size, size + 1), np.int32)
    for top in range(-halo, rows + halo, tile):
        for left in range(-halo, cols + halo, tile):
            one = _all_alike(group, pad, top - halo, left - halo, tile + 2 * halo)
            if one == -2:
                _tile_area(group, pad, top, left, tile, halo, d, fine, directions, by_block, held, missing, out)
            elif one >= 0:
                out[one] += tile * tile
    return out


@compiled
def _all_alike(group: NDArray[np.int32], pad: int, top: int, left: int, side: int) -> int:
    """Return the group of all cells of a window, −1 if none is allowed, −2 if they differ."""
    one = -2
    for i in range(top + pad, top + side + pad):
        for j in range(left + pad, left + side + pad):
            inside = 0 <= i < group.shape[0] and 0 <= j < group.shape[1]
            g = int(group[i, j]) if inside else -1
            if one == -2:
                one = g
            elif g != one:
                return -2
    return one


@compiled
def _tile_area(
    group: NDArray[np.int32],
    pad: int,
    top: int,
    left: int,
    tile: int,
    halo: int,
    d: float,
    fine: int,
    directions: NDArray[np.uint64],
    by_block: NDArray[np.uint64],
    held: NDArray[np.int32],
    missing: NDArray[np.int32],
    out: Floats,
) -> None:
    """Add to `out` per group the area that is counted because of the points in one tile; `held` marks it.

    What two tiles count twice only raises the bound.
    """
    radius = d / math.sqrt(3.0)
    cell = 1.0 / (fine * fine)
    angle = math.pi / 6.0
    segment = radius * radius * (angle - math.sin(angle) * math.cos(angle)) * (1.0 - 1e-6)
    deep = int(math.ceil((1.0 / math.sqrt(3.0) - START) * d + 3.0 / fine))  # farther from any edge nothing is missing
    span = int(math.ceil(radius * fine + 0.5 * _BLOCK)) + 2
    width, block_width = _widths(radius * fine, 1, span), _widths(radius * fine, _BLOCK, span)
    mask = np.zeros(_WORDS, np.uint64)
    blocks = fine // _BLOCK
    _dilate(group, pad, top - halo, left - halo, fine, START * d, held)
    for i in range(halo * fine, (halo + tile) * fine):
        for j in range(halo * fine, (halo + tile) * fine):
            if held[i, j] >= 0:
                out[held[i, j]] += cell
    for i in range(held.shape[0]):
        _count_missing(held, missing, i)
    for i in range(max(top, 0), min(top + tile, group.shape[0] - 2 * pad)):
        for j in range(max(left, 0), min(left + tile, group.shape[1] - 2 * pad)):
            own = group[i + pad, j + pad]
            if own < 0 or _deep(group, i + pad, j + pad, deep):
                continue
            for q in range(blocks * blocks):
                at_i = (i - top + halo) * fine + q // blocks * _BLOCK
                at_j = (j - left + halo) * fine + q % blocks * _BLOCK
                short = _short(missing, at_i + _BLOCK // 2, float(at_j + _BLOCK // 2), block_width, span) * cell
                if short <= 0.0:
                    continue
                _look(group, i + pad, j + pad, pad, by_block, q, mask)
                if short <= segment * _saved(mask):
                    continue
                for b in range(_BLOCK * _BLOCK):
                    pi, pj = at_i + b // _BLOCK, at_j + b % _BLOCK
                    short = _short(missing, pi, pj + 0.5, width, span) * cell
                    if short <= 0.0:
                        continue
                    _look(group, i + pad, j + pad, pad, directions, (pi % fine) * fine + pj % fine, mask)
                    short -= segment * _saved(mask)
                    if short > 0.0:
                        new = _raise(
                            held, missing, pi, pj, own, width, span, START * d * fine, radius * fine, short / cell
                        )
                        out[own] += cell * new


@compiled
def _deep(group: NDArray[np.int32], i: int, j: int, deep: int) -> bool:
    for a in range(i - deep, i + deep + 1):
        for b in range(j - deep, j + deep + 1):
            if a < 0 or b < 0 or a >= group.shape[0] or b >= group.shape[1] or group[a, b] < 0:
                return False
    return True


@compiled
def _dilate(
    group: NDArray[np.int32], pad: int, top: int, left: int, fine: int, radius: float, held: NDArray[np.int32]
) -> None:
    """Mark the fine cells of a window that come within the radius of a cell with that cell's group, −1 elsewhere."""
    size = held.shape[0]
    held[:] = -1
    reach = int(math.ceil(radius)) + 1
    cells = size // fine
    for i in range(size):
        south, north = top + i / fine, top + (i + 1) / fine
        here = min(max(top + i // fine + pad, 0), group.shape[0] - 1)
        for a in range(int(math.floor(south)) - reach, int(math.floor(south)) + reach + 1):
            if a + pad < 0 or a + pad >= group.shape[0]:
                continue
            gap = max(a - north, south - (a + 1.0), 0.0)
            if gap >= radius:
                continue
            w = math.sqrt(radius * radius - gap * gap)
            for b in range(left - reach, left + cells + reach):
                if b + pad < 0 or b + pad >= group.shape[1]:
                    continue
                g = group[a + pad, b + pad]
                if g < 0:
                    continue
                before = b + pad > 0 and group[a + pad, b + pad - 1] == g
                after = b + pad + 1 < group.shape[1] and group[a + pad, b + pad + 1] == g
                if before and after and gap > 0.0 and group[here, b + pad] == g:
                    continue  # held already, by its own row
                first = (b - left) * fine if before else int(math.floor((b - w - left) * fine))
                last = (b + 1 - left) * fine if after else int(math.ceil((b + 1.0 + w - left) * fine))
                for j in range(max(first, 0), min(last, size)):
                    held[i, j] = g


@compiled
def _count_missing(held: NDArray[np.int32], missing: NDArray[np.int32], i: int) -> None:
    for j in range(held.shape[1]):
        missing[i, j + 1] = missing[i, j] + (1 if held[i, j] < 0 else 0)


@compiled
def _widths(radius: float, side: int, span: int) -> Floats:
    """Return how far along each row of fine cells a disc reaches whose middle lies anywhere in a square of fine cells.

    Rows and distances count from the middle of the square: of its middle cell, or of its middle line if it has none.
    All in fine cells; −1 beyond.
    """
    out = np.full(2 * span + 1, -1.0)
    for k in range(-span, span + 1):
        away = abs(k) - 0.5 if side % 2 else max(k, -k - 1)
        gap = max(away - 0.5 * side, 0.0)
        if gap < radius:
            out[k + span] = math.sqrt(radius * radius - gap * gap) + 0.5 * side
    return out


@compiled
def _short(missing: NDArray[np.int32], i: int, middle: float, width: Floats, span: int) -> float:
    """Return the fine cells that are not held in what the disc may reach."""
    total = 0.0
    for k in range(-span, span + 1):
        w = width[k + span]
        if w >= 0.0:
            total += _between(missing, i + k, middle - w, middle + w)
    return total


@compiled
def _look(
    group: NDArray[np.int32], i: int, j: int, pad: int, directions: NDArray[np.uint64], p: int, mask: NDArray[np.uint64]
) -> None:
    """Set in `mask` the sectors in which a neighbour may stand."""
    mask[:] = np.uint64(0)
    c = -1
    for a in range(i - pad, i + pad + 1):
        for b in range(j - pad, j + pad + 1):
            c += 1
            if 0 <= a < group.shape[0] and 0 <= b < group.shape[1] and group[a, b] >= 0:
                for w in range(_WORDS):
                    mask[w] |= directions[p, c, w]


@compiled
def _between(missing: NDArray[np.int32], i: int, a: float, b: float) -> float:
    """Return the length of a row of fine cells from a to b that is not held, in fine cells."""
    p, q = int(math.floor(a)), int(math.floor(b))
    total = float(missing[i, q] - missing[i, p])
    before, after = float(missing[i, p + 1] - missing[i, p]), float(missing[i, q + 1] - missing[i, q])
    return total - (a - p) * before + (b - q) * after


@compiled
def _raise(
    held: NDArray[np.int32],
    missing: NDArray[np.int32],
    at_i: int,
    at_j: int,
    own: int,
    width: Floats,
    span: int,
    least: float,
    most: float,
    wanted: float,
) -> int:
    """Hold the smallest disc about a point that adds so many missing fine cells to its cut cell; return how many are new."""
    r = least
    while True:
        r += 0.5
        if r >= most:
            break
        gained = 0.0
        for k in range(-span, span + 1):
            if abs(k) < r and width[k + span] >= 0.0:
                w = math.floor(math.sqrt(r * r - k * k))
                gained += _between(missing, at_i + k, float(at_j - w), float(at_j + w + 1))
        if gained >= wanted:
            break
    new = 0
    for k in range(-span, span + 1):
        if width[k + span] < 0.0:
            continue
        if r < most:
            if abs(k) >= r:
                continue
            w = int(math.floor(math.sqrt(r * r - k * k)))
            first, last = at_j - w, at_j + w + 1
        else:
            first = int(math.floor(at_j + 0.5 - width[k + span]))
            last = int(math.ceil(at_j + 0.5 + width[k + span]))
        changed = False
        for j in range(first, last):
            if held[at_i + k, j] < 0:
                held[at_i + k, j] = own
                new += 1
                changed = True
        if changed:
            _count_missing(held, missing, at_i + k)
    return new
