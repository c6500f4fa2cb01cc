"""Counts per genet and stretch of tape, for `guided` sheets: the diver picks the clean hard spots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sitekit.errors import Fault, InputFault


@dataclass(frozen=True)
class Segment:
    """Units of one genet to plant between two readings of the tape."""

    from_m: float
    to_m: float
    species: str
    genet: str
    number: int


def segments(
    along_m: ArrayLike, species: Sequence[str], genets: Sequence[str], *, tape_m: float, step_m: float
) -> list[Segment]:
    """Return how many units of each genet go into each stretch of tape.

    Parameters
    ----------
    along_m : array_like, shape (n,)
        Planned readings [m].
    species, genets : sequence of str, shape (n,)
        Of the units.
    tape_m : float
        Length of the tape [m], > 0.
    step_m : float
        Length of a stretch [m], > 0; the last one takes in a rest shorter than half of it.

    Returns
    -------
    list of Segment
        In order along the tape, then by species and genet; counts sum to n. A reading on a mark belongs to the stretch
        that begins there; readings before 0 or beyond the end to the first and the last.

    Raises
    ------
    InputFault
        If a length is not positive.
    """
    if not (tape_m > 0 and step_m > 0):
        raise InputFault(
            Fault("fieldwork.segment_m", f"{step_m:g} m on {tape_m:g} m", "lengths above 0", "Correct it.")
        )
    last = max(0, int(np.floor(tape_m / step_m + 0.5)) - 1)
    at = np.clip(np.floor(np.asarray(along_m, np.float64) / step_m + 1e-9).astype(int), 0, last)
    counts = Counter(zip(at.tolist(), species, genets, strict=True))
    return [
        Segment(k * step_m, tape_m if k == last else (k + 1) * step_m, one, genet, n)
        for (k, one, genet), n in sorted(counts.items())
    ]


def genet_letters(keys: Sequence[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """Return one letter (two beyond 24) per species and genet, the same on every sheet of a set.

    Parameters
    ----------
    keys : sequence of (species, genet)
        May repeat.

    Returns
    -------
    dict
        In order of species and genet: A, B, … without I and O, which read as 1 and 0 on wet paper; then AA, AB, …
    """
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    out = {}
    for k, key in enumerate(sorted(set(keys))):
        rest, last = divmod(k, len(letters))
        out[key] = (letters[(rest - 1) % len(letters)] if rest else "") + letters[last]
    return out
