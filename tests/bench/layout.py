"""Layout bench: as many points as fit, beside what two scripts find and beside the proven bound.

The plain script takes cell centres by score and asks a KD-tree for what each keeps away; the good script scans the middles
of eighth-cells in row order, compiled. Every layout is checked by a tree of its own. Scenes are made from fixed seeds.
Ratios are due at d = 1.2 m on the largest scene; elsewhere due is: never fewer points than either script.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.stats import qmc

from sitekit.base.compiled import compiled
from sitekit.layout.bound import bound
from sitekit.layout.buckets import add_point, is_free, new_buckets
from sitekit.layout.genets import assign_genets
from sitekit.layout.slots import array_pattern
from sitekit.layout.spacing import place
from tests.bench import layout_audit, layout_mixed, layout_plots

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

CELL = 0.5
SIDES_M = (100, 200, 400)
SEPARATIONS_M = (1.0, 1.2, 3.0)
PATCH_CELLS = 12.0  # blur of the fragmented scene
DUE_PLAIN = {"open": 1.6, "fragmented": 1.6, "strips": 1.6, "patches": 1.6, "salt": 1.6}
DUE_GOOD = {"open": 1.05, "fragmented": 1.05, "strips": 1.03}
DUE_BOUND = {"open": 0.985, "fragmented": 0.92}


def scenes(side_m: int) -> dict[str, tuple[Flags, NDArray[np.float32]]]:
    """Return allowed cells and score by texture, cells of 0.5 m."""
    n = round(side_m / CELL)
    draw = np.random.default_rng(11)
    middle = (np.arange(n) + 0.5) * CELL
    field = ndimage.gaussian_filter(draw.standard_normal((n, n)), PATCH_CELLS)
    score = ndimage.gaussian_filter(draw.standard_normal((n, n)), 10.0)
    score = ((score - score.min()) / (score.max() - score.min())).astype(np.float32)
    in_patch = middle % 6.0 < 3.0
    allowed = {
        "open": np.ones((n, n), bool),
        "fragmented": field > 0,
        "patches": in_patch[:, None] & in_patch[None, :],
        "strips": np.broadcast_to(middle % 6.1 < 2.2, (n, n)).copy(),
        "salt": draw.random((n, n)) < 0.6,
    }
    return {name: (cells, score) for name, cells in allowed.items()}


def plain_script(allowed: Flags, score: NDArray[np.float32], d: float) -> Floats:
    """Return cell centres taken by score with a KD-tree, from the south-west corner [m]."""
    row, col = np.nonzero(allowed)
    points = (np.column_stack([col, row]) + 0.5) * CELL
    tree = cKDTree(points)
    free = np.ones(len(points), bool)
    chosen = []
    for k in np.argsort(-score[row, col], kind="stable"):
        if free[k]:
            chosen.append(k)
            free[tree.query_ball_point(points[k], d * (1 - 1e-9))] = False
    return np.asarray(points[chosen], np.float64)


@compiled
def _scan(allowed: Flags, cell: float, d: float, buckets: NDArray[np.int32], x: Floats, y: Floats) -> int:
    count = 0
    rows, cols = allowed.shape
    for i in range(8 * rows):
        for j in range(8 * cols):
            if allowed[i // 8, j // 8]:
                px, py = (j + 0.5) * cell / 8.0, (i + 0.5) * cell / 8.0
                if is_free(buckets, x, y, px, py, d):
                    x[count], y[count] = px, py
                    add_point(buckets, x, y, count, d)
                    count += 1
    return count


def good_script(allowed: Flags, score: NDArray[np.float32], d: float) -> Floats:
    """Return the middles of eighth-cells taken in row order; the score does not matter."""
    room = int(4 * allowed.size * CELL**2 / d**2) + 4 * sum(allowed.shape) + 64
    x, y = np.empty(room), np.empty(room)
    d *= 1 - 1e-9
    buckets = new_buckets(allowed.shape[1] * CELL, allowed.shape[0] * CELL, d)
    count = _scan(allowed, CELL, d, buckets, x, y)
    return np.column_stack([x[:count], y[:count]])


def ours(allowed: Flags, score: NDArray[np.float32], d: float) -> Floats:
    """Return our points, rows counted from the south as the scripts do."""
    found = place(allowed[::-1], score[::-1], west_m=0.0, north_m=allowed.shape[0] * CELL, cell_m=CELL, separation_m=d)
    return np.column_stack([found.easting, found.northing])


def check(points: Floats, allowed: Flags, d: float) -> None:
    """Stop if a pair is too close or a point is off the allowed cells."""
    if len(points) > 1:
        least = cKDTree(points).query(points, k=2)[0][:, 1].min()
        assert least >= d * (1 - 2e-9), f"a pair stands {least} m apart at d = {d} m"
    at = np.floor(points / CELL).astype(int)
    assert allowed[at[:, 1], at[:, 0]].all(), "a point stands off the allowed bottom"


def timed(find: Callable[..., Floats], allowed: Flags, score: NDArray[np.float32], d: float) -> tuple[Floats, float]:
    """Return checked points and seconds."""
    begun = time.perf_counter()
    points = find(allowed, score, d)
    took = time.perf_counter() - begun
    check(points, allowed, d)
    return points, took


def spacing_rows(sides: tuple[int, ...]) -> bool:
    """Print one line per side, separation and texture; return whether all that is due was reached."""
    small, even = np.ones((8, 8), bool), np.ones((8, 8), np.float32)
    for find in (plain_script, good_script, ours):
        find(small, even, 1.0)  # compiles
    bound(small, even, cell_m=CELL, separation_m=1.0)
    bound(np.eye(8, dtype=bool)[:, ::3], even[:, ::3], cell_m=CELL, separation_m=1.0)
    print(
        f"scenes of {CELL} m cells, seed 11: fragmented = white noise blurred by {PATCH_CELLS * CELL:g} m (standard deviation), "
        "half of it reef; patches of 3 m, 3 m apart; strips of 2.2 m, 3.9 m apart; salt = 60 % of cells by chance"
    )
    print(
        "side_m d_m texture      plain    good    ours   bound ours/plain ours/good ours/bound s_plain s_good s_ours s_bound"
    )
    reached = True
    for side in sides:
        for d in SEPARATIONS_M:
            for name, (allowed, score) in scenes(side).items():
                (plain, t_plain), (good, t_good), (best, t_best) = (
                    timed(find, allowed, score, d) for find in (plain_script, good_script, ours)
                )
                begun = time.perf_counter()
                most = bound(allowed, np.ones(allowed.shape, np.float32), cell_m=CELL, separation_m=d).count
                t_bound = time.perf_counter() - begun
                n = len(best)
                missed = n < len(plain) or n < len(good) or n > most
                if d == 1.2 and side == SIDES_M[-1]:
                    missed |= n < DUE_PLAIN[name] * len(plain) or n < DUE_GOOD.get(name, 1.0) * len(good)
                    missed |= n < DUE_BOUND.get(name, 0.0) * most
                reached &= not missed
                print(
                    f"{side:6d} {d:3.1f} {name:11s}{len(plain):7d} {len(good):7d} {n:7d} {most:7d} {n / len(plain):10.3f} "
                    f"{n / len(good):9.3f} {n / most:10.3f} {t_plain:7.2f} {t_good:6.2f} {t_best:6.2f} {t_bound:7.2f}"
                    + (" MISSED" if missed else ""),
                    flush=True,
                )
    return reached


def random_row(side_m: float, d: float = 1.2) -> None:
    """Print what random placement by scipy fills of an open square, beside ours."""
    begun = time.perf_counter()
    count = len(qmc.PoissonDisk(2, radius=d / side_m, rng=np.random.default_rng(1)).fill_space())
    took = time.perf_counter() - begun
    allowed = np.ones((round(side_m / CELL),) * 2, bool)
    n = len(ours(allowed, np.ones(allowed.shape, np.float32), d))
    most = bound(allowed, np.ones(allowed.shape, np.float32), cell_m=CELL, separation_m=d).count
    print(
        f"random discs, open {side_m:g} m, d = {d} m: {count} ({count / most:.2f} of the bound, {took:.1f} s); ours {n}"
    )


def large_row() -> bool:
    """Print time and share for about 8·10⁵ points with their bound; due is 7 s."""
    allowed = np.ones((2000, 2000), bool)
    even = np.ones(allowed.shape, np.float32)
    begun = time.perf_counter()
    points = ours(allowed, even, 1.2)
    most = bound(allowed, even, cell_m=CELL, separation_m=1.2).count
    took = time.perf_counter() - begun
    check(points, allowed, 1.2)
    print(f"large: {len(points)} points, {len(points) / most:.3f} of the bound, {took:.1f} s (due 7 s)")
    return took <= 7.0


def draw_picture(path: Path, side_m: float = 40.0, d: float = 1.2) -> None:
    """Draw the plain script (left) beside ours (right) on one window of fragmented reef."""
    n, scale = round(side_m / CELL), 14.0
    whole, scores = scenes(100)["fragmented"]
    allowed, score = whole[:n, :n], scores[:n, :n]
    edge = round(side_m * scale)
    image = Image.new("RGB", (2 * edge + 20, edge + 24), "white")
    pen = ImageDraw.Draw(image)
    for at, (name, find) in enumerate({"plain script": plain_script, "this layout": ours}.items()):
        left = at * (edge + 20)
        ground = Image.fromarray(np.where(allowed[..., None], (214, 226, 214), (245, 245, 245)).astype(np.uint8))
        image.paste(ground.resize((edge, edge), Image.Resampling.NEAREST), (left, 24))
        points = find(allowed, score, d)
        check(points, allowed, d)
        for x, y in points * scale:
            r = 0.5 * d * scale
            pen.ellipse((left + x - r, 24 + y - r, left + x + r, 24 + y + r), outline=(120, 120, 120))
            pen.ellipse((left + x - 2, 24 + y - 2, left + x + 2, 24 + y + 2), fill="black")
        pen.text((left + 4, 6), f"{name}: {len(points)} points at {d} m, discs of d/2", fill="black")
    image.save(path)


def draw_plot(path: Path, scale: float = 46.0) -> None:
    """Draw the default array along its tape: alongs, offsets, genets by letter and shape."""
    pattern = array_pattern(10, 5, along_spacing_m=2.0, offset_spacing_m=1.0)
    counts = [5] * 10
    plan = assign_genets(pattern.along_m, pattern.offset_m, counts, separation_m=1.2)
    left, top = 70, 90
    width, height = round(18 * scale) + 2 * left, round(4 * scale) + 2 * top
    image = Image.new("RGB", (width, height), "white")
    pen = ImageDraw.Draw(image)
    middle = top + 2 * scale
    pen.text(
        (left, 12),
        "default array, 18 x 4 m: 10 genets x 5 units, tape down the middle; letters are genets",
        fill="black",
    )
    pen.rectangle((left, top, left + 18 * scale, top + 4 * scale), outline=(150, 150, 150))
    pen.line((left, middle, left + 18 * scale, middle), fill="black", width=3)
    for pin, x in (("A", left), ("B", left + 18 * scale)):
        pen.rectangle((x - 6, middle - 6, x + 6, middle + 6), fill="black")
        pen.text((x - 40 if pin == "A" else x + 30, middle - 6), f"pin {pin}", fill="black")
    for metre in range(19):
        x = left + metre * scale
        pen.line((x, middle - 5, x, middle + 5), fill="black")
        if metre % 2 == 0:
            pen.text((x - 8, top + 4 * scale + 30), f"{metre} m", fill="black")
    for offset in range(-2, 3):
        side = "L" if offset < 0 else "R" if offset > 0 else " "
        pen.text(
            (18, middle + offset * scale - 6 - (10 if offset == 0 else 0)), f"{side} {abs(offset)}.0", fill="black"
        )
    for along, offset, kind in zip(pattern.along_m, pattern.offset_m, plan.kind, strict=True):
        x, y, r = left + along * scale, middle + offset * scale, 11
        corners = (0, 3, 4, 5, 6)[kind % 5]
        if corners == 0:
            pen.ellipse((x - r, y - r, x + r, y + r), fill="white", outline="black", width=2)
        else:
            pen.regular_polygon((x, y, r + 3), corners, fill="white", outline="black")
        pen.text((x - 3, y - 5), "ABCDEFGHIJ"[kind], fill="black")
    image.save(path)


def main(short: bool = False, picture: Path | None = None) -> dict[str, bool]:
    """Print all rows; `picture` names a PNG to draw; a plot is drawn beside it."""
    reached = spacing_rows(SIDES_M[:1] if short else SIDES_M)
    random_row(20.0 if short else 60.0)
    reached &= layout_plots.main(short)["reached"]
    reached &= layout_mixed.main(short)["reached"]
    reached &= layout_audit.main(short)["reached"]
    if not short:
        reached &= large_row()
    if picture is not None:
        draw_picture(picture)
        draw_plot(picture.with_stem(f"{picture.stem}_plot"))
    return {"reached": bool(reached)}
