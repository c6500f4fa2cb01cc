"""What a user knows of the water beyond what the maps show."""

from __future__ import annotations

from dataclasses import dataclass

from sitekit.errors import Faults
from sitekit.seabed.wind import SwellTable


@dataclass(frozen=True)
class OpenWater:
    """What the user knows of the water beyond the maps.

    Parameters
    ----------
    fetch_limit_m : float, optional
        Open rays count as at least this long [m]: the distance to the far shore, or what the storms there are wide.
    swell : SwellTable, optional
        Sea that arrives from outside. Open winds then raise waves over the water inside the maps only, and the swell
        comes on top, along the same open rays. Give it without a limit: both would count the outer sea twice.

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

    @property
    def told(self) -> bool:
        """Whether anything is said about open rays; if not, they are unknown."""
        return self.fetch_limit_m is not None or self.swell is not None
