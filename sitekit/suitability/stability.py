"""How often a cell is among the best: draws of weights counted, tile by tile.

Small works are counted with numpy, large ones by a compiled kernel; both add the same numbers in the same order, so
their counts are equal. The kernel saves most sums: per square of 32 × 32 cells, then per tile of 8 × 8, the least and
greatest term of each criterion bound every weighted sum, and a draw whose bound lies on one side of its threshold needs
no more.
Rounding never turns ≤ into >, so a bound in float32 bounds the sum in float32 too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.suitability.terms import sums_by_draws

Singles = NDArray[np.float32]
Counts = NDArray[np.int32]

SQUARE = 32  # cells on a side: draws that a square decides as a whole need no look at its tiles
TILE = 8  # cells on a side; 4 and 16 took longer
FOUR = 4  # terms added at a time
COMPILE_FROM = 400_000_000  # sums; below, numpy is done before the kernel would be compiled
_CHUNK = 1 << 18  # sums at a time in numpy: they stay in the processor's cache


def thresholds(sample: Singles, weights: Singles, best_pct: float) -> Singles:
    """Sum of terms that a cell needs under each draw to be among the best.

    Parameters
    ----------
    sample : array of float32, shape (terms, cells)
        Terms of all cells, or of an even sample of them; NaN = unknown.
    weights : array of float32, shape (draws, terms)
        Weights of terms.
    best_pct : float
        Cells that count as the best [%], 0–100 exclusive.

    Returns
    -------
    array of float32, shape (draws,)
        The value of the cell that stands last among the best.

    Raises
    ------
    InputFault
        If there is no cell or the share is out of range.
    """
    with Faults() as faults:
        if sample.ndim != 2 or sample.shape[1] == 0:
            faults.add("sensitivity", "no cell", "cells that are not excluded", "Look at reasons_<species>.tif.")
        if not 0 < best_pct < 100:
            faults.add("sensitivity.best_pct", f"{best_pct}", "0 to 100, exclusive", "Correct it.")
    cells = sample.shape[1]
    place = cells - min(max(round(cells * best_pct / 100.0), 1), cells)
    found = np.empty(len(weights), np.float32)
    for draws, sums in sums_by_draws(sample, weights):
        sums[np.isnan(sums)] = -np.inf
        found[draws] = np.partition(sums, place, axis=1)[:, place]
    return found


def count_best(values: Singles, weights: Singles, least: Singles, *, fast: bool | None = None) -> Counts:
    """Count the draws under which a cell is among the best.

    Parameters
    ----------
    values : array of float32, shape (terms, rows, columns)
        Terms (see `terms.terms`); NaN = unknown. A cell that is unknown in every term counts 0.
    weights : array of float32, shape (draws, terms)
        ≥ 0.
    least : array of float32, shape (draws,)
        Sum of terms that a cell needs under each draw.
    fast : bool, optional
        True for the compiled kernel, False for numpy; by default chosen by the size of the work. Counts are equal.

    Returns
    -------
    array of int32, shape (rows, columns)
        0 to the number of draws.

    Raises
    ------
    InputFault
        If shapes do not fit or a weight is negative.

    Notes
    -----
    Cells with unknown terms are compared by Σ w t ≥ threshold × Σ w over the terms that are known, one pass for each
    combination of unknown terms that occurs.
    """
    with Faults() as faults:
        if values.ndim != 3 or weights.ndim != 2 or values.shape[0] != weights.shape[1] or len(least) != len(weights):
            faults.add(
                "draws",
                f"terms {values.shape}, weights {weights.shape}, thresholds {least.shape}",
                "(terms, rows, columns), (draws, terms), (draws,)",
                "Give one weight per term and one threshold per draw.",
            )
        elif not np.all(weights >= 0):
            faults.add("draws", "a negative weight", "weights ≥ 0", "Correct the weights.")
    out = np.zeros(values.shape[1:], np.int32)
    unknown = np.isnan(values)
    if not unknown.any():
        return _counted(values, weights, least, np.ones(out.shape, bool), fast=fast)
    # one bit per term: cells with the same bits know the same terms
    bits = np.zeros(out.shape, np.int64)
    for k in range(len(values)):
        bits |= unknown[k].astype(np.int64) << k
    for pattern in np.unique(bits).tolist():
        known = [k for k in range(len(values)) if not (pattern >> k) & 1]
        if not known:
            continue
        here = bits == pattern
        part = weights[:, known]
        total = np.zeros(len(part), np.float32)
        for k in range(len(known)):
            total += part[:, k]
        limit = least * total if pattern else least
        out += _counted(values[known], part, limit, here, fast=fast)
    return out


def _counted(
    values: Singles, weights: Singles, least: Singles, here: NDArray[np.bool_], *, fast: bool | None
) -> Counts:
    cells = int(here.sum())
    if fast is None:
        fast = cells * len(weights) >= COMPILE_FROM
    if fast:
        short = -len(values) % FOUR  # zeros fill the last four terms; adding 0 changes no sum
        padded = np.concatenate([values, np.zeros((short, *here.shape), np.float32)]) if short else values
        columns = np.concatenate([weights, np.zeros((len(weights), short), np.float32)], axis=1)
        counts = np.zeros(here.shape, np.int32)
        _count(np.ascontiguousarray(padded), np.ascontiguousarray(columns.T), least, here, counts)
        return counts
    picked = values[:, here]
    found = np.zeros(cells, np.int32)
    step = max(_CHUNK // max(cells, 1), 1)
    for first in range(0, len(weights), step):
        some = weights[first : first + step]
        sums = np.zeros((len(some), cells), np.float32)
        for k in range(len(picked)):
            sums += some[:, k, np.newaxis] * picked[k]
        found += (sums >= least[first : first + step, np.newaxis]).sum(axis=0, dtype=np.int32)
    counts = np.zeros(here.shape, np.int32)
    counts[here] = found
    return counts


@compiled
def _count(values: Singles, weights: Singles, least: Singles, here: NDArray[np.bool_], counts: Counts) -> None:
    terms, rows, cols = values.shape
    draws = least.size
    low, high = np.empty(terms, np.float32), np.empty(terms, np.float32)
    work = (np.empty(draws, np.float32), np.empty(draws, np.float32))
    chosen = np.empty(draws, np.int64)
    some, limits = np.empty((terms, draws), np.float32), np.empty(draws, np.float32)
    tile = np.zeros((terms, TILE * TILE), np.float32)
    total, found = np.zeros(TILE * TILE, np.float32), np.empty(TILE * TILE, np.int32)
    for top in range(0, rows, SQUARE):
        for left in range(0, cols, SQUARE):
            bottom, right = min(top + SQUARE, rows), min(left + SQUARE, cols)
            if not _range(values, here, (top, bottom, left, right), low, high, tile[:, :0]):
                continue
            # draws that the square does not decide as a whole, with their weights side by side
            all_square, left_open = _undecided(low, high, weights, least, draws, work, chosen)
            for k in range(left_open):
                limits[k] = least[chosen[k]]
            for c in range(terms):
                for k in range(left_open):
                    some[c, k] = weights[c, chosen[k]]
            for i in range(top, bottom, TILE):
                for j in range(left, right, TILE):
                    place = (i, min(i + TILE, bottom), j, min(j + TILE, right))
                    if not _range(values, here, place, low, high, tile):
                        continue
                    all_tile, few = _undecided(low, high, some, limits, left_open, work, chosen)
                    found[:] = all_square + all_tile
                    _add_draws(tile, some, limits, chosen, few, total, found)
                    for r in range(place[0], place[1]):
                        for q in range(place[2], place[3]):
                            if here[r, q]:
                                counts[r, q] = found[(r - i) * TILE + q - j]


@compiled
def _range(
    values: Singles,
    here: NDArray[np.bool_],
    place: tuple[int, int, int, int],
    low: Singles,
    high: Singles,
    tile: Singles,
) -> bool:
    """Find the least and greatest of each term among the cells of a place; keep the cells if `tile` has room."""
    top, bottom, left, right = place
    any_cell = False
    for c in range(values.shape[0]):
        least, most = np.float32(np.inf), np.float32(-np.inf)
        for r in range(top, bottom):
            for q in range(left, right):
                v = values[c, r, q] if here[r, q] else np.float32(np.nan)
                any_cell |= here[r, q]
                if tile.shape[1] > 0:
                    tile[c, (r - top) * TILE + q - left] = v
                least = v if v < least else least
                most = v if v > most else most
        low[c], high[c] = least, most
    return any_cell


@compiled
def _undecided(
    low: Singles,
    high: Singles,
    weights: Singles,
    least: Singles,
    draws: int,
    work: tuple[Singles, Singles],
    chosen: NDArray[np.int64],
) -> tuple[int, int]:
    """Bound the sums of all cells under each draw; return how many draws hold for all, and how many are undecided."""
    under, over = work
    under[:draws] = 0.0
    over[:draws] = 0.0
    for c in range(low.size):
        a, b = low[c], high[c]
        for d in range(draws):
            under[d] += weights[c, d] * a
            over[d] += weights[c, d] * b
    sure, count = 0, 0
    for d in range(draws):
        holds = under[d] >= least[d]
        sure += holds
        chosen[count] = d
        count += (not holds) & (over[d] >= least[d])
    return sure, count


@compiled
def _add_draws(
    tile: Singles,
    w: Singles,
    limits: Singles,
    chosen: NDArray[np.int64],
    few: int,
    total: Singles,
    found: Counts,
) -> None:
    """Add 1 to every cell of a tile for each chosen draw whose limit its sum reaches."""
    terms = tile.shape[0]
    last = terms - FOUR
    for k in range(few):
        d = chosen[k]
        limit = limits[d]
        if terms == 2 * FOUR:
            a0, a1, a2, a3 = w[0, d], w[1, d], w[2, d], w[3, d]
            a4, a5, a6, a7 = w[4, d], w[5, d], w[6, d], w[7, d]
            for j in range(TILE * TILE):
                s = a0 * tile[0, j] + a1 * tile[1, j] + a2 * tile[2, j] + a3 * tile[3, j]
                s = s + a4 * tile[4, j] + a5 * tile[5, j] + a6 * tile[6, j] + a7 * tile[7, j]
                found[j] += s >= limit
            continue
        total[:] = 0.0
        for c in range(0, last, FOUR):
            a0, a1, a2, a3 = w[c, d], w[c + 1, d], w[c + 2, d], w[c + 3, d]
            for j in range(TILE * TILE):
                total[j] = total[j] + a0 * tile[c, j] + a1 * tile[c + 1, j] + a2 * tile[c + 2, j] + a3 * tile[c + 3, j]
        a0, a1, a2, a3 = w[last, d], w[last + 1, d], w[last + 2, d], w[last + 3, d]
        for j in range(TILE * TILE):
            s = total[j] + a0 * tile[last, j] + a1 * tile[last + 1, j] + a2 * tile[last + 2, j] + a3 * tile[last + 3, j]
            found[j] += s >= limit
