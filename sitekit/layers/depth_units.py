"""Depths that people read beside the mapped ones: years whose numbers are feet or fathoms are found, and asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sitekit.base.units import METRES_PER

UNITS = ("m", "ft", "fathom")
_LEAST_ROWS = 3
_LEAST_DEPTH_M = 1.0  # below it a tide or an error of the survey hides the unit
# A group is told apart if its median ratio lies within 25 % of a unit's factor. Feet stand 3.28 times the metres and
# fathoms 0.55 times, so the bands 2.46 to 4.10, 0.75 to 1.25 and 0.41 to 0.68 do not touch. The width is ours.
_WITHIN = 0.25


@dataclass(frozen=True)
class Compared:
    """Depths of one group beside the map: rows compared, median of number over mapped depth, the unit that fits, if any."""

    group: str
    rows: int
    ratio: float
    unit: str | None


def depth_units(read: ArrayLike, mapped: ArrayLike, groups: Sequence[str]) -> tuple[Compared, ...]:
    """Return the unit in which the numbers of each group fit the map.

    Parameters
    ----------
    read : array_like, shape (n,)
        Depths as they stand in the file, in whatever unit; NaN where none.
    mapped : array_like, shape (n,)
        Depths of the map at the same places [m, positive down]; NaN where unknown.
    groups : sequence of str, shape (n,)
        Year, or empty.

    Returns
    -------
    tuple of Compared
        One per group of at least three rows on the map.

    Notes
    -----
    Depths under 1 m are left out. Tides and errors of a metre or two do not reach a factor of 3.28 or 0.55 in the median.
    """
    a, b = np.abs(np.asarray(read, np.float64)), np.asarray(mapped, np.float64)
    names = np.asarray(list(groups), dtype=str)
    usable = np.isfinite(a) & np.isfinite(b) & (b > _LEAST_DEPTH_M) & (a > 0)
    found = []
    for group in sorted(set(names[usable].tolist())):
        here = usable & (names == group)
        if int(here.sum()) < _LEAST_ROWS:
            continue
        ratio = float(np.median(a[here] / b[here]))
        fits = [u for u in UNITS if abs(ratio * METRES_PER[u] - 1.0) <= _WITHIN]
        found.append(Compared(group, int(here.sum()), ratio, fits[0] if fits else None))
    return tuple(found)
