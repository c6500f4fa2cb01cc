"""Suitability score of cells: responses of all criteria combined, what limits the score, what is unknown.

Pure arrays in and out, one cell at a time, so blocks equal the whole. Geometric mean by base-2 logarithms; a response
of 0 with weight above 0 gives 0 and nothing buys it back; a criterion of weight 0 counts for nothing (0⁰ = 1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled
from sitekit.base.elementary import exp2, log2
from sitekit.errors import Faults
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import Curve, Packed, pack, respond
from sitekit.suitability.exclusions import UNKNOWN

METHODS = ("geometric mean", "mean", "lowest")
NO_LIMIT = 255
_TOLERANCE = 1e-9  # of the total weight: 0.1 + 0.15 is not above 0.25


@dataclass(frozen=True)
class ScoreBlock:
    """Scores of a block of cells.

    Parameters
    ----------
    score : array of float32, shape (rows, columns)
        0–1; NaN where the cell is excluded.
    limiting : array of uint8
        Index of the criterion whose rise to 1 would raise the score most; 255 = none (all at 1, or excluded).
    unknown_pct : array of uint8
        Share of the total weight whose criteria are unknown [%], rounded.
    reason : array of uint8
        Exclusion code, 0 = not excluded; see `exclusions.LABELS`.
    """

    score: NDArray[np.float32]
    limiting: NDArray[np.uint8]
    unknown_pct: NDArray[np.uint8]
    reason: NDArray[np.uint8]


def score_cells(
    criteria: Sequence[Criterion],
    fields: Mapping[str, NDArray[Any]],
    exclusion: NDArray[np.uint8],
    *,
    method: str = "geometric mean",
    max_unknown_weight: float = 0.25,
) -> ScoreBlock:
    """Score a block for one species.

    Parameters
    ----------
    criteria : sequence of Criterion
        What counts, at most 255; their order is the meaning of `limiting`.
    fields : mapping of field name to array, shape (rows, columns)
        Values in the field's unit, NaN = unknown; class rasters as uint8 codes.
    exclusion : array of uint8, shape (rows, columns)
        Reason codes from `exclusions`, 0 = none.
    method : str
        One of `METHODS`.
    max_unknown_weight : float
        Largest share of the weight that may be unknown [0–1].

    Returns
    -------
    ScoreBlock
        Score, limiting criterion, unknown weight and reason per cell.

    Raises
    ------
    InputFault
        If a field is missing or of another shape; all are named.
    """
    with Faults() as faults:
        for one in criteria:
            if one.field not in fields:
                have = ", ".join(sorted(fields)) or "none"
                faults.add(f"criterion {one.name!r}", f"field {one.field!r}", f"one of {have}", "Add the layer.")
            elif fields[one.field].shape != exclusion.shape:
                shape = fields[one.field].shape
                faults.add(f"field {one.field!r}", f"shape {shape}", f"{exclusion.shape}", "Use one grid.")
    stack = np.empty((len(criteria), *exclusion.shape), np.float32)
    for k, one in enumerate(criteria):
        stack[k] = fields[one.field]
    return combine(
        stack,
        [c.curve for c in criteria],
        [c.weight for c in criteria],
        exclusion=exclusion,
        method=method,
        max_unknown_weight=max_unknown_weight,
    )


def combine(
    stack: NDArray[np.float32],
    curves: Sequence[Curve],
    weights: ArrayLike,
    *,
    exclusion: NDArray[np.uint8],
    method: str = "geometric mean",
    max_unknown_weight: float = 0.25,
) -> ScoreBlock:
    """Combine a stack of criterion values.

    Parameters
    ----------
    stack : array of float32, shape (criteria, rows, columns)
        Values of the criteria in their units (or class codes); NaN = unknown.
    curves : sequence of Curve
        One per criterion.
    weights : array of float, shape (criteria,)
        ≥ 0, at least one above 0; only their ratios count.
    exclusion : array of uint8, shape (rows, columns)
        Reason codes, 0 = none.
    method : str
        `geometric mean`: Π rᵢ^(wᵢ/W); `mean`: Σ wᵢ rᵢ / W; `lowest`: the lowest response of a criterion with weight
        above 0. W is the weight of the known criteria: the rest is renormalised.
    max_unknown_weight : float
        0–1; a cell whose unknown share is above it is excluded as unknown.

    Returns
    -------
    ScoreBlock
        With several responses at 0 no single rise helps the geometric mean: the one of greatest weight is named. Ties
        go to the criterion that stands first.

    Raises
    ------
    InputFault
        If weights, method, limit or shapes do not fit.

    Examples
    --------
    >>> from sitekit.suitability.curves import rise
    >>> cells = np.array([[[0.8, 1.0]], [[0.5, 0.0]], [[0.2, 1.0]]], dtype=np.float32)   # 3 criteria, 1 × 2 cells
    >>> out = combine(cells, [rise(0, 1)] * 3, [0.5, 0.3, 0.2], exclusion=np.zeros((1, 2), np.uint8))
    >>> out.score.round(4).tolist(), out.limiting.tolist()
    ([[0.5266, 0.0]], [[2, 1]])
    """
    w = np.asarray(weights, dtype=np.float64)
    with Faults() as faults:
        if stack.ndim != 3 or not (stack.shape[0] == len(curves) == w.size) or stack.shape[0] > NO_LIMIT:
            faults.add(
                "criteria",
                f"{len(curves)} curves, {w.size} weights, stack {stack.shape}",
                f"one of each per criterion, at most {NO_LIMIT}",
                "Give each criterion a curve and a weight.",
            )
        if stack.shape[1:] != exclusion.shape:
            faults.add("exclusion", f"shape {exclusion.shape}", f"{stack.shape[1:]}", "Use one grid.")
        if w.size == 0 or not (np.all(np.isfinite(w)) and np.all(w >= 0) and w.sum() > 0):
            faults.add("weights", f"{w.tolist()}", "numbers ≥ 0, one above 0", "Correct the weights.")
        if method not in METHODS:
            faults.add("score.combine", repr(method), " | ".join(METHODS), "Correct score.combine.")
        if not 0 <= max_unknown_weight <= 1:
            faults.add("score.max_unknown_weight", f"{max_unknown_weight}", "0 to 1", "Correct the share.")
    shape = exclusion.shape
    block = ScoreBlock(
        np.empty(shape, np.float32), np.empty(shape, np.uint8), np.empty(shape, np.uint8), np.empty(shape, np.uint8)
    )
    _combine(
        np.ascontiguousarray(stack, dtype=np.float32),
        pack(curves),
        (w, METHODS.index(method), float(max_unknown_weight)),
        np.ascontiguousarray(exclusion, dtype=np.uint8),
        (block.score, block.limiting, block.unknown_pct, block.reason),
    )
    return block


@compiled
def _combine(
    stack: NDArray[np.float32],
    curves: Packed,
    how: tuple[NDArray[np.float64], int, float],
    exclusion: NDArray[np.uint8],
    out: tuple[NDArray[np.float32], NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]],
) -> None:
    kinds, x, y = curves
    weights, method, limit = how
    score, limiting, unknown_pct, reason = out
    criteria, rows, cols = stack.shape
    total = 0.0  # a loop: numba compiles its sum() for over a second
    for w in weights:
        total += w
    per_total = 1.0 / total
    r = np.empty(cols)
    gathered = np.empty(cols)  # Σ w log2 r, Σ w r, or the lowest r
    lost = np.empty(cols)
    worst = np.empty(cols)  # smallest w log2 r, largest w (1 − r), or lowest r
    which = np.empty(cols)
    for i in range(rows):
        lost[:] = 0.0
        which[:] = NO_LIMIT
        gathered[:] = 1.0 if method == 2 else 0.0
        worst[:] = 1.0 if method == 2 else 0.0
        for c in range(criteria):
            w = weights[c]
            if w == 0.0:
                continue
            respond(stack[c, i], kinds[c], x[c], y[c], r)
            if method == 0:
                for j in range(cols):
                    known = r[j] == r[j]
                    part = w * log2(r[j] if known else 1.0)
                    gathered[j] += part
                    lost[j] += 0.0 if known else w
                    which[j] = c if part < worst[j] else which[j]
                    worst[j] = min(part, worst[j])
            elif method == 1:
                for j in range(cols):
                    known = r[j] == r[j]
                    here = r[j] if known else 1.0
                    part = w * (1.0 - here)
                    gathered[j] += w * here if known else 0.0
                    lost[j] += 0.0 if known else w
                    which[j] = c if part > worst[j] else which[j]
                    worst[j] = max(part, worst[j])
            else:
                for j in range(cols):
                    known = r[j] == r[j]
                    here = r[j] if known else 1.0
                    lost[j] += 0.0 if known else w
                    which[j] = c if here < worst[j] else which[j]
                    worst[j] = min(here, worst[j])
        all_known = True
        for j in range(cols):
            all_known &= lost[j] == 0.0
        if method == 0 and all_known:  # the answers of the loop below without its divisions: most rows of a reef
            for j in range(cols):
                s = exp2(gathered[j] * per_total)
                out_code = exclusion[i, j]
                score[i, j] = np.nan if out_code != 0 else s
                limiting[i, j] = NO_LIMIT if out_code != 0 else np.uint8(which[j])
                reason[i, j] = out_code
            unknown_pct[i] = 0
            continue
        for j in range(cols):
            left = total - lost[j]
            # all of it unknown leaves rounding dust in `left`; such a cell has no score, whatever the limit
            blind = (lost[j] > (limit + _TOLERANCE) * total) | (left <= _TOLERANCE * total)
            per = 1.0 / (1.0 if blind else left)
            if method == 0:
                s = exp2(gathered[j] * per)
            elif method == 1:
                s = min(gathered[j] * per, 1.0)
            else:
                s = worst[j]
            out_code = exclusion[i, j]
            gone = (out_code != 0) | blind
            score[i, j] = np.nan if gone else s
            limiting[i, j] = NO_LIMIT if gone else np.uint8(which[j])
            unknown_pct[i, j] = np.uint8(np.rint(100.0 * lost[j] / total))
            reason[i, j] = out_code if out_code != 0 else (UNKNOWN if blind else 0)
