"""Named places scored beside the computed candidates: what a reef people already talk about is worth by the same rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from sitekit.base.geodesy import polygon_area
from sitekit.base.tables import build
from sitekit.pipeline.fields import Ground, raster, species_criteria
from sitekit.pipeline.places import NamedPlace
from sitekit.pipeline.project import Project
from sitekit.suitability.exclusions import LABELS


def score_places(
    project: Project,
    ground: Ground,
    places: Sequence[NamedPlace],
    outlines: Sequence[BaseGeometry],
    labels: Sequence[str],
) -> pd.DataFrame:
    """Return the table `place_scores`: a row per named place on the grid and species.

    Parameters
    ----------
    project, ground
        With the score stage done.
    places : sequence of NamedPlace
        In the working system.
    outlines, labels : sequences
        Of the candidates.
    """
    criteria = species_criteria(project.settings)
    passing = np.float32(project.settings.score.passing)
    frame = shapely.box(*ground.grid.bounds)
    tree = shapely.STRtree(list(outlines))
    rows: list[dict[str, Any]] = []
    shapes: list[Any] = []
    for place in places:
        shape = place.shape if place.shape.area > 0 else place.shape.buffer(ground.grid.cell / 2)
        inside = shapely.intersection(shape, frame)
        if inside.area <= 0:
            continue
        window, mask = _cells(ground, inside)
        if not mask.any():
            continue
        depth = _read(raster(project, "depth"), window)[mask]
        candidate, distance = _nearest(shape, tree, outlines, labels)
        known = depth[np.isfinite(depth)]
        for code, own in criteria.items():
            score = _read(project.result(f"score_{code}.tif"), window)[mask]
            held = score[np.isfinite(score)]
            rows.append(
                {
                    "name": place.name,
                    "kind": place.kind,
                    "species": code,
                    "area_m2": polygon_area(inside, ground.grid.crs),
                    "passing_pct": 100.0 * float((held >= passing).sum()) / float(mask.sum()),
                    "score_mean": float(held.mean()) if held.size else None,
                    "score_max": float(held.max()) if held.size else None,
                    "depth_mean_m": float(known.mean()) if known.size else None,
                    "limiting": _limiting(project, code, window, mask, [c.name for c in own]),
                    "candidate": candidate,
                    "distance_m": distance,
                }
            )
            polygons = [p for p in shapely.get_parts(inside) if p.area > 0]
            shapes.append(shapely.MultiPolygon(polygons))
    return build("place_scores", rows, shapes, ground.grid.crs)


def _cells(ground: Ground, shape: BaseGeometry) -> tuple[Window, NDArray[np.bool_]]:
    grid = ground.grid
    west, south, east, north = shape.bounds
    rows, cols = grid.shape
    left = max(0, int((west - grid.west) // grid.cell))
    top = max(0, int((grid.north - north) // grid.cell))
    right = min(cols, int((east - grid.west) // grid.cell) + 1)
    bottom = min(rows, int((grid.north - south) // grid.cell) + 1)
    part = grid.window(top, left, (max(bottom - top, 1), max(right - left, 1)))
    mask = rasterize([(shape, 1)], out_shape=part.shape, transform=part.transform, dtype="uint8") > 0
    return Window(left, top, part.shape[1], part.shape[0]), mask


def _read(path: Any, window: Window, band: int = 1) -> NDArray[Any]:
    with rasterio.open(path) as file:
        values: NDArray[Any] = file.read(band, window=window)
    return values


def _nearest(
    shape: BaseGeometry, tree: shapely.STRtree, outlines: Sequence[BaseGeometry], labels: Sequence[str]
) -> tuple[str | None, float | None]:
    if not outlines:
        return None, None
    hits = tree.query(shape, predicate="intersects")
    if hits.size:
        shared = shapely.area(shapely.intersection(np.asarray(outlines, object)[hits], shape))
        return labels[int(hits[np.lexsort((hits, -shared))[0]])], 0.0
    nearest = int(np.min(tree.query_nearest(shape)))
    return None, float(shapely.distance(outlines[nearest], shape))


def _limiting(project: Project, code: str, window: Window, mask: NDArray[np.bool_], names: list[str]) -> str | None:
    """Return what most of the cells lack: the limiting criterion, or the reason that excludes them."""
    path = project.result(f"reasons_{code}.tif")
    limiting, excluded = _read(path, window)[mask], _read(path, window, 2)[mask]
    counts = np.bincount(excluded, minlength=256)
    counts[0] = 0
    best = np.bincount(limiting[excluded == 0], minlength=256)[: len(names)]
    if counts.max() > (best.max() if best.size else 0):
        return LABELS[int(np.argmax(counts))]
    return names[int(np.argmax(best))] if best.size and best.max() > 0 else None
