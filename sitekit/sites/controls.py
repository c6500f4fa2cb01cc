"""Areas that stay unplanted: controls matched to a site in score and depth, references around living colonies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import uniform_filter

from sitekit.errors import Fault, InputFault

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MatchedArea:
    """An area found.

    Parameters
    ----------
    row, col, rows, cols : int
        Window of the grid that holds it.
    cells : ndarray of bool, shape (rows, cols)
        Its cells.
    score, depth_m : float
        Means over its cells.
    count : int
        Living colonies in it.
    """

    row: int
    col: int
    rows: int
    cols: int
    cells: Flags
    score: float
    depth_m: float
    count: int


def matched_area(
    score: ArrayLike,
    depth_m: ArrayLike,
    free: ArrayLike,
    *,
    score_wanted: float,
    depth_wanted_m: float,
    score_tolerance: float,
    depth_tolerance_m: float,
    side_cells: int,
    least_share: float,
    colonies: ArrayLike | None = None,
) -> MatchedArea | None:
    """Return the square window that matches a site best, None where none does.

    Parameters
    ----------
    score, depth_m : array_like, shape (rows, columns)
        Suitability 0–1 and depth [m]; NaN where unknown or ruled out.
    free : array_like of bool, shape (rows, columns)
        Cells that may be used: at the set distance from every chosen site, not taken by another area.
    score_wanted, depth_wanted_m : float
        Means of the site.
    score_tolerance, depth_tolerance_m : float
        Most by which a cell may differ from them.
    side_cells : int
        Side of the window in cells, ≥ 1, wide enough for a plot.
    least_share : float
        Least share of the window's cells that match, above 0 to 1.
    colonies : array_like of int, optional
        Living colonies per cell: with it the window with most of them wins (a reference); without it the one whose
        mean score and depth lie nearest to the site's (a control).

    Returns
    -------
    MatchedArea or None

    Notes
    -----
    Mismatch of a window = ((mean score − wanted)/tolerance)² + ((mean depth − wanted)/tolerance)² over its matching
    cells. Ties: the northern one, then the western one.
    """
    values, depths = np.asarray(score, np.float64), np.asarray(depth_m, np.float64)
    if side_cells < 1 or not 0 < least_share <= 1:
        raise InputFault(Fault("side_cells, least_share", f"{side_cells}, {least_share}", "≥ 1, 0–1", "Correct them."))
    if min(values.shape) < side_cells:
        return None
    match = np.asarray(free, bool) & np.isfinite(values) & np.isfinite(depths)
    with np.errstate(invalid="ignore"):
        match &= (np.abs(values - score_wanted) <= score_tolerance) & (
            np.abs(depths - depth_wanted_m) <= depth_tolerance_m
        )
    share = _window_mean(match.astype(np.float64), side_cells)
    good = share >= least_share - 1e-9
    if not good.any():
        return None
    cells = np.maximum(share, 1e-12)
    mean_score = _window_mean(np.where(match, values, 0.0), side_cells) / cells
    mean_depth = _window_mean(np.where(match, depths, 0.0), side_cells) / cells
    miss = ((mean_score - score_wanted) / score_tolerance) ** 2
    miss += ((mean_depth - depth_wanted_m) / depth_tolerance_m) ** 2
    order = np.round(miss, 9)
    if colonies is not None:
        living = np.round(_window_mean(np.asarray(colonies, np.float64), side_cells) * side_cells**2)
        if not (living[good] > 0).any():
            return None
        order = order - 1e6 * living
    row, col = (int(v) for v in np.unravel_index(np.argmin(np.where(good, order, np.inf)), order.shape))
    part = (slice(row, row + side_cells), slice(col, col + side_cells))
    own = match[part]
    count = 0 if colonies is None else int(np.asarray(colonies)[part].sum())
    return MatchedArea(
        row, col, side_cells, side_cells, own, float(values[part][own].mean()), float(depths[part][own].mean()), count
    )


def _window_mean(values: Floats, side: int) -> Floats:
    """Return the mean of every whole window, at the place of its north-western cell."""
    rows, cols = values.shape
    means = uniform_filter(values, side, mode="constant", origin=-(side // 2) if side % 2 else -(side // 2 - 1) - 1)
    return np.asarray(means[: rows - side + 1, : cols - side + 1])
