"""What a draw of weights is multiplied with: responses of cells, turned so that a score is a weighted sum.

A weighted mean is a sum of responses; a weighted geometric mean is a sum of their logarithms. `lowest` does not depend
on weights at all and becomes a single term. A score from terms is float32; `score.combine` is the one that is written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.base.elementary import LOWEST_LOG2
from sitekit.errors import Faults
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import pack, respond
from sitekit.suitability.score import METHODS

Singles = NDArray[np.float32]

_CHUNK = 1 << 18  # sums at a time


def responses(criteria: Sequence[Criterion], fields: Mapping[str, NDArray[Any]]) -> Singles:
    """Responses of cells to every criterion.

    Parameters
    ----------
    criteria : sequence of Criterion
        What counts.
    fields : mapping of field name to array, any one shape
        Values in the field's unit, NaN = unknown; class rasters as codes.

    Returns
    -------
    array of float32, shape (criteria, …)
        0–1; NaN where the value is unknown.

    Raises
    ------
    InputFault
        Naming every field that is missing.
    """
    with Faults() as faults:
        for one in criteria:
            if one.field not in fields:
                have = ", ".join(sorted(fields)) or "none"
                faults.add(f"criterion {one.name!r}", f"field {one.field!r}", f"one of {have}", "Add the layer.")
    kinds, x, y = pack([c.curve for c in criteria])
    shape = fields[criteria[0].field].shape
    out = np.empty((len(criteria), *shape), np.float32)
    answer = np.empty(out[0].size)
    for k, one in enumerate(criteria):
        values = np.ascontiguousarray(fields[one.field], dtype=np.float32).ravel()
        respond(values, kinds[k], x[k], y[k], answer)  # type: ignore[arg-type]
        out[k] = answer.reshape(shape)
    return out


def terms(answered: Singles, method: str) -> Singles:
    """Responses as terms of a sum.

    Parameters
    ----------
    answered : array of float32, shape (criteria, …)
        Responses 0–1; NaN = unknown.
    method : str
        One of `score.METHODS`.

    Returns
    -------
    array of float32, shape (criteria, …), or (1, …) for `lowest`
        `geometric mean`: log₂ r, with −10³⁰ for a response of 0; `mean`: r; `lowest`: the least known response.

    Raises
    ------
    InputFault
        If there is no such method.
    """
    with Faults() as faults:
        if method not in METHODS:
            faults.add("score.combine", repr(method), " | ".join(METHODS), "Correct score.combine.")
    if method == "mean":
        return answered
    if method == "lowest":
        lowest: Singles = np.fmin.reduce(answered, axis=0)[np.newaxis]
        return lowest
    # logarithms in float64: their float32 is then the same on every processor
    tame = np.where(answered == 0.0, np.float32(1.0), answered).astype(np.float64)
    return np.where(answered == 0.0, np.float32(LOWEST_LOG2), np.log2(tame).astype(np.float32))


def scores(sums: Singles, method: str) -> Singles:
    """Scores 0–1 from weighted sums of terms (weights of a draw sum to 1)."""
    if method == "geometric mean":
        return np.exp2(np.maximum(sums, np.float32(-140.0))) * (sums > -140.0)
    return np.clip(sums, 0.0, 1.0)


def term_weights(drawn: NDArray[np.float64], method: str) -> Singles:
    """Weights of draws, shape (draws, criteria), as weights of terms: float32; a column of ones for `lowest`."""
    if method == "lowest":
        return np.ones((len(drawn), 1), np.float32)
    return np.ascontiguousarray(drawn, dtype=np.float32)


def weighted_sums(values: Singles, weights: Singles) -> Singles:
    """Sums of terms for every draw, unknown terms left out and the rest renormalised.

    Parameters
    ----------
    values : array of float32, shape (terms, cells)
        Terms; NaN = unknown.
    weights : array of float32, shape (draws, terms)
        ≥ 0.

    Returns
    -------
    array of float32, shape (draws, cells)
        NaN where nothing is known.
    """
    return np.concatenate([part for _, part in sums_by_draws(values, weights)])


def sums_by_draws(values: Singles, weights: Singles) -> Iterator[tuple[slice, Singles]]:
    """Yield the sums of `weighted_sums` for a few draws at a time, so that they stay in the processor's cache.

    Parameters are those of `weighted_sums`.

    Yields
    ------
    slice, array of float32, shape (some draws, cells)
        Which draws, and their sums; NaN where nothing is known.
    """
    unknown = np.isnan(values)
    some = unknown.any(axis=0)
    gaps = bool(some.any())
    held = np.where(unknown, np.float32(0.0), values) if gaps else values
    there = (~unknown[:, some]).astype(np.float32)
    step = max(_CHUNK // max(values.shape[1], 1), 1)
    for first in range(0, max(len(weights), 1), step):
        part = weights[first : first + step]
        total = np.zeros((len(part), values.shape[1]), np.float32)
        for k in range(len(values)):  # one term after the other: the order of a sum decides its last bit
            total += part[:, k, np.newaxis] * held[k]
        if gaps:
            known = np.zeros((len(part), there.shape[1]), np.float32)
            for k in range(len(values)):
                known += part[:, k, np.newaxis] * there[k]
            with np.errstate(invalid="ignore", divide="ignore"):
                total[:, some] /= known
        yield slice(first, first + len(part)), total
