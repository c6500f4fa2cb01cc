"""How far candidates lie from harbour and nursery by sea and from the nearest wild colony; ways between places."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.features import rasterize
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from sitekit.layers.grid import Grid
from sitekit.pipeline.fields import RASTERS, Ground, raster
from sitekit.pipeline.keep_clear import COASTLINE, read_drawn
from sitekit.pipeline.places import position_of
from sitekit.pipeline.project import Project
from sitekit.sites.sea_distance import sea_routes

Floats = NDArray[np.float64]
WAYS_FILE = f"{RASTERS}/ways.json"  # how ways were measured, in words
# House choices: coarse cells so that the longer side has about so many, and open water around the outermost place.
_CELLS = 300
_MARGIN = 0.1
_STARTS = 12  # places from which routes are looked for; a search takes some tenths of a second


@dataclass(frozen=True)
class Ways:
    """Distances of places [m], NaN where not known.

    Parameters
    ----------
    nursery_m, harbour_m : ndarray, shape (n,)
        By sea; infinite where no water leads there.
    wild_m : ndarray, shape (n,)
        From the nearest edge to the nearest wild colony of the layers, straight.
    notes : tuple of str
        What a reader must know: cell size, what counts as land, places moved to water.
    """

    nursery_m: Floats
    harbour_m: Floats
    wild_m: Floats
    notes: tuple[str, ...]


def ways_of(project: Project, ground: Ground, outlines: Sequence[BaseGeometry]) -> Ways:
    """Return the distances of candidates, each from a point inside it.

    Parameters
    ----------
    project, ground
        With the layers stage done.
    outlines : sequence of shapely geometry
        In the working system.
    """
    none = np.full(len(outlines), np.nan)
    wild = _wild(project, outlines)
    turn = Transformer.from_crs("EPSG:4326", ground.grid.crs, always_xy=True)
    starts: dict[str, tuple[float, float]] = {}
    for key in ("nursery", "harbour"):
        place = getattr(project.settings, key)
        if place is not None:
            x, y = turn.transform(*position_of(place.at, f"{key}.at"))
            starts[key] = (float(x), float(y))
    if not starts or not len(outlines):
        return Ways(none, none.copy(), wild, ())
    points = np.array([(p.x, p.y) for p in (o.representative_point() for o in outlines)])
    coarse, water, notes = _water(project, ground, points, np.array(list(starts.values())))
    lengths = {"nursery": none, "harbour": none.copy()}
    for key, start in starts.items():
        places = _cells(coarse, np.vstack([np.array(start)[None, :], points]))
        found = sea_routes(water, coarse.cell, (float(places[0, 0]), float(places[0, 1])), places[1:])
        # distances on the ellipsoid are the grid's over its scale factor
        lengths[key] = found.length_m / ground.scale
        if found.start_moved_m > coarse.cell:
            notes.append(f"the {key} lies on land here; its way starts {found.start_moved_m:.0f} m off, at the water")
    return Ways(lengths["nursery"], lengths["harbour"], wild, tuple(notes))


def legs_by_sea(
    project: Project, ground: Ground, places: Mapping[str, tuple[float, float]]
) -> tuple[dict[tuple[str, str], float], str]:
    """Return the ways of a boat between places [m on the ellipsoid], and how they were measured.

    Parameters
    ----------
    project, ground
        With the layers stage done.
    places : mapping of str to tuple of float
        Working system [m]; from the first twelve a way is looked for to all that follow.

    Returns
    -------
    dict of (str, str) to float
        Both directions; pairs that no water joins, or that were not looked for, are left out. What a place on land lies
        from the water is not part of it.
    str
        Cell size and what counted as land.
    """
    names = list(places)
    points = np.array([places[n] for n in names], np.float64).reshape(-1, 2)
    coarse, water, notes = _water(project, ground, points, points)
    found: dict[tuple[str, str], float] = {}
    if not water.any():
        return found, notes[0]
    at = _cells(coarse, points)
    for i, start in enumerate(names[: min(_STARTS, len(names) - 1)]):
        lengths = (
            sea_routes(water, coarse.cell, (float(at[i, 0]), float(at[i, 1])), at[i + 1 :]).length_m / ground.scale
        )
        for end, length in zip(names[i + 1 :], lengths.tolist(), strict=True):
            if math.isfinite(length):
                found[(start, end)] = found[(end, start)] = length
    return found, notes[0]


def _wild(project: Project, outlines: Sequence[BaseGeometry]) -> Floats:
    path = project.result(f"{RASTERS}/colonies.gpkg")
    if not path.exists() or not len(outlines):
        return np.full(len(outlines), np.nan)
    frame = gpd.read_file(path)
    wild = frame[frame["origin"] == "wild"]
    if not len(wild):
        return np.full(len(outlines), np.nan)
    tree = shapely.STRtree(wild.geometry.to_numpy())
    nearest = tree.query_nearest(np.asarray(outlines, object), all_matches=False)[1]
    return np.asarray(shapely.distance(np.asarray(outlines, object), wild.geometry.to_numpy()[nearest]))


def _water(
    project: Project, ground: Ground, points: Floats, starts: Floats
) -> tuple[Grid, NDArray[np.bool_], list[str]]:
    """Return a coarse grid around all places, its cells of water, and what counted as land."""
    grid = ground.grid
    every = np.vstack([points, starts, np.array(grid.bounds).reshape(2, 2)])
    low, high = every.min(axis=0), every.max(axis=0)
    side = float((high - low).max())
    step = max(1, math.ceil(side * (1 + 2 * _MARGIN) / _CELLS / grid.cell))
    cell = step * grid.cell
    pad = _MARGIN * side
    left = math.ceil((grid.west - (low[0] - pad)) / cell)
    top = math.ceil(((high[1] + pad) - grid.north) / cell)
    cols = left + math.ceil((high[0] + pad - grid.west) / cell)
    rows = top + math.ceil((grid.north - (low[1] - pad)) / cell)
    coarse = Grid(grid.crs, grid.west - left * cell, grid.north + top * cell, cell, (rows, cols))
    draft = project.settings.choose.boat_draft_m
    water = np.ones(coarse.shape, bool)
    inner = (math.ceil(grid.shape[0] / step), math.ceil(grid.shape[1] / step))
    with rasterio.open(raster(project, "depth")) as file:
        depth = file.read(
            1,
            window=Window(0, 0, inner[1] * step, inner[0] * step),
            boundless=True,
            fill_value=np.nan,
            out_shape=inner,
            resampling=Resampling.average,
        )
    water[top : top + inner[0], left : left + inner[1]] = ~(depth <= draft)
    notes = [f"ways by sea on cells of {cell:g} m; land: mean depth ≤ {draft:g} m below {_datum(project)}"]
    coast = read_drawn(project, COASTLINE)
    if coast is None:
        notes[0] += "; no coastline layer: beyond the depths everything counts as water"
    else:
        land = rasterize(
            [(g, 1) for g in coast.geometry], out_shape=coarse.shape, transform=coarse.transform, dtype="uint8"
        )
        water &= land == 0
        notes[0] += ", and the coastline layer"
    return coarse, water, notes


def _datum(project: Project) -> str:
    return project.settings.layers.bathymetry.datum


def _cells(grid: Grid, points: Floats) -> Floats:
    """Return row and column of points in cells, cell centres at whole numbers."""
    return np.column_stack(
        [(grid.north - points[:, 1]) / grid.cell - 0.5, (points[:, 0] - grid.west) / grid.cell - 0.5]
    )
