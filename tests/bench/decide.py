"""Bench of deciding: draws of weights counted per cell, against one pass per draw and against blocked BLAS."""

import math
import time

import numpy as np
from scipy.ndimage import zoom

from sitekit.layers.blocks import in_order
from sitekit.suitability.draws import draw_weights
from sitekit.suitability.stability import count_best, thresholds
from tests.bench import decide_choose
from tests.bench._machine import best_of

THREADS = 2
STRIP = 256  # rows per piece of work
WEIGHTS = [0.25, 0.20, 0.15, 0.10, 0.10, 0.08, 0.07, 0.05]
BEST_PCT = 10.0
NEAR = 1e-6  # draws within this of their threshold may be counted either way
REACH = {False: (25.0, 10.0), True: (4.0, 2.0)}  # one pass per draw, blocked BLAS; small scenes leave less to save


def place(side, criteria, seed=6):
    """Logarithms of responses on a made-up bottom: shapes of 400, 40 and 8 cells and a survey's noise."""
    rng = np.random.default_rng(seed)
    stack = np.empty((criteria, side, side), np.float32)
    for k in range(criteria):
        field = 0.02 * rng.normal(size=(side, side))
        for step, height in ((max(side // 8, 8), 1.0), (40, 0.4), (8, 0.1)):
            coarse = rng.normal(size=(side // step + 4, side // step + 4))
            field += height * zoom(coarse, step, order=1)[:side, :side]
        stack[k] = np.log2(np.clip((field + 2.0) / 4.0, 1e-3, 1.0))
    return stack


def counted(stack, weights, least):
    """Counts by the product, strips of rows in a pool."""
    out = np.empty(stack.shape[1:], np.int32)

    def work(row):
        part = np.ascontiguousarray(stack[:, row : row + STRIP])
        out[row : row + STRIP] = count_best(part, weights, least, fast=True)

    for _ in in_order(work, iter(range(0, stack.shape[1], STRIP)), THREADS):
        pass
    return out


def pass_per_draw(stack, weights, least):
    """Counts as a user writes it: for each draw a weighted sum of all layers, and those above the threshold."""
    cells = stack.reshape(len(stack), -1)
    out = np.zeros(cells.shape[1], np.int32)
    for w, t in zip(weights, least, strict=True):
        out += (w @ cells) >= t
    return out.reshape(stack.shape[1:])


def blocked_blas(stack, weights, least, block=4096):
    """Counts by matrix products over blocks of cells that stay in the cache."""
    cells = stack.reshape(len(stack), -1)
    out = np.empty(cells.shape[1], np.int32)
    for first in range(0, cells.shape[1], block):
        sums = weights @ cells[:, first : first + block]
        out[first : first + block] = (sums >= least[:, np.newaxis]).sum(axis=0, dtype=np.int32)
    return out.reshape(stack.shape[1:])


def weight_draws(side, draws, reach):
    """Ratios of time, and whether counts are equal but for draws within `NEAR` of their threshold."""
    stack = place(side, len(WEIGHTS))
    weights = draw_weights(WEIGHTS, draws, concentration=30.0, seed=1).astype(np.float32)
    least = thresholds(np.ascontiguousarray(stack.reshape(len(stack), -1)[:, ::97]), weights, BEST_PCT)
    begin = time.perf_counter()
    counted(stack[:, :STRIP, :STRIP], weights, least)
    print(f"compiling: {time.perf_counter() - begin:.1f} s (kept on disk)")
    seconds = {}
    counts = {}
    for name, function in (("counter", counted), ("pass per draw", pass_per_draw), ("blocked BLAS", blocked_blas)):
        seconds[name], counts[name] = best_of(lambda f=function: f(stack, weights, least), 2)
    equal = True
    for name in ("pass per draw", "blocked BLAS"):
        differs = np.nonzero(counts["counter"] != counts[name])
        sums = weights.astype(np.float64) @ stack[:, differs[0], differs[1]].astype(np.float64)
        near = (np.abs(sums - least[:, np.newaxis].astype(np.float64)) <= NEAR).sum(axis=0)
        gap = np.abs(counts["counter"][differs] - counts[name][differs])
        equal &= bool((gap <= near).all())
        print(f"{name}: {differs[0].size} of {stack[0].size} cells differ, all by draws within {NEAR:g}: {equal}")
    ratios = [seconds[n] / seconds["counter"] for n in ("pass per draw", "blocked BLAS")]
    print(
        f"{draws} draws × {stack[0].size:.3g} cells × {len(stack)} criteria: {seconds['counter']:.2f} s;"
        f" one pass per draw {seconds['pass per draw']:.1f} s, {ratios[0]:.1f} times (reach {reach[0]:g});"
        f" blocked BLAS {seconds['blocked BLAS']:.1f} s, {ratios[1]:.1f} times (reach {reach[1]:g})"
    )
    mixed = stack.reshape(len(stack), -1)[:, np.random.default_rng(2).permutation(stack[0].size)]
    begin = time.perf_counter()
    counted(mixed.reshape(stack.shape), weights, least)
    print(f"the same cells in random order, where no tile can be decided at once: {time.perf_counter() - begin:.2f} s")
    return ratios, equal


def main(short=False):
    """Measure, print and return."""
    reach = REACH[short]
    side, draws = (640, 256) if short else (math.isqrt(10_000_000), 1000)
    ratios, equal = weight_draws(side, draws, reach)
    chosen = decide_choose.main(short)
    reached = equal and ratios[0] >= reach[0] and ratios[1] >= reach[1] and chosen["reached"]
    return {"reached": reached, "choose": chosen, "pass_per_draw": ratios[0], "blocked_blas": ratios[1], "equal": equal}
