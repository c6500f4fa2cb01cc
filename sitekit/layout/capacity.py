"""How many units a bottom holds, beside what it can hold at most, with and without the laying tolerance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.layout.bound import bound
from sitekit.layout.spacing import place

MOST_ALONG_EDGES = 40_000  # cells; on larger bottoms the bound's gain along edges (about 1 %) costs seconds


@dataclass(frozen=True)
class Capacity:
    """Units at two separations.

    Parameters
    ----------
    capacity, bound : int
        Found, and at most, at the planned separation (tolerance added).
    capacity_at_d, bound_at_d : int
        The same at the separation asked for.
    """

    capacity: int
    bound: int
    capacity_at_d: int
    bound_at_d: int

    @property
    def least_share(self) -> float:
        """At least this share of what is possible is reached at the planned separation, 0–1; 1 where nothing fits."""
        return self.capacity / self.bound if self.bound else 1.0


def capacity(
    allowed: NDArray[np.bool_],
    *,
    west_m: float,
    north_m: float,
    cell_m: float,
    separation_m: float,
    planned_separation_m: float,
    margin_m: float = 0.0,
    clear_points: ArrayLike | None = None,
    clear_radii_m: ArrayLike | None = None,
    seed: int = 0,
) -> Capacity:
    """Return how many units fit on a bottom, at the separation asked for and at the planned one.

    Parameters
    ----------
    allowed, west_m, north_m, cell_m, clear_points, clear_radii_m, seed
        As in `spacing.place`.
    separation_m, planned_separation_m : float
        Without and with the laying tolerance [m]; the planned one is not smaller.
    margin_m : float
        By how much units are laid farther apart, so that readings rounded for the tape keep the separation [m]; the
        bound knows no such margin.

    Notes
    -----
    Never says "optimal": the bound is proven, the layout is found. What is laid has the planned separation; at the one
    asked for, which only tells what the tolerance costs, fewer layouts compete (about 1 % of units) and the bound along
    edges (about 1 %) is left out.
    """
    even = np.ones(allowed.shape, np.float32)

    def at(separation: float, thorough: bool) -> tuple[int, int]:
        found = place(
            allowed,
            even,
            west_m=west_m,
            north_m=north_m,
            cell_m=cell_m,
            separation_m=separation + margin_m,
            clear_points=clear_points,
            clear_radii_m=clear_radii_m,
            seed=seed,
            thorough=thorough,
        )
        along_edges = thorough and bool(allowed.sum() <= MOST_ALONG_EDGES)
        most = bound(allowed, even, cell_m=cell_m, separation_m=separation, along_edges=along_edges)
        return found.easting.size, most.count

    planned = at(planned_separation_m, True)
    asked = planned if planned_separation_m == separation_m else at(separation_m, False)
    return Capacity(planned[0], planned[1], max(asked[0], planned[0]), max(asked[1], planned[1]))
