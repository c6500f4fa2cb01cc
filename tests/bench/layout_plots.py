"""Plots against picking by score, and genets against random order: the rows of the reach table.

`plots_row` and `genets_row` return figures; the layout bench prints them. Both baselines are what a user would write in
an hour, with the same bearings, gap and shares.
"""

from __future__ import annotations

import time

import numpy as np
from scipy import ndimage

from sitekit.layout.genets import assign_genets
from sitekit.layout.neighbours import like_pairs
from sitekit.layout.placing import Placer
from sitekit.layout.plots import BEARINGS_DEG, PlotSearch
from sitekit.layout.shelves import Bottom, rectangle_field

LENGTH_M, WIDTH_M, GAP_M, SHARE = 18.0, 4.0, 2.0, 0.9
SEEDS = (2, 1, 12)  # of thirteen tried, 1 and 12 are the reefs with the least gain
DUE_GAIN_PCT = 40.0  # over picking by a score that changes from cell to cell, 300 × 300 m


def fragmented(side: int, *, rough: bool, patch_m: float = 30.0, share: float = 0.45, seed: int = 2) -> Bottom:
    """Return a fragmented reef of 1 m cells; the score varies over 10 m, or from cell to cell as ruggedness does."""
    draw = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(draw.standard_normal((side, side)), patch_m / 2)
    field += 0.5 * ndimage.gaussian_filter(draw.standard_normal((side, side)), patch_m / 6)
    score = ndimage.gaussian_filter(draw.standard_normal((side, side)), 10.0)
    score = 0.3 + 0.7 * (score - score.min()) / (score.max() - score.min())
    if rough:
        score = draw.random((side, side))
    return Bottom(field > np.quantile(field, 1 - share), score.astype(np.float32), 0.0, float(side), 1.0)


def greedy_plots(bottom: Bottom) -> int:
    """Return the number of plots found by taking the best-scored rectangle of any bearing that still fits."""
    fields = [
        rectangle_field(
            bottom,
            bearing_grid_deg=b,
            length_m=LENGTH_M,
            width_m=WIDTH_M,
            least_allowed_share=SHARE,
            pin_error_m=0.0,
            prefer_robust=False,
            least_robust_share=0.0,
        )
        for b in BEARINGS_DEG
    ]
    placer = Placer(fields, length_m=LENGTH_M, width_m=WIDTH_M, gap_m=GAP_M)
    ordered = placer.candidates()
    return len(placer.pick(ordered, most=len(ordered)))


def plots_row(side: int = 300, *, rough: bool, seed: int = 2) -> dict[str, float]:
    """Return counts, gain in percent and seconds on one fragmented reef."""
    bottom = fragmented(side, rough=rough, seed=seed)
    greedy = greedy_plots(bottom)
    begun = time.perf_counter()
    ours = PlotSearch(
        bottom,
        length_m=LENGTH_M,
        width_m=WIDTH_M,
        gap_m=GAP_M,
        least_allowed_share=SHARE,
        pin_error_m=0.0,
        prefer_robust=False,
    ).find()
    seconds = time.perf_counter() - begun
    return {
        "greedy": greedy,
        "ours": len(ours),
        "gain_pct": 100.0 * (len(ours) / greedy - 1.0),
        "bound": ours.bound,
        "seconds": seconds,
    }


def robust_row(side: int = 300, wanted: int = 6) -> dict[str, float]:
    """Return the mean robust share of the wanted plots before and after preferring robust ones."""
    bottom = fragmented(side, rough=False)
    plain = PlotSearch(bottom, gap_m=20.0, prefer_robust=False).find(wanted)
    ours = PlotSearch(bottom, gap_m=20.0).find(wanted)
    return {
        "before": float(plain.robust_share.mean()),
        "after": float(ours.robust_share.mean()),
        "score_before": float(plain.score.mean()),
        "score_after": float(ours.score.mean()),
    }


def genets_row(units: int = 100_000, genets: int = 10, separation_m: float = 1.2) -> dict[str, float]:
    """Return like neighbours in percent, ours and at random, on a triangular lattice, and seconds."""
    columns = int(np.sqrt(units * 0.866)) + 1
    i, j = np.meshgrid(np.arange(columns), np.arange(units // columns + 1))
    x = ((i + 0.5 * (j % 2)) * separation_m).ravel()[:units]
    y = (j * separation_m * np.sqrt(0.75)).ravel()[:units]
    counts = np.full(genets, units // genets)
    counts[: units - int(counts.sum())] += 1
    assign_genets(x[:200], y[:200], np.bincount(np.arange(200) % genets), separation_m=separation_m)  # compiles
    begun = time.perf_counter()
    plan = assign_genets(x, y, counts, separation_m=separation_m)
    seconds = time.perf_counter() - begun
    shuffled = np.random.default_rng(0).permutation(np.repeat(np.arange(genets), counts))
    same, pairs = like_pairs(x, y, shuffled, within_m=1.3 * separation_m)
    return {
        "like_pct": 100.0 * plan.like_neighbours / plan.neighbours,
        "random_pct": 100.0 * same / pairs,
        "seconds": seconds,
    }


def main(short: bool = False) -> dict[str, bool]:
    """Print the rows: `python -m tests.bench layout_plots [--short]`."""
    side = 100 if short else 300
    reached = True
    for seed in SEEDS[:1] if short else SEEDS:
        for name, rough in {"rough": True, "smooth": False}.items():
            row = plots_row(side, rough=rough, seed=seed)
            due = DUE_GAIN_PCT if rough and not short else 0.0
            reached &= row["gain_pct"] >= due
            print(f"plots, {name} score, seed {seed} (due +{due:g} %)", {k: round(v, 2) for k, v in row.items()})
    print("robust", {k: round(v, 3) for k, v in robust_row(side, wanted=2 if short else 6).items()})
    genets = genets_row(20_000 if short else 100_000)
    print("genets", {k: round(v, 4) for k, v in genets.items()})
    reached &= genets["like_pct"] < 0.02 and (short or genets["seconds"] < 1.0)
    return {"reached": bool(reached)}
