"""Weights of criteria: given, from a ranking, or from pairwise judgements with their consistency.

The random index of the consistency ratio is the row of Saaty 1980 (`saaty-1980`). Other tables are in use and change
the ratio in the third decimal, so the table is always named beside the figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

# Saaty 1980, The Analytic Hierarchy Process, random index for n = 1 … 10 (seen in a published paper's table)
RANDOM_INDEX_SAATY_1980 = (0.0, 0.0, 0.58, 0.90, 1.12, 1.24, 1.32, 1.41, 1.45, 1.49)
CONSISTENT_BELOW = 0.10  # Saaty 1980, recalled: judgements with a ratio above 0.10 should be looked at again


@dataclass(frozen=True)
class Pairwise:
    """Weights from pairwise judgements.

    Parameters
    ----------
    weights : array of float64, shape (criteria,)
        Principal eigenvector, sum 1.
    lambda_max : float
        Principal eigenvalue; the number of criteria if the judgements agree with each other.
    consistency_index : float
        (lambda_max − n) / (n − 1), not below 0; 0 for one or two criteria.
    consistency_ratio : float
        Consistency index over the random index of Saaty 1980; 0 for one or two criteria.
    worst : tuple of (row, column, judged, implied)
        The judgement farthest (as a ratio) from the one that the weights imply, row < column.
    """

    weights: NDArray[np.float64]
    lambda_max: float
    consistency_index: float
    consistency_ratio: float
    worst: tuple[int, int, float, float] | None

    @property
    def consistent(self) -> bool:
        """Whether the ratio is at most 0.10."""
        return self.consistency_ratio <= CONSISTENT_BELOW

    def said(self, names: Sequence[str]) -> str:
        """Return one sentence for people: the ratio, its table, and the judgement to look at first."""
        text = f"consistency ratio {self.consistency_ratio:.3f} (random index of Saaty 1980)"
        if self.consistent or self.worst is None:
            return text
        row, col, judged, implied = self.worst
        return (
            f"{text} is above {CONSISTENT_BELOW:.2f}; look first at {names[row]!r} against {names[col]!r}: "
            f"judged {judged:.3g}, the other judgements imply {implied:.3g}"
        )


def direct(values: ArrayLike) -> NDArray[np.float64]:
    """Weights given as numbers, scaled to sum 1.

    Parameters
    ----------
    values : array of float, shape (criteria,)
        ≥ 0, at least one above 0.

    Returns
    -------
    array of float64, shape (criteria,)
        Sum 1.

    Raises
    ------
    InputFault
        If a weight is negative or not finite, or all are 0.
    """
    w = np.asarray(values, dtype=np.float64)
    with Faults() as faults:
        if w.ndim != 1 or w.size == 0 or not (np.all(np.isfinite(w)) and np.all(w >= 0) and w.sum() > 0):
            faults.add("weights", f"{w.tolist()}", "a list of numbers ≥ 0, one above 0", "Correct the weights.")
    return np.asarray(w / w.sum(), dtype=np.float64)


def ranked(ranks: Sequence[int]) -> NDArray[np.float64]:
    """Weights from a ranking: rank-order centroid.

    Parameters
    ----------
    ranks : sequence of int
        Rank of each criterion, 1 = weighs most; ties share ranks (1, 2, 2, 4).

    Returns
    -------
    array of float64, shape (criteria,)
        Sum 1; tied criteria share the mean of their places.

    Raises
    ------
    InputFault
        If the ranks are not 1 … n with ties counted.

    Notes
    -----
    w(k) = (1/n) Σ_{i=k}^{n} 1/i: the centre of all weights that agree with the ranking (Barron & Barrett 1996,
    Management Science 42).

    Examples
    --------
    >>> ranked([2, 1, 3]).round(4).tolist()
    [0.2778, 0.6111, 0.1111]
    """
    r = np.asarray(ranks)
    n = r.size
    due = np.empty(n, dtype=np.int64)
    for k in range(n):
        due[k] = 1 + int((r < r[k]).sum())
    with Faults() as faults:
        if n == 0 or not np.array_equal(due, r):
            faults.add("ranks", f"{list(ranks)}", f"{due.tolist()} or another ranking from 1", "Rank all, from 1.")
    centroid = np.cumsum((1.0 / np.arange(1, n + 1))[::-1])[::-1] / n
    return np.array([centroid[k - 1 : k - 1 + int((r == k).sum())].mean() for k in r])


def pairwise(upper: Sequence[Sequence[float]]) -> Pairwise:
    """Weights from judgements "how many times more does this criterion count than that one".

    Parameters
    ----------
    upper : sequence of sequences of float
        Row k: judgements of criterion k against k + 1, k + 2, …; 1/9 to 9, > 0. For n criteria n − 1 rows of n − 1,
        n − 2, …, 1 numbers.

    Returns
    -------
    Pairwise
        Weights, consistency and the judgement that fits worst.

    Raises
    ------
    InputFault
        If a row has another length, a judgement is not above 0, or there are more than 10 criteria.

    Examples
    --------
    >>> result = pairwise([[3, 5], [3]])
    >>> result.weights.round(4).tolist(), round(result.consistency_ratio, 4)
    ([0.637, 0.2583, 0.1047], 0.0332)
    """
    n = len(upper) + 1
    with Faults() as faults:
        if n > len(RANDOM_INDEX_SAATY_1980):
            faults.add("weights.pairwise", f"{n} criteria", "at most 10", "Group the criteria, or give weights.")
        for k, row in enumerate(upper):
            if len(row) != n - 1 - k:
                faults.add(
                    f"weights.pairwise row {k + 1}",
                    f"{len(row)} judgements",
                    f"{n - 1 - k}",
                    "One per later criterion.",
                )
            for value in row:
                if not (np.isfinite(value) and value > 0):
                    faults.add(f"weights.pairwise row {k + 1}", f"{value}", "a number above 0", "Use 1/9 to 9.")
    matrix = np.eye(n)
    for k, row in enumerate(upper):
        matrix[k, k + 1 :] = row
        matrix[k + 1 :, k] = 1.0 / np.asarray(row, dtype=np.float64)
    values, vectors = np.linalg.eig(matrix)
    first = int(np.argmax(values.real))
    weights = np.abs(vectors[:, first].real)
    weights /= weights.sum()
    lambda_max = float(values[first].real)
    index = max((lambda_max - n) / (n - 1), 0.0) if n > 2 else 0.0
    ratio = index / RANDOM_INDEX_SAATY_1980[n - 1] if n > 2 else 0.0
    return Pairwise(weights, lambda_max, index, ratio, _worst(matrix, weights))


def _worst(matrix: NDArray[np.float64], weights: NDArray[np.float64]) -> tuple[int, int, float, float] | None:
    n = len(weights)
    if n < 3:
        return None
    implied = weights[:, None] / weights[None, :]
    gap = np.abs(np.log(matrix / implied))
    gap[np.tril_indices(n)] = -1.0
    row, col = np.unravel_index(int(np.argmax(gap)), gap.shape)
    return int(row), int(col), float(matrix[row, col]), float(implied[row, col])
