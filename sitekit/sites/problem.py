"""What a choice of sites is about: candidates, what they hold and use, the limits, and an answer."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Faults

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Limit:
    """Something the season has only so much of.

    Parameters
    ----------
    name : str
        For people, with its unit.
    amount : float
        How much there is, ≥ 0.
    per_site : ndarray, shape (n,)
        What taking a site uses, ≥ 0, whatever is planted.
    per_unit : ndarray, shape (n, s)
        What one unit of each species uses there, ≥ 0.
    """

    name: str
    amount: float
    per_site: Floats
    per_unit: Floats

    def used(self, taken: Flags, units: Ints) -> float:
        """Return what a choice uses of it."""
        return float(self.per_site[taken].sum() + (self.per_unit * units).sum())


@dataclass(frozen=True)
class Problem:
    """Candidates (n) and species (s) as the choice sees them.

    Parameters
    ----------
    value : ndarray, shape (n, s)
        Suitability of one unit, ≥ 0.
    capacity : ndarray of int, shape (n, s)
        Units that fit of each species alone.
    room : ndarray, shape (n,)
        Most of Σ units / capacity over species, above 0 to 1.
    stock : ndarray of int, shape (s,)
        Units there are to plant.
    least, most : ndarray of int, shape (n,)
        Units at a site that is taken, all species together.
    pairs : ndarray of int, shape (m, 2)
        Candidates that must not both be taken.
    limits : tuple of Limit
        All kept.
    forced_in, forced_out : ndarray of bool, shape (n,)
        Decided already.
    least_sites, most_sites : int
        Number of sites taken.
    genets : ndarray of int, shape (s,)
        Genets per species; a site counts for `genet_sites` where each has at least one unit.
    genet_sites : int
        Sites at which each genet must stand, ≥ 1.
    slots : ndarray of int, shape (s,)
        Units of a full plot of each species; a species takes whole plots, Σ plots / plots that fit ≤ room. 0 where units
        need no plots.
    """

    value: Floats
    capacity: Ints
    room: Floats
    stock: Ints
    least: Ints
    most: Ints
    pairs: Ints
    limits: tuple[Limit, ...]
    forced_in: Flags
    forced_out: Flags
    least_sites: int
    most_sites: int
    genets: Ints
    genet_sites: int
    slots: Ints

    def __post_init__(self) -> None:
        n, s = self.value.shape
        with Faults() as faults:
            for name, shape in (
                ("capacity", (n, s)),
                ("room", (n,)),
                ("stock", (s,)),
                ("least", (n,)),
                ("most", (n,)),
                ("forced_in", (n,)),
                ("forced_out", (n,)),
                ("genets", (s,)),
                ("slots", (s,)),
            ):
                if getattr(self, name).shape != shape:
                    faults.add(name, f"shape {getattr(self, name).shape}", f"{shape}", "Give one per candidate.")
            if not np.isfinite(self.value).all() or (self.value < 0).any():
                faults.add("value", "a negative or unknown value", "numbers ≥ 0", "Score the candidates first.")
            for name in ("capacity", "stock", "least", "most", "genets", "slots"):
                if (getattr(self, name) < 0).any():
                    faults.add(name, "a negative number", "whole numbers ≥ 0", "Correct it.")
            for limit in self.limits:
                if limit.amount < 0 or (limit.per_site < 0).any() or (limit.per_unit < 0).any():
                    faults.add(limit.name, "a negative amount or rate", "numbers ≥ 0", "Correct it.")
                if not (np.isfinite(limit.per_site).all() and np.isfinite(limit.per_unit).all()):
                    faults.add(limit.name, "an unknown rate", "numbers ≥ 0", "Force such a site out.")

    def without(self, name: str) -> Problem:
        """Return the same problem without one of its limits."""
        return replace(self, limits=tuple(one for one in self.limits if one.name != name))


@dataclass(frozen=True)
class Choice:
    """An answer.

    Parameters
    ----------
    taken : ndarray of bool, shape (n,)
        Sites taken.
    units : ndarray of int, shape (n, s)
        Units of each species at each.
    value : float
        Σ value × units.
    gap_pct : float
        At most so far below the best possible [% of the best possible]; infinite where nothing was found.
    feasible : bool
        Whether any choice keeps every limit.
    """

    taken: Flags
    units: Ints
    value: float
    gap_pct: float
    feasible: bool
