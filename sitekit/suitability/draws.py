"""Draws of weights around the chosen ones: even points (Sobol) turned into a Dirichlet distribution.

The points are made here and not by `scipy.stats`, whose import alone takes longer than a whole sensitivity stage.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv

from sitekit.errors import Faults

# Primitive polynomial and first direction numbers of dimensions 2 … 32: Joe & Kuo 2008, SIAM J. Sci. Comput. 30,
# table new-joe-kuo-6, as scipy 1.17 ships it (read there); dimension 1 is the van der Corput sequence
_DIRECTIONS: tuple[tuple[int, tuple[int, ...]], ...] = (
    (3, (1,)), (7, (1, 3)), (11, (1, 3, 1)), (13, (1, 1, 1)), (19, (1, 1, 3, 3)), (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)), (41, (1, 1, 5, 5, 5)), (47, (1, 1, 7, 11, 19)), (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)), (61, (1, 3, 5, 5, 31)), (67, (1, 3, 3, 9, 7, 49)), (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)), (103, (1, 1, 1, 15, 7, 5)), (109, (1, 3, 1, 15, 13, 25)), (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)), (137, (1, 3, 7, 13, 13, 15, 69)), (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)), (157, (1, 3, 1, 13, 9, 35, 107)), (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)), (185, (1, 3, 5, 3, 3, 13, 69)), (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)), (203, (1, 1, 3, 9, 25, 29, 41)), (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
)  # fmt: skip
MOST_DIMENSIONS = len(_DIRECTIONS) + 1
_BITS = 32


def sobol(count: int, dimensions: int, seed: int | None = None) -> NDArray[np.float64]:
    """Points that fill a unit cube evenly: the first `count` of a Sobol sequence.

    Parameters
    ----------
    count : int
        Number of points, ≥ 1; a power of two fills the cube most evenly.
    dimensions : int
        1 to `MOST_DIMENSIONS`.
    seed : int, optional
        Shifts all points by one random bit pattern per dimension; None gives the plain sequence.

    Returns
    -------
    array of float64, shape (count, dimensions)
        Strictly between 0 and 1: half a step of 2⁻³² is added.

    Raises
    ------
    InputFault
        If the numbers are out of range.

    Notes
    -----
    Point i is the sum modulo 2 of the direction numbers of the bits of i's Gray code (Antonov & Saleev 1979, recalled).
    """
    with Faults() as faults:
        if not 1 <= dimensions <= MOST_DIMENSIONS:
            faults.add(
                "draws", f"{dimensions} criteria", f"1 to {MOST_DIMENSIONS}", "Join criteria, or switch some off."
            )
        if not 1 <= count < 2**_BITS:
            faults.add("draws", f"{count} points", "1 or more", "Correct sensitivity.draws.")
    index = np.arange(count, dtype=np.uint64)
    gray = index ^ (index >> np.uint64(1))
    points = np.zeros((count, dimensions), np.uint64)
    for d in range(dimensions):
        for bit, v in enumerate(_direction(d)):
            points[:, d] ^= np.where((gray >> np.uint64(bit)) & np.uint64(1), np.uint64(v), np.uint64(0))
    if seed is not None:
        points ^= np.random.default_rng(seed).integers(0, 2**_BITS, dimensions, dtype=np.uint64)
    return (points.astype(np.float64) + 0.5) * 2.0**-_BITS


def draw_weights(
    weights: ArrayLike, count: int, *, concentration: float = 30.0, seed: int | None = None
) -> NDArray[np.float64]:
    """Weights drawn around the chosen ones.

    Parameters
    ----------
    weights : array of float, shape (criteria,)
        Chosen weights, above 0; only their ratios count.
    count : int
        Number of draws.
    concentration : float
        > 0. A weight w has standard deviation √(w (1 − w) / (concentration + 1)): with 30, a weight of 0.4 varies by
        0.09, one of 0.1 by 0.05. The number of criteria with equal weights spreads the draws evenly over all weights
        that are possible.
    seed : int, optional
        See `sobol`.

    Returns
    -------
    array of float64, shape (count, criteria)
        Each row sums to 1; the mean of each column is the chosen weight.

    Raises
    ------
    InputFault
        If a weight is not above 0, or the concentration or the number of criteria is out of range.

    Notes
    -----
    Dirichlet with parameters concentration × w, as gamma variables divided by their sum; the gamma variables are the
    inverse distribution function at Sobol points. Normalised uniform numbers would *not* be even over the weights.
    """
    w = np.asarray(weights, dtype=np.float64)
    with Faults() as faults:
        if w.ndim != 1 or w.size == 0 or not (np.all(np.isfinite(w)) and np.all(w > 0)):
            faults.add("weights", f"{w.tolist()}", "numbers above 0", "Leave criteria of weight 0 out.")
        if not (np.isfinite(concentration) and concentration > 0):
            faults.add("concentration", f"{concentration}", "a number above 0", "Correct sensitivity.concentration.")
    points = sobol(count, w.size, seed)
    shapes = concentration * w / w.sum()
    # a shape far below 1 underflows to 0 at most points; the floor keeps a row from being all zeros
    gamma = np.maximum(gammaincinv(shapes[np.newaxis, :], points), 1e-290)
    return np.asarray(gamma / gamma.sum(axis=1, keepdims=True), dtype=np.float64)


def _direction(dimension: int) -> list[int]:
    """Return the direction numbers of a dimension, counted from 0, as 32-bit fractions."""
    if dimension == 0:
        return [1 << (_BITS - 1 - k) for k in range(_BITS)]
    polynomial, first = _DIRECTIONS[dimension - 1]
    degree = len(first)
    m = list(first)
    for k in range(degree, _BITS):
        value = m[k - degree] ^ (m[k - degree] << degree)
        for i in range(1, degree):
            if (polynomial >> (degree - i)) & 1:
                value ^= m[k - i] << i
        m.append(value)
    return [m[k] << (_BITS - 1 - k) for k in range(_BITS)]
