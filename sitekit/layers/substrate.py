"""Bottom type: each of the user's classes mapped to a class of the standard, then to one code.

References
----------
Coastal and Marine Ecological Classification Standard, FGDC-STD-018-2012, Substrate Component.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pyproj import CRS

from sitekit.base.sources import shared_file
from sitekit.errors import Faults
from sitekit.layers.aligned import Aligned
from sitekit.layers.grid import Grid
from sitekit.layers.polygons import read_polygons
from sitekit.layers.raster import align_raster, rasterize_polygons

UNKNOWN = 0


@cache
def _classes() -> list[dict[str, Any]]:
    return list(json.loads(shared_file("cmecs_substrate.json").read_text("utf-8"))["classes"])


def substrate_codes() -> dict[str, int]:
    """Return class name -> code 1–255 of the standard's classes; 0 is unknown."""
    return {row["name"]: int(row["code"]) for row in _classes()}


def substrate_names() -> dict[int, str]:
    """Return code -> class name."""
    return {code: name for name, code in substrate_codes().items()}


def hard_codes() -> list[int]:
    """Return the codes of hard bottom: rock and reef of 4096 mm or more (the project's reading of the standard)."""
    return [int(row["code"]) for row in _classes() if row["hard"]]


def map_classes(classes: Mapping[str, str], where: str = "layers.substrate.classes") -> dict[str, int]:
    """Return the user's class -> code; a class the survey itself calls unknown is mapped to "unknown", code 0.

    Raises
    ------
    InputFault
        Naming every class that is not one of the standard's, with the nearest names.
    """
    codes = {"unknown": UNKNOWN, **substrate_codes()}
    with Faults() as faults:
        for own, name in classes.items():
            if name not in codes:
                near = difflib.get_close_matches(name, codes, n=3, cutoff=0.3) or sorted(codes)[:3]
                faults.add(
                    f"{where}.{own!r}", repr(name), "a substrate class of CMECS, e.g. " + ", ".join(near), "Correct it."
                )
    return {own: codes[name] for own, name in classes.items()}


def align_substrate(
    path: Path,
    grid: Grid,
    target: Path,
    *,
    classes: Mapping[str, str],
    field: str | None = None,
    band: int = 1,
    crs: str | None = None,
    nodata: float | None = None,
    variable: str | None = None,
) -> Aligned:
    """Bring a substrate map onto the grid as codes.

    Parameters
    ----------
    path : Path
        A raster of class numbers, or polygons when `field` is given.
    grid, target, band, crs, nodata, variable
        As in `align_raster`.
    classes : mapping
        The user's class (number or name, as text) -> class of the standard.
    field : str, optional
        Column of the polygons that holds the class.

    Raises
    ------
    InputFault
        If a class has no code, is not mapped, or nothing overlaps the grid.
    """
    codes = map_classes(classes)
    if field is not None:
        frame, notes = read_polygons(path, to_crs=CRS(grid.crs), crs=crs, where="layers.substrate")
        done = rasterize_polygons(
            frame, field, grid, target, kind="class", codes=codes, where="layers.substrate", name="substrate"
        )
        return Aligned(**{**done.__dict__, "notes": (*notes, *done.notes)})
    numbers: dict[int, int] = {}
    with Faults() as faults:
        for own, code in codes.items():
            try:
                numbers[int(own)] = code
            except ValueError:
                faults.add(
                    f"layers.substrate.classes.{own!r}",
                    "is not a whole number",
                    "the class numbers of the raster",
                    "Write the number in quotes.",
                )
    return align_raster(
        path,
        grid,
        target,
        kind="class",
        codes=numbers,
        band=band,
        crs=crs,
        nodata=nodata,
        variable=variable,
        name="substrate",
    )
