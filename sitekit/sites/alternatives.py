"""What else could be chosen, what it would cost, and which limit stands in the way."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sitekit.sites.choose import choose
from sitekit.sites.problem import Choice, Flags, Problem

# House choice: from a quarter of the budget to three times as much, halved and doubled among them.
SHARES = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
PAIRS_UP_TO = 300  # house choice: with more candidates trying all pairs of rules would take minutes


@dataclass(frozen=True)
class Step:
    """One point of gain against budget: the share of every limit, and the best choice there."""

    share: float
    choice: Choice


def next_best(problem: Problem, best: Choice, number: int, *, gap_pct: float = 0.0) -> list[Choice]:
    """Return the next-best choices, each another set of sites than those before it, best first.

    Parameters
    ----------
    problem : Problem
        As solved.
    best : Choice
        Its answer.
    number : int
        How many; fewer where the limits allow no more.
    gap_pct : float
        As in `choose`.
    """
    found = [best]
    while best.feasible and len(found) <= number:
        more = choose(problem, gap_pct=gap_pct, cuts=tuple(c.taken for c in found))
        if not more.feasible or not more.taken.any():
            break
        found.append(more)
    return found[1:]


def if_decided(problem: Problem, row: int, *, taken: bool, gap_pct: float = 0.0) -> Choice:
    """Return the best choice when one candidate is taken, or left out, whatever the rest.

    Parameters
    ----------
    problem : Problem
        As solved.
    row : int
        The candidate.
    taken : bool
        True: it must be taken; false: it must not.
    gap_pct : float
        As in `choose`.
    """
    key = "forced_in" if taken else "forced_out"
    other = "forced_out" if taken else "forced_in"
    flags, free = getattr(problem, key).copy(), getattr(problem, other).copy()
    flags[row], free[row] = True, False
    return choose(
        replace(problem, forced_in=flags if taken else free, forced_out=free if taken else flags), gap_pct=gap_pct
    )


def gain_against_budget(
    problem: Problem, best: Choice, shares: Sequence[float] = SHARES, *, gap_pct: float = 0.0
) -> list[Step]:
    """Return the best choice at shares of every limit of the budget.

    What fits a smaller budget fits a larger one, so a step never gives less than the one before, even with a gap.

    Parameters
    ----------
    problem : Problem
        As solved, with at least one limit.
    best : Choice
        Its answer, used at share 1.
    shares : sequence of float
        Rising, > 0.
    gap_pct : float
        As in `choose`.
    """
    steps: list[Step] = []
    for share in shares:
        if share == 1.0:
            found = best
        else:
            found = choose(at_share(problem, share), gap_pct=gap_pct)
        if steps and steps[-1].choice.value > found.value:
            found = steps[-1].choice
        steps.append(Step(share, found))
    return steps


def at_share(problem: Problem, share: float) -> Problem:
    """Return the same problem with every limit of the budget multiplied by `share`, > 0."""
    return replace(problem, limits=tuple(replace(one, amount=one.amount * share) for one in problem.limits))


def binding(problem: Problem) -> list[str]:
    """Return the names of what keeps a problem without an answer from having one, each by itself enough to open it.

    Each limit of the budget and each rule is lifted alone; what then has an answer with at least one site is named. Where
    none does, two are lifted together ("dives and least_sites together"), up to `PAIRS_UP_TO` candidates. An empty list
    says that more than two stand in the way.
    """
    lifts = _lifts(problem)
    alone = [name for name, lift in lifts if _allows_something(lift(problem))]
    if alone or len(problem.most) > PAIRS_UP_TO:
        return alone
    return [
        f"{one} and {other} together"
        for (one, first), (other, second) in itertools.combinations(lifts, 2)
        if _allows_something(second(first(problem)))
    ]


def held_back(
    problem: Problem, best: Choice, more: Sequence[tuple[str, Problem]] = (), *, gap_pct: float = 0.0
) -> list[tuple[str, float]]:
    """Return what holds a choice back: each limit or rule that alone, if lifted, would give more, and how much [%].

    Parameters
    ----------
    problem : Problem
        As solved.
    best : Choice
        Its answer, feasible.
    more : sequence of (name, Problem)
        The problem with further rules lifted, of the caller's.
    gap_pct : float
        As in `choose`; what gains no more than that is left out.

    Returns
    -------
    list of (name, gain in % of the choice), largest first.
    """
    gains = []
    for name, one in [*((name, lift(problem)) for name, lift in _lifts(problem)), *more]:
        found = choose(one, gap_pct=gap_pct)
        gain = 100.0 * (found.value - best.value) / best.value if best.value > 0 else 0.0
        if found.feasible and gain > max(gap_pct, 0.01):
            gains.append((name, gain))
    return sorted(gains, key=lambda g: (-g[1], g[0]))


def _lifts(problem: Problem) -> list[tuple[str, Callable[[Problem], Problem]]]:
    """Return how each limit and each rule is lifted alone."""
    n = len(problem.most)
    return [
        *((one.name, partial(Problem.without, name=one.name)) for one in problem.limits),
        ("least_per_site", lambda p: replace(p, least=np.minimum(p.least, 1))),
        ("most_per_site or pilot_units", lambda p: replace(p, most=p.capacity.sum(axis=1))),
        ("least_sites", lambda p: replace(p, least_sites=0)),
        ("most_sites", lambda p: replace(p, most_sites=n)),
        ("least_distance_m", lambda p: replace(p, pairs=np.zeros((0, 2), np.int64))),
        ("genet_sites", lambda p: replace(p, genet_sites=1)),
        ("force_in", lambda p: replace(p, forced_in=np.zeros(n, bool))),
        ("stock", lambda p: replace(p, stock=p.capacity.sum(axis=0))),
    ]


def _allows_something(problem: Problem) -> bool:
    found = choose(problem, gap_pct=100.0)
    return found.feasible and bool(found.taken.any())


def clashes(problem: Problem) -> list[tuple[int, int]]:
    """Return the pairs of forced-in candidates that lie nearer to each other than allowed."""
    forced: NDArray[np.bool_] = problem.forced_in
    return [(int(i), int(j)) for i, j in problem.pairs if forced[i] and forced[j]]


def changed(before: Flags, after: Flags) -> tuple[list[int], list[int]]:
    """Return which candidates a choice adds and which it drops against another one."""
    added, dropped = np.flatnonzero(after & ~before), np.flatnonzero(before & ~after)
    return added.tolist(), dropped.tolist()
