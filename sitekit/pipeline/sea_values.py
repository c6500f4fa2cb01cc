"""What the sea is like at one cell: every field of tide, waves, light and heat, whether a criterion reads it or not."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import rasterio
from rasterio.windows import Window

from sitekit.pipeline.fields import SEA_FILE, SEA_RASTER
from sitekit.pipeline.project import Project


@dataclass(frozen=True)
class SeaValue:
    """One field at one cell.

    Parameters
    ----------
    field, unit, meaning : str
        As in `sea.json`.
    value : float or None
        None where unknown; toward the open sea that is never calm.
    everywhere : bool
        True where one pixel or station gives the whole grid this value, so that it ranks no cell.
    """

    field: str
    unit: str
    meaning: str
    value: float | None
    everywhere: bool

    def line(self) -> str:
        """Return the value with its meaning, for people."""
        said = "unknown" if self.value is None else shown(self.value, self.unit)
        return f"{self.field}: {said} ({self.meaning}{'; the same on the whole grid' if self.everywhere else ''})"


def shown(value: float, unit: str, *, with_unit: bool = True) -> str:
    """Return a value for people, in the unit in which curves read it: lengths of 100 m and more whole, three figures."""
    number = f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return f"{number} {unit}" if with_unit and unit != "0-1" else number


def sea_at(project: Project, cell: tuple[int, int]) -> tuple[SeaValue, ...]:
    """Return the fields at a cell (row, column), in the order of the raster's bands; none without tables of the sea."""
    path = project.result(SEA_FILE)
    if not path.exists():
        return ()
    note = json.loads(path.read_text("utf-8"))
    with rasterio.open(project.result(SEA_RASTER)) as file:
        values = file.read(window=Window(cell[1], cell[0], 1, 1))[:, 0, 0]
    return tuple(
        SeaValue(
            row["field"],
            row["unit"],
            row["meaning"],
            None if np.isnan(values[row["band"] - 1]) else float(values[row["band"] - 1]),
            row["from"] == "heat" and bool(note["heat_is_flat"]),
        )
        for row in note["fields"]
    )
