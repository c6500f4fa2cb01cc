"""What lies beyond the grid, and the reach of a wind over the cells of a plan once that is said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Faults
from sitekit.seabed.fetch import fetch, fetch_depth
from sitekit.seabed.wind import SwellTable


@dataclass(frozen=True)
class OpenWater:
    """What the user knows of the water beyond the grid.

    Parameters
    ----------
    fetch_limit_m : float, optional
        Open rays count as at least this long [m]: the distance to the far shore, or what the storms there are wide.
    swell : SwellTable, optional
        Sea that arrives from outside. Open winds then raise waves over the water inside the grid only, and the swell
        comes on top, along the same open rays.

    Raises
    ------
    InputFault
        If the limit is not above 0.
    """

    fetch_limit_m: float | None = None
    swell: SwellTable | None = None

    def __post_init__(self) -> None:
        with Faults() as faults:
            if self.fetch_limit_m is not None and not 0 < self.fetch_limit_m < 5e6:
                faults.add("fetch_limit_m", f"{self.fetch_limit_m} m", "above 0, below 5,000 km", "Give it in metres.")


def reach_of(
    surface: NDArray[np.uint8],
    depth: NDArray[np.float64],
    cell_m: float,
    bearings: NDArray[np.float64],
    *,
    convergence_deg: float,
    use: NDArray[np.bool_],
    shallow: bool,
    water: OpenWater,
) -> tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.float64]]:
    """Fetch, open flag and (if wanted) mean depth of the used cells, one direction at a time to save memory."""
    size = int(use.sum())
    reach = np.empty((bearings.size, size), dtype=np.float32)
    is_open = np.empty((bearings.size, size), dtype=np.bool_)
    along = np.empty((bearings.size if shallow else 0, size))
    for k, bearing in enumerate(bearings):
        length, edge = fetch(surface, cell_m, [bearing], convergence_deg=convergence_deg)
        reach[k], is_open[k] = length[0][use], edge[0][use]
        if shallow:
            along[k] = fetch_depth(surface, depth, cell_m, float(bearing), convergence_deg=convergence_deg)[use]
    if water.fetch_limit_m is not None:
        reach = np.where(is_open, np.maximum(reach, np.float32(water.fetch_limit_m)), reach)
    return reach, is_open, along
