"""What the sheets show, already worked out: tables of the season, shapes in the working system, the team's facts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.layers.grid import Grid
from sitekit.outputs.paper.frame import TitleBlock
from sitekit.outputs.paper.norths import Norths


def rows_of(frame: pd.DataFrame) -> list[Any]:
    """Return the rows of a table, columns as attributes."""
    return list(frame.itertuples(index=False))


@dataclass(frozen=True)
class Mark:
    """A named point of a map: harbour, nursery, buoy."""

    name: str
    kind: str
    easting_m: float
    northing_m: float
    position: str = ""
    note: str = ""


@dataclass(frozen=True)
class Height:
    """How high units of a species stand, now and later, as the team states it [cm]."""

    species: str
    now_cm: float
    later_cm: float | None
    later_years: float | None


@dataclass(frozen=True)
class Water:
    """The vertical datum and water levels above it [m], None where nobody stated them; `levels` names them."""

    datum: str
    error_m: float
    high_m: float | None = None
    low_m: float | None = None
    levels: str = "water"


@dataclass(frozen=True)
class Sea:
    """Charted depths round a site: a window of the depth raster [m, positive down, NaN unknown] and its grid."""

    depth: NDArray[np.float32]
    grid: Grid


@dataclass(frozen=True)
class Packet:
    """Everything the packet shows.

    Parameters
    ----------
    paper : str
        `letter` or `A4`.
    block : TitleBlock
        Of every sheet.
    stamps, small_print : tuple of str
        Of every sheet.
    crs, datum : pyproj.CRS
        The working system; the geographic system of printed corners.
    datum_name, crs_name : str
        As printed.
    areas, corners, rules, permitted, planting, sections, open_items, amendments, texts : DataFrame
        Tables of the season; `areas` carries the outlines.
    plots : GeoDataFrame
        In the working system.
    existing : GeoDataFrame or None
        Living colonies with `origin`; None where none were given or a public copy leaves them out.
    protected, constraints, coast : GeoDataFrame or None
        With `name` and `rule`; `name`, `label`, `constraint`; shapes.
    sea : mapping of work area to Sea
        Depths round each.
    norths : mapping of work area to Norths
        The key `""` is the vicinity's.
    marks : tuple of Mark
        Harbour, nursery, buoys.
    heights : tuple of Height
        Per species.
    water : Water
        Datum and levels.
    facts : tuple of (str, str)
        What the team states, as label and text.
    materials, counted, monitoring : tuple of tuple of str
        Rows of three tables: item, number, stays, removed by, note; item, number, how counted; when, what.
    conditions, cautions, notes : tuple of str
        Sentences; `notes` say what this copy leaves out.
    changed : tuple of (str, shape or None, shape or None)
        Old and new outlines of changed work areas.
    amends : str
        Sentence on the earlier packet; empty where this is the first.
    scout : bool
        Areas to scout: no plots.
    colour : bool
        Areas and constraints in coloured ink; hatches stay, so that a copy loses nothing.
    """

    paper: str
    block: TitleBlock
    stamps: tuple[str, ...]
    small_print: tuple[str, ...]
    crs: CRS
    datum: CRS
    datum_name: str
    crs_name: str
    areas: gpd.GeoDataFrame
    corners: pd.DataFrame
    rules: pd.DataFrame
    permitted: pd.DataFrame
    planting: pd.DataFrame
    sections: pd.DataFrame
    open_items: pd.DataFrame
    amendments: pd.DataFrame
    texts: pd.DataFrame
    plots: gpd.GeoDataFrame
    existing: gpd.GeoDataFrame | None
    protected: gpd.GeoDataFrame | None
    constraints: gpd.GeoDataFrame | None
    coast: gpd.GeoDataFrame | None
    sea: Mapping[str, Sea]
    norths: Mapping[str, Norths]
    water: Water
    marks: tuple[Mark, ...] = ()
    heights: tuple[Height, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    materials: tuple[tuple[str, ...], ...] = ()
    counted: tuple[tuple[str, ...], ...] = ()
    monitoring: tuple[tuple[str, ...], ...] = ()
    conditions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    changed: tuple[tuple[str, object, object], ...] = field(default=())
    amends: str = ""
    scout: bool = False
    colour: bool = False

    @cached_property
    def plot_rows(self) -> list[Any]:
        """Rows of the plots, columns as attributes."""
        return rows_of(self.plots)

    @cached_property
    def plot_shapes(self) -> NDArray[np.object_]:
        """Outlines of the plots, in the order of their rows."""
        return np.asarray(self.plots.geometry.to_numpy() if len(self.plots) else np.empty(0, dtype=object))

    def plots_at(self, shape: Any) -> list[Any]:
        """Return the rows of the plots that meet a shape in the working system."""
        return [self.plot_rows[k] for k in np.flatnonzero(shapely.intersects(self.plot_shapes, shape))]
