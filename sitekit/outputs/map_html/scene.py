"""What the map is given: everything already worked out, checked once when the scene is made."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Faults
from sitekit.layers.grid import Grid

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

MAX_CLASSES = 250  # a palette picture holds 256 colours; a few are kept for "nothing here"
VECTORS = ("candidates", "sites", "plots", "tape_lines", "work_areas", "protected", "existing", "standing", "colonies")


@dataclass(frozen=True)
class RasterLayer:
    """One raster to look at, with the bins it is drawn in.

    Parameters
    ----------
    name : str
        Short and unique, e.g. `score_APAL`.
    label : str
        What people read.
    unit : str
        Unit of the values, may be empty.
    values : ndarray
        2-D, as the grid. Floats with NaN for missing; integer codes if `classes` is given.
    edges : tuple of float
        Rising bin edges, one more than bins; a bin holds its lower edge. Values outside fall to the end bins, and the
        legend then says so.
    classes : mapping of int to str
        Code -> name, for coded rasters; codes not listed are missing.
    ramp : str
        A name known to `ramps.ramp`.
    opacity : float
        0-1, at which the page first draws it.
    reasons : str
        Name of the `ReasonLayer` hatched together with it; empty for none.
    note : str
        What a reader must know, may be empty.
    group : str
        Heading under which the page lists it, may be empty.
    """

    name: str
    label: str
    unit: str
    values: NDArray[Any]
    edges: tuple[float, ...] = ()
    classes: Mapping[int, str] = field(default_factory=dict)
    ramp: str = "score"
    opacity: float = 0.8
    reasons: str = ""
    note: str = ""
    group: str = ""


@dataclass(frozen=True)
class ReasonLayer:
    """Why cells are out: excluded and unknown, each with its own hatch.

    Parameters
    ----------
    name, label : str
        Short unique name; what people read.
    codes : ndarray of integer
        2-D, as the grid; 0 means the cell is in.
    excluded, unknown : mapping of int to str
        Code -> reason in words. Every code above 0 that occurs must be in one of the two.
    """

    name: str
    label: str
    codes: NDArray[Any]
    excluded: Mapping[int, str] = field(default_factory=dict)
    unknown: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class MapScene:
    """Everything the map shows. No number first appears on the map.

    Parameters
    ----------
    title, run_id, date : str
        Of the plan; the date comes from the settings.
    datum : str
        Horizontal and vertical datum in words.
    grid : Grid
        Of all rasters.
    rasters : tuple of RasterLayer
        The first is shown on opening.
    reasons : tuple of ReasonLayer
        Hatched with the raster that names them.
    depth : ndarray, optional
        Depth [m], positive down, NaN missing: shaded underneath, with contours.
    contour_interval_m : float
        Between depth contours [m]; 0 for none.
    candidates, sites, plots, tape_lines, work_areas, protected, existing, colonies : GeoDataFrame, optional
        In the grid's CRS. None means the run does not have them; empty means it found none. `sites` may have a column
        `mark` (chosen or not, scouted or not), which decides how they are drawn.
    standing : GeoDataFrame, optional
        Units as planted, with `state` as last seen; None before the first planting, and then the map is silent of it.
    picture : Path, optional
        The user's own picture (GeoTIFF), drawn instead of the shaded depth on opening.
    scout : bool
        Areas to scout: too coarse for colonies; a scene with colonies is then refused.
    fictional : bool
        Made-up data: a ribbon says so.
    stamps : tuple of str
        Further ribbons, e.g. that a chosen site has not been scouted.
    notation : str
        `DD`, `DDM` or `DMS`: how the cursor's position reads on opening.
    sources, cautions, notes : tuple of str
        Printed with the map; notes tell what was coarsened or left out of a public copy.

    Raises
    ------
    InputFault
        Naming every raster of another shape, unlisted code, bad bins, CRS that is not the grid's, and colonies in an
        area to scout.
    """

    title: str
    run_id: str
    date: str
    datum: str
    grid: Grid
    rasters: tuple[RasterLayer, ...] = ()
    reasons: tuple[ReasonLayer, ...] = ()
    depth: NDArray[np.float32] | None = None
    contour_interval_m: float = 5.0
    candidates: GeoDataFrame | None = None
    sites: GeoDataFrame | None = None
    plots: GeoDataFrame | None = None
    tape_lines: GeoDataFrame | None = None
    work_areas: GeoDataFrame | None = None
    protected: GeoDataFrame | None = None
    existing: GeoDataFrame | None = None
    standing: GeoDataFrame | None = None
    colonies: GeoDataFrame | None = None
    picture: Path | None = None
    scout: bool = False
    fictional: bool = False
    stamps: tuple[str, ...] = ()
    notation: str = "DDM"
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        with Faults() as faults:
            self._check_rasters(faults)
            self._check_vectors(faults)

    def _check_rasters(self, faults: Faults) -> None:
        rows, cols = self.grid.shape
        due = f"{rows} × {cols} cells"
        shapes = [(f"raster {r.name!r}", np.shape(r.values)) for r in self.rasters]
        shapes += [(f"reasons {r.name!r}", np.shape(r.codes)) for r in self.reasons]
        shapes += [("depth", np.shape(self.depth))] if self.depth is not None else []
        for where, shape in shapes:
            if tuple(shape) != self.grid.shape:
                faults.add(where, " × ".join(map(str, shape)) + " cells", due, "Bring it onto the plan's grid.")
        names = [r.name for r in self.rasters]
        for name in sorted({n for n in names if names.count(n) > 1}):
            faults.add(f"raster {name!r}", "the name comes twice", "one raster per name", "Rename one.")
        known = {r.name for r in self.reasons}
        for layer in self.rasters:
            where = f"raster {layer.name!r}"
            if layer.reasons and layer.reasons not in known:
                faults.add(where, f"names the reasons {layer.reasons!r}", ", ".join(sorted(known)), "Add that layer.")
            if layer.classes:
                if len(layer.classes) > MAX_CLASSES:
                    faults.add(where, f"{len(layer.classes)} classes", f"at most {MAX_CLASSES}", "Join classes.")
            elif not _edges_rise(layer.edges):
                faults.add(where, f"bin edges {layer.edges}", "at least two rising numbers", "Give `edges`.")
            elif len(layer.edges) > MAX_CLASSES:
                faults.add(where, f"{len(layer.edges) - 1} bins", f"at most {MAX_CLASSES - 1}", "Use fewer bins.")
            if not 0 <= layer.opacity <= 1:
                faults.add(where, f"opacity {layer.opacity}", "0 to 1", "Correct it.")
        for reason in self.reasons:
            if tuple(np.shape(reason.codes)) == self.grid.shape:
                used = {int(c) for c in np.unique(reason.codes)} - {0}
                lost = sorted(used - set(reason.excluded) - set(reason.unknown))
                if lost:
                    came = "codes without words: " + ", ".join(map(str, lost))
                    faults.add(f"reasons {reason.name!r}", came, "words for every code", "Add them.")

    def _check_vectors(self, faults: Faults) -> None:
        for name in VECTORS:
            frame = getattr(self, name)
            if frame is None or len(frame) == 0:
                continue
            if frame.crs is None or frame.crs != self.grid.crs:
                came = "no CRS" if frame.crs is None else f"CRS {frame.crs.name}"
                faults.add(name, came, self.grid.crs.name, "Reproject it to the plan's CRS.")
        if self.scout and self.colonies is not None and len(self.colonies):
            faults.add(
                "colonies",
                f"{len(self.colonies)} colonies on a map of areas to scout",
                "none",
                "Leave them out: the layers are too coarse to place colonies.",
            )


def _edges_rise(edges: tuple[float, ...]) -> bool:
    return len(edges) >= 2 and all(math.isfinite(e) for e in edges) and all(a < b for a, b in pairwise(edges))
