r"""Responses in 10 bits, spaced so that no combination rule shows the rounding.

A response r stands as L = −log2 r. A geometric mean moves by at most f(L) = max over shares p of p · 2^(−pL) · ln 2 per
unit of L: 2^(−L) ln 2 up to L = 1/ln 2, then 1/(eL). Codes are spaced evenly in g(L) = ∫ f: even in r from 1 down to
1/e, then even in log L. A step of g moves every weighted mean and the lowest response by at most half a step, and a
geometric mean by at most 1.45 times that (docs/methods-map.md). Exact 0 and unknown have codes of their own. Responses in 8
bits, even in r, fail: a response of 0.001 that becomes 0 takes the whole score with it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEVELS = 1024
ZERO, UNKNOWN = LEVELS, LEVELS + 1
LARGEST = 1100.0  # −log2 of the smallest number above 0 that a computer holds is 1074
KNEE = 1.0 / math.log(2.0)
_AT_KNEE = 1.0 - 1.0 / math.e
SPAN = _AT_KNEE + math.log(LARGEST / KNEE) / math.e


def encode(response: ArrayLike) -> NDArray[np.uint16]:
    """Return the code of each response.

    Parameters
    ----------
    response : array of float
        0–1; NaN = unknown.

    Returns
    -------
    array of uint16
        0 for a response of 1 up to `LEVELS` − 1, then `ZERO` and `UNKNOWN`.

    Examples
    --------
    >>> encode([1.0, 0.0, float("nan")]).tolist()
    [0, 1024, 1025]
    """
    r = np.asarray(response, dtype=np.float64)
    known = np.isfinite(r)
    above = known & (r > 0)
    depth = -np.log2(np.where(above, r, 1.0))
    place = np.where(depth <= KNEE, 1.0 - np.exp2(-depth), _AT_KNEE + np.log(np.maximum(depth, KNEE) / KNEE) / math.e)
    code = np.clip(np.rint(place / SPAN * (LEVELS - 1)), 0, LEVELS - 1)
    return np.where(above, code, np.where(known, ZERO, UNKNOWN)).astype(np.uint16)


def decode(code: ArrayLike) -> NDArray[np.float64]:
    """Return the response of each code; NaN for unknown."""
    c = np.asarray(code, dtype=np.int64)
    place = np.minimum(c, LEVELS - 1) / (LEVELS - 1) * SPAN
    flat = place <= _AT_KNEE
    depth = KNEE * np.exp(np.where(flat, 0.0, place - _AT_KNEE) * math.e)
    r = np.where(flat, 1.0 - np.where(flat, place, 0.0), np.exp2(-depth))
    return np.where(c == UNKNOWN, np.nan, np.where(c == ZERO, 0.0, r))
