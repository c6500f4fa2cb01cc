"""Whether a ranking holds: ranks of candidates under draws of the weights, and what each criterion changes alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.suitability.stability import thresholds
from sitekit.suitability.terms import scores, sums_by_draws, weighted_sums

Singles = NDArray[np.float32]
Reals = NDArray[np.float64]
Ints = NDArray[np.int64]

FACTORS = (0.0, 2.0)  # house choice: a criterion is left out, and counted twice


def candidate_means(values: Singles, weights: Singles, label: Ints, count: int, method: str) -> Reals:
    """Mean score of every candidate under every draw.

    Parameters
    ----------
    values : array of float32, shape (terms, cells)
        Terms of the candidates' cells; NaN = unknown.
    weights : array of float32, shape (draws, terms)
        Weights of terms.
    label : array of int, shape (cells,)
        Candidate of each cell, 0 to count − 1.
    count : int
        Number of candidates.
    method : str
        One of `score.METHODS`.

    Returns
    -------
    array of float64, shape (draws, candidates)
        0–1. A cell whose known criteria all have weight 0 counts as 0.

    Raises
    ------
    InputFault
        If a candidate has no cell.
    """
    cells = np.bincount(label, minlength=count)
    with Faults() as faults:
        for i in np.flatnonzero(cells[:count] == 0).tolist():
            faults.add(f"candidate {i + 1}", "no cell", "one cell or more", "Leave it out.")
    order = np.argsort(label, kind="stable")
    first = np.concatenate([[0], np.cumsum(cells)[:-1]])
    sorted_values = values[:, order]
    found = np.empty((len(weights), count))
    for draws, sums in sums_by_draws(sorted_values, weights):
        cell_scores = np.nan_to_num(scores(sums, method), nan=0.0)
        found[draws] = np.add.reduceat(cell_scores, first, axis=1, dtype=np.float64) / cells
    return found


def ranks(means: ArrayLike) -> Ints:
    """Rank of each value in its row.

    Parameters
    ----------
    means : array of float, shape (draws, candidates) or (candidates,)
        Larger is better.

    Returns
    -------
    array of int64, same shape
        1 is the best; equal values share the better rank.

    Examples
    --------
    >>> ranks([[0.7, 0.9, 0.7, 0.1]]).tolist()
    [[2, 1, 2, 4]]
    """
    given = np.asarray(means, dtype=np.float64)
    rows = np.atleast_2d(given)
    order = np.argsort(-rows, axis=1, kind="stable")
    ordered = np.take_along_axis(rows, order, axis=1)
    place = np.broadcast_to(np.arange(rows.shape[1]), rows.shape)
    fresh = np.ones(rows.shape, bool)
    fresh[:, 1:] = ordered[:, 1:] != ordered[:, :-1]  # a value equal to the one before shares its rank
    shared = np.maximum.accumulate(np.where(fresh, place, 0), axis=1) + 1
    found = np.empty(rows.shape, np.int64)
    np.put_along_axis(found, order, shared, axis=1)
    return found.reshape(given.shape)


@dataclass(frozen=True)
class RankRanges:
    """How firm the rank of each candidate is; arrays of shape (candidates,).

    Parameters
    ----------
    rank : array of int
        Under the chosen weights.
    low, high : array of int
        Range of its rank over the draws.
    first, in_high : array of float
        Share of the draws in which it ranks first, and among the high ranks [0–1].
    fragile : array of bool
        It ranks high under the chosen weights, and in too few of the draws.
    high_ranks : int
        Ranks that count as high.
    """

    rank: Ints
    low: Ints
    high: Ints
    first: Reals
    in_high: Reals
    fragile: NDArray[np.bool_]
    high_ranks: int


def rank_ranges(
    drawn: ArrayLike,
    chosen: ArrayLike,
    *,
    range_pct: float = 90.0,
    high_share: float = 0.25,
    steady_share: float = 0.8,
) -> RankRanges:
    """Ranges of ranks over draws.

    Parameters
    ----------
    drawn : array of float, shape (draws, candidates)
        Mean score of each candidate under each draw.
    chosen : array of float, shape (candidates,)
        Mean scores under the chosen weights.
    range_pct : float
        Share of the draws that the range holds [%]: 90 gives 5 to 95 %.
    high_share : float
        Share of the candidates whose ranks count as high; at least one rank does [0–1].
    steady_share : float
        A candidate of high rank that keeps a high rank in fewer draws than this share is fragile [0–1].

    Returns
    -------
    RankRanges
        Ranks from 1.

    Raises
    ------
    InputFault
        If the shapes do not fit.
    """
    all_means = np.asarray(drawn, dtype=np.float64)
    base = np.asarray(chosen, dtype=np.float64)
    with Faults() as faults:
        if all_means.ndim != 2 or base.shape != all_means.shape[1:] or len(all_means) == 0:
            faults.add(
                "draws", f"{all_means.shape} and {base.shape}", "(draws, candidates), (candidates,)", "Use both."
            )
    rank, every = ranks(base), ranks(all_means)
    tail = (100.0 - range_pct) / 2.0
    # inverse of the distribution function: a rank that occurs, never a number between two
    low = np.percentile(every, tail, axis=0, method="inverted_cdf").astype(np.int64)
    high = np.percentile(every, 100.0 - tail, axis=0, method="inverted_cdf").astype(np.int64)
    high_ranks = max(1, int(np.floor(high_share * base.size + 0.5)))
    in_high = (every <= high_ranks).mean(axis=0)
    return RankRanges(
        rank,
        low,
        high,
        (every == 1).mean(axis=0),
        in_high,
        (rank <= high_ranks) & (in_high < steady_share),
        high_ranks,
    )


def misread_means(means: ArrayLike, misread_share: float, draws: int, seed: int) -> Reals:
    """Mean scores if a part of every candidate is not the bottom that is mapped.

    Parameters
    ----------
    means : array of float, shape (candidates,)
        Mean scores as mapped.
    misread_share : float
        Mean share of a candidate's cells that are misread, 0–1 exclusive of 1; misread cells count as 0.
    draws : int
        Number of draws.
    seed : int
        Of the draws.

    Returns
    -------
    array of float64, shape (draws, candidates)
        Each candidate has a share of its own in each draw: Beta(1, 1/share − 1), whose mean is `misread_share`; most
        candidates are read nearly right, some quite wrong.

    Raises
    ------
    InputFault
        If the share is out of range.
    """
    base = np.asarray(means, dtype=np.float64)
    with Faults() as faults:
        if not 0.0 <= misread_share < 1.0:
            faults.add("sensitivity.misread_share", f"{misread_share}", "0 to below 1", "Correct it.")
    if misread_share == 0.0:
        return np.tile(base, (draws, 1))
    uniform = np.random.default_rng(seed).random((draws, base.size))
    share = 1.0 - (1.0 - uniform) ** (1.0 / (1.0 / misread_share - 1.0))
    return np.asarray(base * (1.0 - share), dtype=np.float64)


@dataclass(frozen=True)
class Influence:
    """What one change does to the ranking.

    Parameters
    ----------
    effect : float
        Change of rank, mean over the candidates (of absolute values).
    most : float
        Largest change of rank of a candidate.
    candidate : int
        Index of the candidate that changes most; −1 if none does.
    best_changed : float
        Share of the best cells that others replace [0–1]; NaN if not asked.
    """

    effect: float
    most: float
    candidate: int
    best_changed: float = float("nan")


def rank_change(before: ArrayLike, after: ArrayLike) -> Influence:
    """Compare two rankings of the same candidates.

    Parameters
    ----------
    before : array of int, shape (candidates,)
        Ranks from 1.
    after : array of int, shape (candidates,) or (draws, candidates)
        Ranks from 1; changes are averaged over the draws.

    Returns
    -------
    Influence
        Without `best_changed`.
    """
    moved = np.abs(np.atleast_2d(np.asarray(after, dtype=np.int64)) - np.asarray(before, dtype=np.int64)).mean(axis=0)
    if moved.size == 0 or moved.max() == 0:
        return Influence(0.0, 0.0, -1)
    return Influence(float(moved.mean()), float(moved.max()), int(moved.argmax()))


def larger(one: Influence, other: Influence) -> Influence:
    """Return the stronger of two changes; the larger share of replaced cells goes with it."""
    strong = max(one, other, key=lambda i: (i.effect, i.most))
    share = np.fmax(one.best_changed, other.best_changed)
    return Influence(strong.effect, strong.most, strong.candidate, float(share))


def weight_influence(
    values: Singles,
    label: Ints,
    count: int,
    weights: ArrayLike,
    *,
    method: str,
    sample: Singles,
    best_pct: float,
) -> list[Influence]:
    """What each criterion's weight changes alone: the criterion left out, and counted twice.

    Parameters
    ----------
    values : array of float32, shape (terms, cells)
        Terms of the candidates' cells; NaN = unknown.
    label : array of int, shape (cells,)
        Candidate of each cell, 0 to count − 1.
    count : int
        Number of candidates; may be 0.
    weights : array of float, shape (terms,)
        Chosen weights; the others keep their ratios.
    method : str
        One of `score.METHODS`; under `lowest` no weight changes anything.
    sample : array of float32, shape (terms, cells)
        Terms of all cells, or of an even sample, for `best_changed`.
    best_pct : float
        Cells that count as the best [%].

    Returns
    -------
    list of Influence
        One per weight, the stronger of the two ways.
    """
    w = np.asarray(weights, dtype=np.float64)
    if method == "lowest":
        return [Influence(0.0, 0.0, -1, 0.0) for _ in w]
    rows = [w]
    for k in range(w.size):
        for factor in FACTORS:
            changed = w.copy()
            changed[k] *= factor
            rows.append(changed if changed.sum() > 0 else w)
    tried = np.array([r / r.sum() for r in rows], dtype=np.float32)
    sums = weighted_sums(sample, tried)
    # left out, a criterion may leave a cell without any known one: it is then not among the best
    sums[np.isnan(sums)] = -np.inf
    best = sums >= thresholds(sample, tried, best_pct)[:, np.newaxis]
    placed = ranks(candidate_means(values, tried, label, count, method)) if count else np.zeros((len(tried), 0), int)
    found = []
    for k in range(w.size):
        ways = []
        for i in range(len(FACTORS)):
            row = 1 + k * len(FACTORS) + i
            change = rank_change(placed[0], placed[row])
            replaced = float((best[0] & ~best[row]).sum() / best[0].sum())
            ways.append(Influence(change.effect, change.most, change.candidate, replaced))
        found.append(larger(*ways))
    return found
