"""Areas for control and reference plots of each chosen site, found on the rasters around it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize, shapes
from rasterio.windows import Window
from scipy.ndimage import distance_transform_edt

from sitekit.base.geodesy import polygon_area
from sitekit.base.tables import build
from sitekit.errors import Fault
from sitekit.layers.grid import Grid
from sitekit.pipeline.fields import RASTERS, Ground, raster
from sitekit.pipeline.project import Project
from sitekit.season.settings_decide import Controls
from sitekit.sites.controls import MatchedArea, matched_area

# House choices: a window so much wider than a plot is long lets the plot turn; so much of it must match.
_WIDER = 1.25
_LEAST_SHARE = 0.7


@dataclass
class _Around:
    """The rasters around one chosen site."""

    grid: Grid
    score: NDArray[np.float32]
    depth: NDArray[np.float32]
    free: NDArray[np.bool_]
    living: NDArray[np.int64]


def control_areas(
    project: Project, ground: Ground, tables: Mapping[str, pd.DataFrame]
) -> tuple[pd.DataFrame, list[Fault]]:
    """Return the table `control_areas`, and what was asked for and not found.

    Parameters
    ----------
    project, ground
        With score and candidates stages done.
    tables : mapping of str to DataFrame
        With `candidates` and the new `sites`.
    """
    settings = project.settings.controls
    sites = tables["sites"]
    chosen = sites[sites["chosen"]]
    if settings is None or not len(chosen):
        return build("control_areas", [], [], ground.grid.crs), []
    outlines = dict(zip(tables["candidates"]["candidate"], tables["candidates"].geometry, strict=True))
    scores = dict(zip(tables["candidates"]["candidate"], tables["candidates"]["score_mean"], strict=True))
    depths = dict(zip(tables["candidates"]["candidate"], tables["candidates"]["depth_mean_m"], strict=True))
    every = shapely.union_all([outlines[c] for c in chosen["candidate"]])
    rows: list[dict[str, Any]] = []
    found: list[Any] = []
    missing: list[Fault] = []
    records: list[Any] = list(chosen.itertuples())
    for site in records:
        around = _around(project, ground, outlines[site.candidate], every, found, settings)
        means = (float(scores[site.candidate]), float(depths[site.candidate]))
        wanted = [("control", i + 1) for i in range(settings.control_plots)]
        wanted += [("reference", i + 1) for i in range(settings.reference_plots)]
        lacking: set[str] = set()
        for role, number in wanted:
            if role in lacking:
                continue
            area = _match(project, around, settings, role, *means)
            name = f"{site.site}-{'C' if role == 'control' else 'R'}{number}"
            if area is None:
                lacking.add(role)
                shared = role == "reference" and _shared(rows, found, outlines[site.candidate], site, settings, means)
                if not shared:
                    missing.append(_not_found(site.site, role, settings))
                continue
            shape = _outline(around.grid, area)
            found.append(shape)
            _take(around, area, project.settings.spacing.plot.gap_m)
            rows.append(
                {
                    "area": name,
                    "site": site.site,
                    "role": role,
                    "area_m2": polygon_area(shape, ground.grid.crs),
                    "score_mean": area.score,
                    "depth_mean_m": area.depth_m,
                    "site_score_mean": float(scores[site.candidate]),
                    "site_depth_mean_m": float(depths[site.candidate]),
                    "distance_m": float(shapely.distance(shape, every)),
                    "colonies": area.count if role == "reference" else None,
                }
            )
    return build("control_areas", rows, found, ground.grid.crs), missing


def _around(
    project: Project, ground: Ground, outline: Any, every: Any, found: list[Any], settings: Controls
) -> _Around:
    grid = ground.grid
    reach = settings.greatest_distance_m * ground.scale
    west, south, east, north = outline.buffer(reach).bounds
    left, top = max(0, int((west - grid.west) / grid.cell)), max(0, int((grid.north - north) / grid.cell))
    right = min(grid.shape[1], math.ceil((east - grid.west) / grid.cell))
    bottom = min(grid.shape[0], math.ceil((grid.north - south) / grid.cell))
    part = grid.window(top, left, (bottom - top, right - left))
    window = Window(left, top, right - left, bottom - top)
    score = np.full(part.shape, np.nan, np.float32)
    for species in project.settings.species:
        with rasterio.open(project.result(f"score_{species.code}.tif")) as file:
            score = np.fmax(score, file.read(1, window=window))
    with rasterio.open(raster(project, "depth")) as file:
        depth = file.read(1, window=window)
    own, others = _drawn([outline], part), _drawn([every], part)
    from_all = distance_transform_edt(~others) * grid.cell
    from_own = distance_transform_edt(~own) * grid.cell
    # between two cells' middles it is up to a diagonal farther than between their edges
    margin = grid.cell * math.sqrt(2.0)
    free = (from_all >= settings.distance_m * ground.scale + margin) & (from_own <= reach)
    if found:
        free &= ~_drawn([shapely.union_all(found).buffer(project.settings.spacing.plot.gap_m)], part)
    return _Around(part, score, depth, free, _living(project, part, settings))


def _drawn(shapes_: list[Any], grid: Grid) -> NDArray[np.bool_]:
    drawn = rasterize(
        [(s, 1) for s in shapes_], out_shape=grid.shape, transform=grid.transform, dtype="uint8", all_touched=True
    )
    return np.asarray(drawn, bool)


def _living(project: Project, grid: Grid, settings: Controls) -> NDArray[np.int64]:
    """Return living wild colonies per cell, of the reference species."""
    counts = np.zeros(grid.shape, np.int64)
    path = project.result(f"{RASTERS}/colonies.gpkg")
    if not path.exists():
        return counts
    frame = gpd.read_file(path)
    species = settings.reference_species or [s.code for s in project.settings.species]
    frame = frame[(frame["origin"] == "wild") & frame["species"].isin(species)]
    row, col = grid.cell_of(frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy())
    inside = grid.holds(row, col)
    np.add.at(counts, (row[inside], col[inside]), 1)
    return counts


def _match(
    project: Project, around: _Around, settings: Controls, role: str, score: float, depth: float
) -> MatchedArea | None:
    plot = project.settings.spacing.plot
    longest = plot.length_m if plot.shape == "rectangle" else 2 * plot.radius_m
    return matched_area(
        around.score,
        around.depth,
        around.free,
        score_wanted=score,
        depth_wanted_m=depth,
        score_tolerance=max(settings.score_tolerance, 1e-6),
        depth_tolerance_m=settings.depth_tolerance_m,
        side_cells=max(1, math.ceil(_WIDER * longest / around.grid.cell)),
        least_share=_LEAST_SHARE,
        colonies=around.living if role == "reference" else None,
    )


def _shared(
    rows: list[dict[str, Any]],
    found: list[Any],
    outline: Any,
    site: Any,
    settings: Controls,
    means: tuple[float, float],
) -> bool:
    """Let a reference area of another site that matches serve this one too; return whether there is one."""
    for row, shape in zip(rows, found, strict=True):
        near = shapely.distance(shape, outline) <= settings.greatest_distance_m
        alike = abs(row["score_mean"] - means[0]) <= settings.score_tolerance
        deep = abs(row["depth_mean_m"] - means[1]) <= settings.depth_tolerance_m
        if row["role"] == "reference" and near and alike and deep:
            row["also_for"] = f"{row.get('also_for') or ''} {site.site}".strip()
            return True
    return False


def _outline(grid: Grid, area: MatchedArea) -> shapely.MultiPolygon:
    part = grid.window(area.row, area.col, (area.rows, area.cols))
    drawn = shapes(area.cells.astype(np.uint8), mask=area.cells, connectivity=4, transform=part.transform)
    parts = [shapely.geometry.shape(s) for s, _ in drawn]
    union = shapely.union_all(parts)
    return shapely.MultiPolygon([p for p in shapely.get_parts(union) if p.area > 0])


def _take(around: _Around, area: MatchedArea, gap_m: float) -> None:
    gap = math.ceil(gap_m / around.grid.cell)
    rows = slice(max(0, area.row - gap), area.row + area.rows + gap)
    cols = slice(max(0, area.col - gap), area.col + area.cols + gap)
    around.free[rows, cols] = False


def _not_found(site: str, role: str, settings: Controls) -> Fault:
    what = " with a living wild colony" if role == "reference" else ""
    return Fault(
        f"site {site}",
        f"no area for a {role} plot{what} matches it",
        f"score within {settings.score_tolerance:g}, depth within {settings.depth_tolerance_m:g} m, "
        f"{settings.distance_m:g} to {settings.greatest_distance_m:g} m away",
        "Widen a tolerance or the distance in [controls], or ask for fewer plots.",
    )
