"""Bench of the fetch: digital lines against a compiled march from every cell, and against exact rays.

The march and the exact rays run on a random sample of water cells; the march's time is scaled to all of them (its cells
do not depend on each other, so the scaling is fair).
"""

import time

import numpy as np

from sitekit.seabed.fetch import directions, fetch
from tests.seabed.exact_rays import archipelago, exact_fetch, marched_fetch


def main(short=False):
    side, sample = (500, 4000) if short else (2000, 20000)
    land = archipelago(side, seed=7)
    bearings = directions(16)
    cell = 10.0
    fetch(land[:64, :64], cell, bearings)  # compile
    took = []
    for _ in range(3):
        start = time.perf_counter()
        length, is_open = fetch(land, cell, bearings)
        took.append(time.perf_counter() - start)
    lines_s = min(took)

    water = np.argwhere(~land)
    pick = water[np.random.default_rng(1).choice(len(water), sample, replace=False)]
    rows, cols = np.ascontiguousarray(pick[:, 0]), np.ascontiguousarray(pick[:, 1])
    marched_fetch(land, cell, 0.0, rows[:2], cols[:2])
    start = time.perf_counter()
    for b in bearings:
        marched_fetch(land, cell, b, rows, cols)
    march_s = (time.perf_counter() - start) * len(water) / sample

    exact, mine, wrong_end = [], [], 0
    for k, b in enumerate(bearings):
        e, e_open = exact_fetch(land, cell, b, rows, cols)
        exact.append(e)
        mine.append(length[k, rows, cols])
        wrong_end += int((e_open != is_open[k, rows, cols]).sum())
    exact, mine = np.array(exact), np.array(mine)
    mean_error = float(np.mean(np.abs(mine.mean(0) - exact.mean(0)) / exact.mean(0)))
    ray_error = float(np.sum(np.abs(mine - exact)) / exact.sum())
    result = {
        "cells": f"{side}² × 16 directions",
        "lines_s": round(lines_s, 3),
        "march_s": round(march_s, 1),
        "times_faster": round(march_s / lines_s, 1),
        "mean_over_directions_error_percent": round(100 * mean_error, 2),
        "single_ray_error_percent": round(100 * ray_error, 2),
        "open_or_land_disagrees_percent": round(100 * wrong_end / exact.size, 2),
        "reached": bool((short or march_s / lines_s >= 100) and mean_error <= 0.015),
    }
    for key, value in result.items():
        print(f"{key:38} {value}")
    return result


if __name__ == "__main__":
    main()
