"""What the page is given: responses per cell, what is out, and the figures of the run to compare with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Faults
from sitekit.layers.grid import Grid

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

METHODS = ("geometric mean", "mean", "lowest")  # the words of score.combine
MOST_CRITERIA = 24


@dataclass(frozen=True)
class Weighted:
    """One criterion of one species.

    Parameters
    ----------
    name : str
        As in plan.toml.
    weight : float
        Of the plan, ≥ 0.
    response : int
        Place of its responses in `ExploreScene.responses`.
    source : str
        Of its curve.
    verified : bool
        Whether someone read the curve's values in that source.
    """

    name: str
    weight: float
    response: int
    source: str
    verified: bool


@dataclass(frozen=True)
class Judged:
    """One species: its criteria, and what the run found.

    Parameters
    ----------
    code, name : str
        Code and name.
    criteria : tuple of Weighted
        In the order of the plan.
    unit_area_m2 : float
        Area one unit takes in the bound [m²]: √3/2 · separation² at the planned separation.
    layout_share : float
        Units that the run's layout placed as capacity / area of its candidates over `unit_area_m2`; NaN without any.
    separation_m : float
        Planned separation [m].
    passing_m2 : float
        Area that passes in the run [m²].
    """

    code: str
    name: str
    criteria: tuple[Weighted, ...]
    unit_area_m2: float
    layout_share: float
    separation_m: float
    passing_m2: float


@dataclass(frozen=True)
class ExploreScene:
    """Everything the page shows.

    Parameters
    ----------
    title, run_id, date, datum : str
        Of the plan.
    grid : Grid
        Of all arrays.
    cell_m2 : float
        Area of a cell on the ellipsoid [m²].
    depth : array of float32, shape of the grid
        [m], positive down, NaN missing.
    exclusion : array of uint8
        Reason codes without "too much is unknown", which depends on the weights.
    reasons : dict of int to str
        Words for the codes that occur.
    responses : array of uint16, shape (responses, rows, columns)
        Codes of `coding`.
    species : tuple of Judged
        At least one.
    method : str
        One of `METHODS`.
    passing, max_unknown_weight : float
        0–1.
    least_area_m2 : float
        Of a candidate [m²].
    candidates, sites : GeoDataFrame
        Of the run, in the grid's CRS.
    every : int
        1, or k where only every k-th row and column of the run's grid is shown.
    scout, fictional : bool
        As on the map.
    cautions, notes : tuple of str
        Printed on the page.

    Raises
    ------
    InputFault
        If shapes, methods or counts do not fit.
    """

    title: str
    run_id: str
    date: str
    datum: str
    grid: Grid
    cell_m2: float
    depth: NDArray[np.float32]
    exclusion: NDArray[np.uint8]
    reasons: dict[int, str]
    responses: NDArray[np.uint16]
    species: tuple[Judged, ...]
    method: str
    passing: float
    max_unknown_weight: float
    least_area_m2: float
    candidates: GeoDataFrame | None = None
    sites: GeoDataFrame | None = None
    every: int = 1
    scout: bool = False
    fictional: bool = False
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        with Faults() as faults:
            for what, shape in (
                ("depth", self.depth.shape),
                ("exclusion", self.exclusion.shape),
                ("responses", self.responses.shape[1:]),
            ):
                if shape != self.grid.shape:
                    faults.add(what, f"shape {shape}", f"{self.grid.shape}", "Bring it onto the page's grid.")
            if self.method not in METHODS:
                faults.add("method", repr(self.method), " | ".join(METHODS), "Correct score.combine.")
            if not self.species:
                faults.add("species", "none", "at least one", "Give the plan a species.")
            for one in self.species:
                if not 1 <= len(one.criteria) <= MOST_CRITERIA:
                    faults.add(
                        f"species {one.code}",
                        f"{len(one.criteria)} criteria",
                        f"1 to {MOST_CRITERIA}",
                        "Join criteria: nobody weighs so many by hand.",
                    )
                lost = [c.name for c in one.criteria if not 0 <= c.response < len(self.responses)]
                if lost:
                    faults.add(f"species {one.code}", f"no responses of {', '.join(lost)}", "all", "Give them.")
