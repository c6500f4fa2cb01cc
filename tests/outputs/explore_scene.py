"""A made-up scene for the tests of the page of weights."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import Point, box

from sitekit.layers.grid import Grid
from sitekit.outputs.explore_page.coding import encode
from sitekit.outputs.explore_page.scene import ExploreScene, Judged, Weighted

NAMES = ("depth", "bottom", "living colonies near", "ruggedness", "steepness", "waves", "light", "heat")


def made_responses(count: int, shape: tuple[int, int], seed: int = 4) -> NDArray[np.float64]:
    """Return responses with exact 0 and 1, tiny values, and unknown cells."""
    rng = np.random.default_rng(seed)
    rows, cols = shape
    y, x = np.mgrid[0:rows, 0:cols] / max(rows, cols)
    out = np.empty((count, rows, cols))
    for k in range(count):
        wave = 0.5 + 0.5 * np.sin(6 * x * (k + 1) + 2 * k) * np.cos(5 * y + k) + 0.02 * rng.standard_normal(shape)
        out[k] = np.clip(wave * 1.2 - 0.1, 0, 1)
    if count > 1:
        out[1] = np.where(x > 0.5, 2.0 ** -(1100 * y * x), out[1])
    if count > 2:
        out[2] = np.where((x < 0.3) & (y > 0.2), np.nan, out[2])
    out[0] = np.where((x > 0.8) & (y < 0.15), np.nan, out[0])
    return out


def scene(shape: tuple[int, int] = (120, 160), count: int = 5, text: str = "", **changes: Any) -> ExploreScene:
    grid = Grid(CRS.from_epsg(32625), 500_000.0, 1_900_000.0, 1.0, shape)
    west, south, east, north = grid.bounds
    rows, cols = shape
    y, x = np.mgrid[0:rows, 0:cols] / max(rows, cols)
    exclusion = np.where(x + y < 0.25, 3, np.where((x > 0.6) & (y > 0.5), 10, 0)).astype(np.uint8)
    depth = (4 + 10 * y).astype(np.float32)
    depth[0, :3] = np.nan
    weights = [0.4, 0.35, 0.15, 0.1, 0.1, 0.2, 0.05, 0.3]
    rows_of = tuple(Weighted(NAMES[k] + text, weights[k], k, "made up" + text, k % 2 == 0) for k in range(count))
    values: dict[str, Any] = {
        "title": "Made-up reef" + text,
        "run_id": "3f9a1c20" + text,
        "date": "2026-03-01",
        "datum": "WGS 84; depths below mean lower low water" + text,
        "grid": grid,
        "cell_m2": 1.0004,
        "depth": depth,
        "exclusion": exclusion,
        "reasons": {3: "protected area: forbidden" + text, 10: "deeper than the greatest depth"},
        "responses": encode(made_responses(count, shape)),
        "species": (
            Judged("APAL", "elkhorn" + text, rows_of, 1.25, 0.08, 1.2, 1000.0),
            Judged("ACER", "staghorn", rows_of[:-1] or rows_of, 1.25, float("nan"), 1.2, 900.0),
        ),
        "method": "geometric mean",
        "passing": 0.5,
        "max_unknown_weight": 0.25,
        "least_area_m2": 20.0,
        "candidates": gpd.GeoDataFrame(
            {"candidate": ["C01" + text]}, geometry=[box(west + 20, south + 20, west + 50, south + 60)], crs=grid.crs
        ),
        "sites": gpd.GeoDataFrame(
            {"site": ["WS" + text], "coded": [True]}, geometry=[Point(west + 30, south + 40)], crs=grid.crs
        ),
        "fictional": True,
        "cautions": ("Not a permit." + text,),
        "notes": (text,) if text else (),
    }
    values.update(changes)
    return ExploreScene(**values)
