"""How often a cell is among the best: draws of weights counted, tile by tile.

Small works are counted with numpy, large ones by a compiled kernel; both add the same numbers in the same order, so
their counts are equal. The kernel saves most sums: per tile of 8 × 8 cells the least and greatest term of each
criterion bound every weighted sum of the tile, and a draw whose bound lies on one side of its threshold needs no more.
Rounding never turns ≤ into >, so a bound in float32 bounds the sum in float32 too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.suitability.terms import weighted_sums

Singles = NDArray[np.float32]
Counts = NDArray[np.int32]

TILE = 8  # cells on a side; 4 and 16 took longer (tests.bench decide)
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
    step = max(_CHUNK // cells, 1)
    for first in range(0, len(weights), step):
        sums = weighted_sums(sample, weights[first : first + step])
        sums[np.isnan(sums)] = -np.inf
        found[first : first + step] = np.partition(sums, place, axis=1)[:, place]
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
    size = TILE * TILE
    low, high = np.empty(draws, np.float32), np.empty(draws, np.float32)
    open_draws = np.empty(draws, np.int64)
    tile = np.zeros((terms, size), np.float32)
    total = np.zeros(size, np.float32)
    found = np.empty(size, np.int32)
    for top in range(0, rows, TILE):
        for left in range(0, cols, TILE):
            high_rows, wide = min(TILE, rows - top), min(TILE, cols - left)
            any_cell = False
            for i in range(high_rows):
                for j in range(wide):
                    any_cell |= here[top + i, left + j]
            if not any_cell:
                continue
            low[:] = 0.0
            high[:] = 0.0
            for c in range(terms):
                least_term, most_term = np.float32(np.inf), np.float32(-np.inf)
                for i in range(high_rows):
                    for j in range(wide):
                        v = values[c, top + i, left + j] if here[top + i, left + j] else np.float32(np.nan)
                        tile[c, i * TILE + j] = v
                        least_term = v if v < least_term else least_term
                        most_term = v if v > most_term else most_term
                for d in range(draws):
                    low[d] += weights[c, d] * least_term
                    high[d] += weights[c, d] * most_term
            sure = 0
            count = 0
            for d in range(draws):
                all_in = low[d] >= least[d]
                sure += all_in
                open_draws[count] = d
                count += (not all_in) & (high[d] >= least[d])
            found[:] = sure
            for k in range(count):
                d = open_draws[k]
                total[:] = 0.0
                for c in range(0, terms - FOUR, FOUR):
                    w0, w1, w2, w3 = weights[c, d], weights[c + 1, d], weights[c + 2, d], weights[c + 3, d]
                    for j in range(size):
                        total[j] = (
                            total[j] + w0 * tile[c, j] + w1 * tile[c + 1, j] + w2 * tile[c + 2, j] + w3 * tile[c + 3, j]
                        )
                c = terms - FOUR
                w0, w1, w2, w3 = weights[c, d], weights[c + 1, d], weights[c + 2, d], weights[c + 3, d]
                limit = least[d]
                for j in range(size):
                    s = total[j] + w0 * tile[c, j] + w1 * tile[c + 1, j] + w2 * tile[c + 2, j] + w3 * tile[c + 3, j]
                    found[j] += s >= limit
            for i in range(high_rows):
                for j in range(wide):
                    if here[top + i, left + j]:
                        counts[top + i, left + j] = found[i * TILE + j]
