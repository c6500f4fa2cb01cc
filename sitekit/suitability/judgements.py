"""Weights of named criteria, and how they came about: numbers, a ranking, or judgements of pairs."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sitekit.errors import Faults
from sitekit.suitability.weights import Pairwise, direct, pairwise, ranked

RECIPROCAL_WITHIN = 0.02  # house choice: 0.33 for a third passes, 0.3 does not
SCALE = 9.0  # Saaty 1980, recalled: judgements run from 1/9 to 9


@dataclass(frozen=True)
class Weighed:
    """Weights of a species' criteria with their origin.

    Parameters
    ----------
    weights : dict of str to float
        Criterion name -> weight; sum 1.
    method : str
        `direct`, `ranked` or `pairwise`.
    said : str
        One sentence for people.
    pairs : Pairwise or None
        Consistency, for judgements of pairs.
    judged : list of str
        What the team said, one line each.
    """

    weights: dict[str, float]
    method: str
    said: str
    pairs: Pairwise | None = None
    judged: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """Return what a decision record needs, JSON-like."""
        found: dict[str, Any] = {
            "method": self.method,
            "said": self.said,
            "weights": self.weights,
            "judged": self.judged,
        }
        if self.pairs is not None:
            names = list(self.weights)
            worst = self.pairs.worst
            found["consistency_ratio"] = self.pairs.consistency_ratio
            found["consistent"] = self.pairs.consistent
            found["random_index"] = "saaty-1980"
            found["worst"] = (
                None
                if worst is None
                else {
                    "criterion": names[worst[0]],
                    "over": names[worst[1]],
                    "times": worst[2],
                    "implied": worst[3],
                }
            )
        return found


def weigh_numbers(names: Sequence[str], numbers: Mapping[str, float], *, where: str = "weights") -> Weighed:
    """Weights from one number per criterion.

    Parameters
    ----------
    names : sequence of str
        Criteria of the species, in order.
    numbers : mapping of str to float
        ≥ 0, at least one above 0; a criterion at 0 counts for nothing.
    where : str
        Settings key, for faults.

    Raises
    ------
    InputFault
        Naming every unknown, missing or negative criterion, and numbers that are all 0.
    """
    with Faults() as faults:
        _named(names, numbers, where, faults)
        for name, value in numbers.items():
            if value < 0:
                faults.add(f"{where}.{name}", f"{value:g}", "a number ≥ 0", "Correct it; 0 switches a criterion off.")
        if numbers and all(value == 0 for value in numbers.values()):
            faults.add(where, "all weights are 0", "one above 0", "Give at least one criterion a weight.")
    w = direct([numbers[n] for n in names])
    shares = dict(zip(names, w.tolist(), strict=True))
    return Weighed(shares, "direct", "numbers given by the team", judged=[f"{n}: {numbers[n]:g}" for n in names])


def weigh_ranks(names: Sequence[str], ranks: Mapping[str, int], *, where: str = "weights") -> Weighed:
    """Weights from a rank per criterion (rank-order centroid, see `weights.ranked`).

    Parameters
    ----------
    names : sequence of str
        Criteria of the species, in order.
    ranks : mapping of str to int
        1 weighs most; ties share a rank (1, 2, 2, 4).
    where : str
        Settings key, for faults.

    Raises
    ------
    InputFault
        Naming every unknown or missing criterion, or ranks that are no ranking.
    """
    with Faults() as faults:
        _named(names, ranks, where, faults)
        values = [ranks[n] for n in names if n in ranks]
        due = [1 + sum(other < v for other in values) for v in values]
        if not faults.found and due != values:
            told = ", ".join(f"{n} = {r}" for n, r in ranks.items())
            faults.add(where, f"ranks {told}", "1, 2, 3 … with ties shared (1, 2, 2, 4)", "Rank all criteria from 1.")
    w = ranked(values)
    shares = dict(zip(names, w.tolist(), strict=True))
    order = sorted(names, key=lambda n: (ranks[n], names.index(n)))
    return Weighed(
        shares,
        "ranked",
        "centroid of the ranking (Barron & Barrett 1996): " + ", ".join(f"{ranks[n]} {n}" for n in order),
        judged=[f"{n}: rank {ranks[n]}" for n in names],
    )


def weigh_pairs(
    names: Sequence[str], judgements: Sequence[tuple[str, str, float]], *, where: str = "weights"
) -> Weighed:
    """Weights from judgements of every pair of criteria (see `weights.pairwise`).

    Parameters
    ----------
    names : sequence of str
        Criteria of the species, in order; at most 10.
    judgements : sequence of (criterion, other, times)
        The first counts `times` as much as the other, 1/9 to 9. Each pair once; if a pair stands both ways round, the
        two must be reciprocal.
    where : str
        Settings key, for faults.

    Raises
    ------
    InputFault
        Naming unknown criteria, pairs that are missing, given twice or not reciprocal, and numbers off the scale.
    """
    given: dict[tuple[str, str], float] = {}
    with Faults() as faults:
        for i, (one, other, times) in enumerate(judgements):
            key = f"{where}.judgements[{i + 1}]"
            unknown = [n for n in (one, other) if n not in names]
            for name in unknown:
                _unknown(name, names, key, faults)
            if unknown:
                continue
            if one == other:
                faults.add(key, f"{one!r} against itself", "two criteria", "Remove it.")
            elif not 1.0 / SCALE - 1e-3 <= times <= SCALE:
                faults.add(key, f"{times:g} times", "1/9 to 9", "Say how many times more the first one counts.")
            elif (one, other) in given:
                faults.add(key, f"{one!r} over {other!r} a second time", "each pair once", "Remove one of the two.")
            elif (other, one) in given and abs(given[other, one] * times - 1.0) > RECIPROCAL_WITHIN:
                faults.add(
                    key,
                    f"not reciprocal: {other!r} over {one!r} is {given[other, one]:g}, the other way {times:g}",
                    f"{1.0 / given[other, one]:.3g}, or the pair once",
                    "Keep the judgement that you mean.",
                )
            else:
                given[one, other] = float(times)
        if not faults.found:
            for i, one in enumerate(names):
                for other in names[i + 1 :]:
                    if (one, other) not in given and (other, one) not in given:
                        faults.add(where, f"no judgement of {one!r} over {other!r}", "one per pair", "Add it.")
        if len(names) > 10:
            faults.add(where, f"{len(names)} criteria", "at most 10 for pairs", "Rank them, or give numbers.")
    upper = [
        [given[a, b] if (a, b) in given else 1.0 / given[b, a] for b in names[i + 1 :]]
        for i, a in enumerate(names[:-1])
    ]
    result = pairwise(upper)
    return Weighed(
        dict(zip(names, result.weights.tolist(), strict=True)),
        "pairwise",
        f"{len(given)} judgements of pairs: {result.said(names)}",
        result,
        [f"{a} over {b}: {t:g}" for (a, b), t in given.items()],
    )


def _named(names: Sequence[str], given: Mapping[str, Any], where: str, faults: Faults) -> None:
    for name in given:
        if name not in names:
            _unknown(name, names, f"{where}.{name}", faults)
    for name in names:
        if name not in given:
            faults.add(where, f"criterion {name!r} is missing", "every criterion of the species", "Add it.")


def _unknown(name: str, names: Sequence[str], where: str, faults: Faults) -> None:
    near = difflib.get_close_matches(name, names, n=1)
    hint = f"Did you mean {near[0]!r}?" if near else "Add [[criteria]] of that name, or remove it."
    faults.add(where, f"no criterion {name!r}", "one of " + ", ".join(names), hint)
