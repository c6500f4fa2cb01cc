"""How well a plot bears the main error: pins set a few metres from where they were planned.

A *copy* is the same plot, same bearing, with its centre displaced by at most the pin error. The robust share is the
part of all copies, evenly spread over that disc, that still stand on allowed bottom.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled

Floats = NDArray[np.float64]


def disc_half_widths(radius_m: float, *, step_along_m: float, step_across_m: float) -> NDArray[np.int64]:
    """Return, for each row of samples across a disc, how many samples it reaches to either side.

    Parameters
    ----------
    radius_m : float
        ≥ 0 [m].
    step_along_m, step_across_m : float
        Sample spacing [m], > 0.

    Returns
    -------
    ndarray of int64, shape (2k + 1,)
        Row by row, the middle one first to last; [0] for radius 0.
    """
    rows = int(np.floor(radius_m / step_across_m + 1e-9))
    across = np.arange(-rows, rows + 1) * step_across_m
    half = np.sqrt(np.maximum(radius_m**2 - across**2, 0.0)) / step_along_m
    return np.asarray(np.floor(half + 1e-9), np.int64)


@compiled
def robust_share(good: NDArray[np.bool_], half_widths: NDArray[np.int64]) -> NDArray[np.float32]:
    """Return the share of displaced copies that are good, for each good position.

    Parameters
    ----------
    good : ndarray of bool, shape (rows, columns)
        Whether a plot at this position stands on allowed bottom; positions outside are not good.
    half_widths : ndarray of int64
        From `disc_half_widths`.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        0-1; 0 where the position itself is not good.
    """
    rows, columns = good.shape
    reach = half_widths.size // 2
    copies = 0
    for k in range(half_widths.size):
        copies += 2 * half_widths[k] + 1
    running = np.zeros((rows, columns + 1), np.int32)
    for i in range(rows):
        for j in range(columns):
            running[i, j + 1] = running[i, j] + (1 if good[i, j] else 0)
    share = np.zeros((rows, columns), np.float32)
    for i in range(rows):
        for j in range(columns):
            if not good[i, j]:
                continue
            total = 0
            for k in range(half_widths.size):
                row = i + k - reach
                if 0 <= row < rows:
                    lo = max(0, j - half_widths[k])
                    hi = min(columns, j + half_widths[k] + 1)
                    total += running[row, hi] - running[row, lo]
            share[i, j] = total / copies
    return share
