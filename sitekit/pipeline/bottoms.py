"""The bottom of one candidate as the layout sees it: where each species may stand, and what to keep clear of."""

from __future__ import annotations

import math
from dataclasses import dataclass
from threading import Lock

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from sitekit.layers.grid import Grid
from sitekit.pipeline.fields import RASTERS, Ground, raster
from sitekit.pipeline.open_rasters import OpenRasters
from sitekit.pipeline.project import Project
from sitekit.seabed.distance import distance

WRITTEN_M = 2e-4  # positions are written to 9 decimals of a degree: a unit and what it keeps clear of move by less
Flags = NDArray[np.bool_]
# rasterio hushes a warning of its own while it draws, for the whole process: two threads undo each other's hushing
_ONE_AT_A_TIME = Lock()
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bottom:
    """A candidate's bottom.

    Parameters
    ----------
    grid : Grid
        Window of the working grid.
    allowed : dict of species code to ndarray of bool
        Cells where a unit may stand: inside the candidate, passing, clear of excluded edges.
    score : dict of species code to ndarray of float32
        Suitability 0–1, NaN where ruled out.
    depth_m : ndarray of float32
        Positive down [m].
    clear_points : ndarray, shape (n, 2)
        Existing colonies near the candidate: easting, northing [m].
    clear_radii : ndarray, shape (n,)
        Planned clearance of each: (clearance + laying tolerance + its position error) × scale, and what writing costs [m].
    """

    grid: Grid
    allowed: dict[str, Flags]
    score: dict[str, NDArray[np.float32]]
    depth_m: NDArray[np.float32]
    clear_points: Floats
    clear_radii: Floats

    def depth_at(self, easting: Floats, northing: Floats) -> Floats:
        """Return the charted depth of the cells that hold the points [m]."""
        row, col = self.grid.cell_of(easting, northing)
        return self.depth_m[row, col].astype(np.float64)


def planned_separation(project: Project, ground: Ground, species: str, *, tolerance: bool = True) -> float:
    """Return the separation on the grid that keeps the one asked for on the ellipsoid [m].

    d × the largest scale factor in the area, plus the laying tolerance.
    """
    spacing = project.settings.spacing
    own = next(s for s in project.settings.species if s.code == species).separation_m
    wanted = (own or spacing.separation_m) + (spacing.lay_tolerance_m if tolerance else 0.0)
    return wanted * ground.scale


def between_species(project: Project, ground: Ground, one: str, other: str) -> float:
    """Return the planned separation between units of two species [m]: as set, else the larger of their own."""
    given = project.settings.spacing.between_m(one, other)
    if given is not None:
        return (given + project.settings.spacing.lay_tolerance_m) * ground.scale
    return max(planned_separation(project, ground, one), planned_separation(project, ground, other))


def read_colonies(project: Project) -> gpd.GeoDataFrame | None:
    """Return the existing colonies of the layers stage, None without any."""
    path = project.result(f"{RASTERS}/colonies.gpkg")
    return gpd.read_file(path) if path.exists() else None


def read_bottom(
    project: Project, ground: Ground, outline: BaseGeometry, colonies: gpd.GeoDataFrame | None, rasters: OpenRasters
) -> Bottom:
    """Read the bottom of a candidate from the rasters of the earlier stages.

    Parameters
    ----------
    project, ground
        With layers and score stages done.
    outline : Polygon or MultiPolygon
        The candidate's outline.
    colonies : GeoDataFrame or None
        From `read_colonies`.
    rasters : OpenRasters
        Through which the rasters are read.
    """
    settings = project.settings
    window, grid = _window(ground.grid, outline)
    with _ONE_AT_A_TIME:
        inside = (
            rasterize([(outline, 1)], out_shape=grid.shape, transform=grid.transform, dtype="uint8").astype(bool)
            if not outline.is_empty
            else np.zeros(grid.shape, bool)
        )
    allowed: dict[str, Flags] = {}
    score: dict[str, NDArray[np.float32]] = {}
    for species in settings.species:
        values = rasters.read(project.result(f"score_{species.code}.tif"), window)
        passing = np.isfinite(values) & (values >= np.float32(settings.score.passing)) & inside
        allowed[species.code] = _clear_of_edges(passing, values, grid.cell, settings.spacing.edge_clearance_m)
        score[species.code] = values
    depth = rasters.read(raster(project, "depth"), window)
    points, radii = _to_keep_clear(project, ground, grid, colonies)
    return Bottom(grid, allowed, score, depth, points, radii)


def _window(grid: Grid, outline: BaseGeometry) -> tuple[Window, Grid]:
    west, south, east, north = outline.bounds
    rows, cols = grid.shape
    # one cell more on each side, so that edges beyond the outline are seen
    col = max(math.floor((west - grid.west) / grid.cell + 1e-6) - 1, 0)
    row = max(math.floor((grid.north - north) / grid.cell + 1e-6) - 1, 0)
    stop_col = min(math.ceil((east - grid.west) / grid.cell - 1e-6) + 1, cols)
    stop_row = min(math.ceil((grid.north - south) / grid.cell - 1e-6) + 1, rows)
    shape = (stop_row - row, stop_col - col)
    return Window(col, row, shape[1], shape[0]), grid.window(row, col, shape)


def _clear_of_edges(passing: Flags, score: NDArray[np.float32], cell: float, clearance: float) -> Flags:
    """Take off cells that an excluded cell comes nearer than the clearance to, measured between the nearest corners."""
    if clearance <= 0:
        return passing
    excluded = ~np.isfinite(score)
    reach = clearance + cell * math.sqrt(2.0)
    away = distance(np.ascontiguousarray(excluded), cell, greatest_m=reach + 2 * cell)
    return passing & (away >= np.float32(reach))


def _to_keep_clear(
    project: Project, ground: Ground, grid: Grid, colonies: gpd.GeoDataFrame | None
) -> tuple[Floats, Floats]:
    if colonies is None or colonies.empty:
        return np.zeros((0, 2)), np.zeros(0)
    spacing = project.settings.spacing
    error = colonies["position_error_m"].to_numpy(float)
    radius = (spacing.clearance_m + spacing.lay_tolerance_m + error) * ground.scale + WRITTEN_M
    x, y = colonies.geometry.x.to_numpy(), colonies.geometry.y.to_numpy()
    west, south, east, north = grid.bounds
    near = (x >= west - radius) & (x <= east + radius) & (y >= south - radius) & (y <= north + radius)
    return np.column_stack([x[near], y[near]]), radius[near]
