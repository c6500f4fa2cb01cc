"""Several species together beside one at a time, and what laying neighbourhoods anew gains: rows of the layout bench."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from sitekit.layout.mixed import Mixed, place_mixed
from sitekit.layout.spacing import place

Flags = NDArray[np.bool_]

CELL = 0.5
# what two species keep: one larger, shunning each other, close neighbours, all alike [m]
PAIRS = {
    "1.5 and 1.0 m, 1.5 m between": [[1.5, 1.5], [1.5, 1.0]],
    "1.2 m each, 2.0 m between": [[1.2, 2.0], [2.0, 1.2]],
    "1.5 and 1.0 m, 0.7 m between": [[1.5, 0.7], [0.7, 1.0]],
    "1.2 m each and between": [[1.2, 1.2], [1.2, 1.2]],
}
SHARES = (0.3, 0.6)  # of what the bottom holds of each species alone, wanted of both


def mixed_rows(allowed: Flags, seed: int = 5) -> bool:
    """Print units and summed score of both ways on one bottom; return whether together is never worse."""
    draw = np.random.default_rng(seed)
    score = np.stack([ndimage.gaussian_filter(draw.standard_normal(allowed.shape), 10.0) for _ in range(2)])
    low, high = score.min(axis=(1, 2), keepdims=True), score.max(axis=(1, 2), keepdims=True)
    score = ((score - low) / (high - low)).astype(np.float32)
    both = np.stack([allowed, allowed])
    north = allowed.shape[0] * CELL
    reached = True
    print(f"two species on {north:g} m of fragmented reef, each with its own score; units and summed score")
    for name, table in PAIRS.items():
        distances = np.array(table)
        for share in SHARES:
            wanted = [int(share * allowed.sum() * CELL**2 / (0.866 * d * d)) for d in np.diag(distances)]
            begun = time.perf_counter()
            found = place_mixed(
                both, score, west_m=0.0, north_m=north, cell_m=CELL, separations_m=distances, wanted=list(wanted)
            )
            took = time.perf_counter() - begun
            _check(found, distances, both)
            units, value = _one_at_a_time(both, score, distances, wanted)
            n, worth = found.kind.size, float(found.score.sum())
            reached &= n > units or (n == units and worth >= value - 1e-6)
            print(
                f"  {name}, {sum(wanted)} wanted: one at a time {units} of {value:.1f}, together {n} of {worth:.1f} "
                f"({n / units:.3f}, {worth / value:.3f}), {found.method}, {took:.1f} s"
            )
    return reached


def _one_at_a_time(
    allowed: Flags, score: NDArray[np.float32], distances: NDArray[np.float64], wanted: list[int]
) -> tuple[int, float]:
    north = allowed.shape[1] * CELL
    points, kinds, value = np.zeros((0, 2)), np.zeros(0, np.int64), 0.0
    for s, number in enumerate(wanted):
        found = place(
            allowed[s],
            score[s],
            west_m=0.0,
            north_m=north,
            cell_m=CELL,
            separation_m=float(distances[s, s]),
            wanted=number,
            clear_points=points,
            clear_radii_m=distances[s][kinds],
        )
        points = np.concatenate([points, np.column_stack([found.easting, found.northing])])
        kinds = np.concatenate([kinds, np.full(found.easting.size, s)])
        value += float(found.score.sum())
    return len(points), value


def _check(found: Mixed, distances: NDArray[np.float64], allowed: Flags) -> None:
    points = np.column_stack([found.easting, found.northing])
    pairs = cKDTree(points).query_pairs(float(distances.max()), output_type="ndarray")
    away = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T)
    due = distances[found.kind[pairs[:, 0]], found.kind[pairs[:, 1]]]
    assert (away >= due * (1 - 2e-9)).all(), "a pair of species stands too close"
    row = np.floor((allowed.shape[1] * CELL - points[:, 1]) / CELL).astype(int)
    assert allowed[found.kind, row, np.floor(points[:, 0] / CELL).astype(int)].all(), "a unit is off its bottom"


def renewal_rows(scenes: dict[str, tuple[Flags, NDArray[np.float32]]], d: float, steps: int) -> bool:
    """Print per texture what steps of renewal gain per 1,000; return whether none ever loses."""
    reached = True
    for name, (allowed, score) in scenes.items():
        counts, seconds = [], []
        for effort in (0, steps):
            begun = time.perf_counter()
            found = place(
                allowed,
                score,
                west_m=0.0,
                north_m=allowed.shape[0] * CELL,
                cell_m=CELL,
                separation_m=d,
                effort=effort,
            )
            seconds.append(time.perf_counter() - begun)
            counts.append(found.easting.size)
        gain = counts[1] - counts[0]
        reached &= gain >= 0
        print(
            f"effort {steps}, {name}, d = {d} m: {counts[0]} -> {counts[1]}, {1000 * gain / steps:.2f} per 1,000 steps, "
            f"{1e6 * (seconds[1] - seconds[0]) / steps:.0f} µs a step"
        )
    return reached


def main(short: bool = False) -> dict[str, bool]:
    """Print the rows: `python -m tests.bench layout_mixed [--short]`."""
    from tests.bench.layout import scenes

    side = 40 if short else 100
    even = np.ones((8, 8), np.float32)
    place(even > 0, even, west_m=0.0, north_m=4.0, cell_m=CELL, separation_m=1.0, effort=1)  # compiles
    reached = mixed_rows(scenes(side)["fragmented"][0])
    reached &= renewal_rows(scenes(40 if short else 200), 1.2, 2_000 if short else 50_000)
    return {"reached": bool(reached)}
