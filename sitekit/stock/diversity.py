"""How mixed a stock is: genets, evenness, the share of alleles, and whole numbers that add up exactly.

Counts are outplant units (or fragments) per genet. The genetics here are sampling arithmetic on genets, never a
forecast of survival.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Fault, InputFault

# Shearer T.L. et al. 2009, Coral Reefs 28:727-733 (abstract): 10 random local donors hold over 50 % of a population's
# alleles, 35 over 90 %; four species [source key: shearer-2009].
ALLELE_SHARE_PCT = ((35, 90.0), (10, 50.0))


@dataclass(frozen=True)
class Diversity:
    """Indices of one collection of units.

    Parameters
    ----------
    units, genets : int
        Units N, and genets G that have at least one.
    richness : float
        Clonal richness R = (G - 1)/(N - 1), 0-1; NaN for one unit (0/0). Dorken & Eckert 2001.
    genets_per_unit : float
        G/N.
    simpson : float
        Σ p², the chance that two draws with replacement are alike. Simpson 1949.
    simpson_unbiased : float
        1 - Σ n(n - 1)/(N(N - 1)), the chance that two different units are unlike; NaN for one unit.
    effective_genets : float
        1/Σ p². Stoddart & Taylor 1988.
    effective_genets_unbiased : float
        1/(1 - simpson_unbiased); infinite if all differ.
    shannon : float
        H = -Σ p ln p.
    exp_shannon : float
        e^H.
    evenness : float
        Pielou's J = H/ln G, 0-1; 1 for a single genet (nothing is uneven).
    """

    units: int
    genets: int
    richness: float
    genets_per_unit: float
    simpson: float
    simpson_unbiased: float
    effective_genets: float
    effective_genets_unbiased: float
    shannon: float
    exp_shannon: float
    evenness: float


def diversity(counts: ArrayLike) -> Diversity:
    """Return the indices of a collection from its units per genet.

    Parameters
    ----------
    counts : array_like of int
        Units per genet, ≥ 0; zeros do not count as genets.

    Returns
    -------
    Diversity
        See there for each formula.

    Raises
    ------
    InputFault
        If a count is negative or no whole number, or there are no units.

    References
    ----------
    Simpson 1949; Pielou 1966; Stoddart & Taylor 1988, Genetics 118; Dorken & Eckert 2001, J. Ecol. 89 (recalled).
    """
    n = _whole(counts)
    total, kinds = int(n.sum()), int(n.size)
    p = n / total
    simpson = float((p**2).sum())
    alike = float((n * (n - 1)).sum()) / (total * (total - 1)) if total > 1 else math.nan
    shannon = max(0.0, float(-(p * np.log(p)).sum()))
    return Diversity(
        units=total,
        genets=kinds,
        richness=(kinds - 1) / (total - 1) if total > 1 else math.nan,
        genets_per_unit=kinds / total,
        simpson=simpson,
        simpson_unbiased=1.0 - alike,
        effective_genets=1.0 / simpson,
        effective_genets_unbiased=math.inf if alike == 0 else 1.0 / alike,
        shannon=shannon,
        exp_shannon=math.exp(shannon),
        evenness=shannon / math.log(kinds) if kinds > 1 else 1.0,
    )


def rarefied_genets(counts: ArrayLike, drawn: int) -> float:
    """Return the genets expected among `drawn` units taken at random, without replacement.

    Parameters
    ----------
    counts : array_like of int
        Units per genet, ≥ 0.
    drawn : int
        Units taken, 1 to their sum.

    Returns
    -------
    float
        Σ 1 - C(N - n, k)/C(N, k).

    Raises
    ------
    InputFault
        If more are drawn than there are, or none.

    References
    ----------
    Hurlbert 1971, Ecology 52 (recalled).
    """
    n = _whole(counts)
    total = int(n.sum())
    if not 1 <= drawn <= total:
        raise InputFault(Fault("drawn", f"{drawn} units", f"1 to {total}", "Draw fewer."))
    whole = math.comb(total, drawn)
    return float(sum(1.0 - math.comb(total - int(k), drawn) / whole for k in n))


def allele_capture(frequency: ArrayLike, genets: ArrayLike) -> NDArray[np.float64]:
    """Return the chance that a sample of diploid genets holds at least one copy of an allele: 1 - (1 - p)^(2n).

    Parameters
    ----------
    frequency : array_like
        Allele frequency p, 0-1.
    genets : array_like of int
        Distinct genets n (fragments of one genet count once), ≥ 0.

    Returns
    -------
    ndarray
        Probability, 0-1.

    References
    ----------
    Marshall & Brown 1975; Brown & Marshall 1995 (recalled).
    """
    p = np.asarray(frequency, np.float64)
    if not ((p >= 0) & (p <= 1)).all():
        raise InputFault(Fault("frequency", f"{p}", "numbers from 0 to 1", "Give shares, not percent."))
    return np.asarray(1.0 - (1.0 - p) ** (2.0 * np.asarray(genets, np.float64)))


def genets_for_capture(frequency: float, probability: float) -> int:
    """Return the least number of genets that holds an allele of `frequency` with at least `probability`.

    Parameters
    ----------
    frequency, probability : float
        Both strictly between 0 and 1.

    Returns
    -------
    int
        ⌈ln(1 - P) / (2 ln(1 - p))⌉.
    """
    for name, value in (("frequency", frequency), ("probability", probability)):
        if not 0 < value < 1:
            raise InputFault(Fault(name, f"{value}", "a number between 0 and 1", "Give a share, not percent."))
    return math.ceil(math.log(1.0 - probability) / (2.0 * math.log(1.0 - frequency)) - 1e-9)


def expected_alleles(frequencies: ArrayLike, genets: int) -> float:
    """Return the number of alleles of one locus expected in a sample of diploid genets: Σ 1 - (1 - p)^(2n)."""
    return float(allele_capture(frequencies, genets).sum())


def heterozygosity_retained(genets: ArrayLike) -> NDArray[np.float64]:
    """Return the share of a population's heterozygosity that N founders carry on: 1 - 1/(2N) (Wright; recalled)."""
    return np.asarray(1.0 - 1.0 / (2.0 * np.asarray(genets, np.float64)))


def allele_share_at_least_pct(genets: int) -> float | None:
    """Return the published share of a population's alleles that so many random local genets exceed [%].

    Only the two published figures are used (10 → over 50 %, 35 → over 90 %); nothing is drawn between them, and below
    10 the answer is None.

    References
    ----------
    Shearer T.L. et al. 2009, Coral Reefs 28:727-733 (abstract).
    """
    for least, share in ALLELE_SHARE_PCT:
        if genets >= least:
            return share
    return None


def largest_remainder(shares: ArrayLike, total: int) -> NDArray[np.int64]:
    """Return whole numbers in proportion to `shares` that add up to `total` exactly.

    Each gets the whole part of its quota; the rest goes one by one to the largest remainders. Ties: the larger share
    first, then the earlier one.

    Parameters
    ----------
    shares : array_like
        ≥ 0, at least one above 0 (unless total is 0).
    total : int
        ≥ 0.

    Returns
    -------
    ndarray of int64
        Sums to `total`; each within 1 of its quota; never above ⌈quota⌉, so that whole-number shares whose sum is at
        least `total` are never exceeded.

    Raises
    ------
    InputFault
        If a share is negative or not finite, all are 0, or the total is negative.
    """
    w = np.asarray(shares, np.float64)
    if w.ndim != 1 or not np.isfinite(w).all() or (w < 0).any() or total < 0 or (total > 0 and not (w > 0).any()):
        raise InputFault(Fault("shares", f"{w} for {total}", "numbers ≥ 0, not all 0, and a total ≥ 0", "Check."))
    if total == 0:
        return np.zeros(w.size, np.int64)
    quota = w * (total / w.sum())
    # 0.3/0.1 is 2.9999999999999996: a quota a rounding error below a whole number counts as that number.
    whole = np.floor(quota + 1e-9 * np.maximum(1.0, quota)).astype(np.int64)
    rest = np.round(quota - whole, 9)
    left = int(total - whole.sum())
    order = np.lexsort((np.arange(w.size), -w, -rest))
    whole[order[:left]] += 1
    return np.asarray(whole, np.int64)


def counts_per_group(group_units: ArrayLike, genet_counts: ArrayLike) -> NDArray[np.int64]:
    """Return how many units of each genet each group (plot) gets: both margins exact, each group its own even mix.

    Group after group takes its share of what is left by largest remainder.

    Parameters
    ----------
    group_units : array_like of int, shape (groups,)
        Units per group.
    genet_counts : array_like of int, shape (genets,)
        Units per genet; their sum equals that of `group_units`.

    Returns
    -------
    ndarray of int64, shape (groups, genets)
        Rows sum to `group_units`, columns to `genet_counts`.

    Raises
    ------
    InputFault
        If the two sums differ or a number is negative.
    """
    units = np.asarray(group_units, np.int64)
    left = np.asarray(genet_counts, np.int64).copy()
    if units.sum() != left.sum() or (units < 0).any() or (left < 0).any():
        came = f"{int(units.sum())} units in groups, {int(left.sum())} of all genets"
        raise InputFault(Fault("genet counts", came, "equal sums of numbers ≥ 0", "Cut the longer one first."))
    out = np.zeros((units.size, left.size), np.int64)
    for group, wanted in enumerate(units):
        out[group] = largest_remainder(left, int(wanted))
        left -= out[group]
    return out


def _whole(counts: ArrayLike) -> NDArray[np.int64]:
    values = np.asarray(counts, np.float64)
    if not (np.isfinite(values).all() and (values >= 0).all() and (values == np.floor(values)).all() and values.any()):
        raise InputFault(Fault("counts", f"{values}", "whole numbers ≥ 0, at least one above 0", "Count units."))
    return values[values > 0].astype(np.int64)
