"""Circular plots: a pin in the middle and a radius line turned around it.

The same promises as for rectangles: allowed share, robust share, gap, as many as fit or the wanted number of the best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.layout.keep_off import Standing, clear_centres
from sitekit.layout.plots import ARRAY_GAP_M, LEAST_ALLOWED_SHARE, PIN_ERROR_M, Plots
from sitekit.layout.robustness import disc_half_widths, robust_share
from sitekit.layout.shelves import Bottom

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SCANS_DEG = tuple(range(0, 180, 15))  # directions in which as many as fit are laid, each against the last


def find_circles(
    bottom: Bottom,
    *,
    radius_m: float,
    gap_m: float = ARRAY_GAP_M,
    wanted: int | None = None,
    least_allowed_share: float = LEAST_ALLOWED_SHARE,
    pin_error_m: float = PIN_ERROR_M,
    prefer_robust: bool = True,
    least_robust_share: float = 0.0,
    standing: Sequence[Standing] = (),
) -> Plots:
    """Return circular plots: as many as fit, or the wanted number of the best.

    Parameters
    ----------
    bottom : Bottom
        Allowed bottom and score.
    radius_m, gap_m : float
        Radius, and least distance between the rims of two plots [m].
    wanted : int, optional
        Number of plots; None: as many as fit.
    least_allowed_share, pin_error_m, prefer_robust, least_robust_share, standing
        As for `plots.PlotSearch`.

    Returns
    -------
    Plots
        With `circle` true; may be empty. Centres stand on a grid of at most one cell.

    Raises
    ------
    InputFault
        If the radius is not positive or a share is out of range.

    Notes
    -----
    As many as fit: centres are tried in the order of scan lines in twelve directions, each laid against those before
    it, and by quality; the largest set is taken, among equal ones that of the best quality.
    """
    with Faults() as faults:
        if not (math.isfinite(radius_m) and radius_m > 0):
            faults.add("plots.radius_m", f"{radius_m} m", "above 0 m", "Set the radius.")
        for name, value in (("gap_m", gap_m), ("pin_error_m", pin_error_m)):
            if not (math.isfinite(value) and value >= 0):
                faults.add(f"plots.{name}", f"{value} m", "0 m or more", "Correct it.")
        if not 0 < least_allowed_share <= 1:
            faults.add("plots.least_allowed_share", f"{least_allowed_share}", "above 0 to 1", "Give a share.")
    step = bottom.cell_m / max(1, math.ceil(bottom.cell_m / max(radius_m / 4.0, 1e-9)))
    step = max(step, bottom.cell_m / 8.0)
    finer = round(bottom.cell_m / step)
    allowed = np.repeat(np.repeat(bottom.allowed, finer, axis=0), finer, axis=1)
    score = np.repeat(np.repeat(np.nan_to_num(bottom.score), finer, axis=0), finer, axis=1)
    rim = disc_half_widths(radius_m, step_along_m=step, step_across_m=step)
    share, mean = _disc_means(allowed, score.astype(np.float32), rim)
    good = share >= least_allowed_share - 1e-9
    robust = robust_share(good, disc_half_widths(pin_error_m, step_along_m=step, step_across_m=step))
    rows, columns = np.nonzero(good & (robust >= least_robust_share))
    x: Floats = bottom.west_m + (columns.astype(np.float64) + 0.5) * step
    y: Floats = bottom.north_m - (rows.astype(np.float64) + 0.5) * step
    clear = clear_centres(x, y, standing, radius_m=radius_m)
    rows, columns, x, y = rows[clear], columns[clear], x[clear], y[clear]
    steady = robust[rows, columns].astype(np.float64)
    quality = mean[rows, columns] * (steady if prefer_robust else 1.0)
    apart = 2 * radius_m + gap_m
    by_quality = np.lexsort((columns, rows, -quality))
    most = rows.size if wanted is None else max(0, wanted)
    chosen = _pick_discs(x, y, by_quality, most, apart)
    if wanted is None or len(chosen) < wanted:
        for bearing in _SCANS_DEG:
            s, c = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
            trial = _pick_discs(x, y, np.lexsort((x * s + y * c, np.round((x * c - y * s) / step))), rows.size, apart)
            if (len(trial), quality[trial].sum()) > (len(chosen), quality[chosen].sum()):
                chosen = trial
    chosen = chosen[np.lexsort((x[chosen], -y[chosen], -quality[chosen]))][: None if wanted is None else most]
    area = float(bottom.allowed.sum()) * bottom.cell_m**2
    return Plots(
        centre_x_m=x[chosen],
        centre_y_m=y[chosen],
        bearing_grid_deg=np.zeros(len(chosen)),
        length_m=2 * radius_m,
        width_m=2 * radius_m,
        circle=True,
        allowed_share=share[rows, columns][chosen].astype(np.float64),
        robust_share=steady[chosen],
        score=mean[rows, columns][chosen].astype(np.float64),
        bound=math.floor(area / (least_allowed_share * math.pi * radius_m**2) + 1e-9),
    )


@compiled
def _disc_means(
    allowed: NDArray[np.bool_], score: NDArray[np.float32], half_widths: Ints
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Share of allowed samples in the disc around each sample, and their mean score."""
    rows, columns = allowed.shape
    reach = half_widths.size // 2
    count = np.zeros((rows, columns + 1), np.int32)
    total = np.zeros((rows, columns + 1), np.float64)
    for i in range(rows):
        for j in range(columns):
            on = allowed[i, j]
            count[i, j + 1] = count[i, j] + (1 if on else 0)
            total[i, j + 1] = total[i, j] + (score[i, j] if on else 0.0)
    samples = 0
    for k in range(half_widths.size):
        samples += 2 * half_widths[k] + 1
    share = np.zeros((rows, columns), np.float32)
    mean = np.zeros((rows, columns), np.float32)
    for i in range(rows):
        for j in range(columns):
            n, t = 0, 0.0
            for k in range(half_widths.size):
                row = i + k - reach
                if 0 <= row < rows:
                    lo, hi = max(0, j - half_widths[k]), min(columns, j + half_widths[k] + 1)
                    n += count[row, hi] - count[row, lo]
                    t += total[row, hi] - total[row, lo]
            if n > 0:
                share[i, j], mean[i, j] = n / samples, max(0.0, t / n)
    return share, mean


@compiled
def _pick_discs(x: Floats, y: Floats, order: Ints, most: int, apart: float) -> Ints:
    """Take each centre, in the order given, that is at least `apart` from all taken before."""
    chosen = np.empty(min(most, order.size), np.int64)
    found = 0
    if order.size == 0:
        return chosen
    west, south = x.min(), y.min()
    columns, rows = int((x.max() - west) / apart) + 3, int((y.max() - south) / apart) + 3
    head = np.full(rows * columns, -1, np.int64)
    after = np.full(order.size, -1, np.int64)
    for k in order:
        if found >= most:
            break
        row, column = int((y[k] - south) / apart) + 1, int((x[k] - west) / apart) + 1
        fits = True
        for i in range(row - 1, row + 2):
            for j in range(column - 1, column + 2):
                m = head[i * columns + j]
                while m >= 0 and fits:
                    fits = (x[m] - x[k]) ** 2 + (y[m] - y[k]) ** 2 >= apart * apart * (1.0 - 1e-12)
                    m = after[m]
        if fits:
            chosen[found] = k
            after[k] = head[row * columns + column]
            head[row * columns + column] = k
            found += 1
    return chosen[:found]
