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
from sitekit.layers.columns import plain_name
from sitekit.layers.grid import Grid
from sitekit.layers.polygons import read_polygons
from sitekit.layers.raster import align_raster, rasterize_polygons

UNKNOWN = 0
# Words of daily use in English, Spanish and French, without accents and plural s, and the class they most often mean; from
# memory, proposed only.
_EVERYDAY = {
    "rock": "Rock Substrate", "roca": "Rock Substrate", "roche": "Rock Substrate", "rocher": "Rock Substrate",
    "hard": "Rock Substrate", "pavement": "Rock Substrate", "laja": "Rock Substrate", "dalle": "Rock Substrate",
    "sand": "Sand", "arena": "Sand", "sable": "Sand", "mud": "Mud", "fango": "Mud", "lodo": "Mud", "vase": "Mud",
    "boue": "Mud", "silt": "Silt", "limo": "Silt", "gravel": "Gravel", "grava": "Gravel", "gravier": "Gravel",
    "rubble": "Coral Rubble", "cascajo": "Coral Rubble", "escombro": "Coral Rubble", "debris": "Coral Rubble",
    "reef": "Coral Reef Substrate", "arrecife": "Coral Reef Substrate", "recif": "Coral Reef Substrate",
    "coral": "Coral Reef Substrate", "corail": "Coral Reef Substrate", "boulder": "Boulder", "bloc": "Boulder",
}  # fmt: skip


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


def near_classes(name: str, most: int = 4) -> list[str]:
    """Return classes of the standard that share a word with a name, be it Spanish or French; the best first.

    Examples
    --------
    >>> near_classes("roca")[0]
    'Rock Substrate'
    """
    own = [w.rstrip("s") for w in plain_name(name).split("_") if len(w) > 2 and not w.isdigit()]
    everyday = [_EVERYDAY[w] for w in own if w in _EVERYDAY]
    same = [c for c in substrate_codes() if set(own) & {w.rstrip("s") for w in plain_name(c).split("_")}]
    close = sorted(same, key=lambda c: (not c.startswith("Coral"), len(c)))
    close = close or difflib.get_close_matches(name, substrate_codes(), n=3, cutoff=0.7)
    whole = [c for c in same if {w.rstrip("s") for w in plain_name(c).split("_")} == set(own)]
    return list(dict.fromkeys([*whole, *everyday, *close]))[:most]


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
                near = near_classes(name) or near_classes(own)
                due = "a substrate class of CMECS (docs/bottom.md lists them) or unknown"
                do = f"Perhaps: {', '.join(near)}." if near else "Choose by what the class means."
                faults.add(f"{where}.{own!r}", repr(name), due, do)
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
