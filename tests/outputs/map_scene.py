"""A made-up scene at a made-up place at sea, for the tests of the map."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
from pyproj import CRS
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from sitekit.layers.grid import Grid
from sitekit.outputs.map_html.scene import MapScene, RasterLayer, ReasonLayer

NASTY = '<img src=x onerror="window.hit=1"></script>{{7*7}}{%x%}\'`\u202egnp.exe&amp;'


def grid(
    rows: int = 120,
    cols: int = 160,
    cell: float = 2.0,
    *,
    epsg: int = 32625,
    west: float = 500_000,
    north: float = 1_900_000,
) -> Grid:
    return Grid(CRS.from_epsg(epsg), west, north, cell, (rows, cols))


def scene(at: Grid | None = None, *, colonies: int = 600, text: str = "", **changes: Any) -> MapScene:
    at = at or grid()
    west, south, east, north = at.bounds
    rows, cols = at.shape
    x, y = (np.arange(cols) + 0.5) / cols, (np.arange(rows) + 0.5) / rows
    xx, yy = np.meshgrid(x, y)
    depth = (4 + 14 * yy + 1.2 * np.sin(xx * 25) * np.sin(yy * 3)).astype(np.float32)
    depth[(xx - 0.9) ** 2 + (yy - 0.1) ** 2 < 0.006] = np.nan
    score = np.clip(1 - np.abs(depth - 9) / 6 + 0.15 * np.sin(xx * 40), 0, 1).astype(np.float32)
    limiting = np.where(depth < 8, 1, np.where(xx < 0.5, 2, 3)).astype(np.uint8)
    reason = np.zeros(at.shape, np.uint8)
    reason[yy > 0.85] = 1
    reason[(xx < 0.12) & (yy < 0.4)] = 2
    reason[np.isnan(depth)] = 3

    def spot(fx: float, fy: float) -> tuple[float, float]:
        return west + fx * (east - west), south + fy * (north - south)

    def patch(fx0: float, fy0: float, fx1: float, fy1: float) -> Polygon:
        return box(*spot(fx0, fy0), *spot(fx1, fy1))

    def frame(rows_: dict[str, list[Any]], shapes: list[Any]) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(rows_, geometry=shapes, crs=at.crs)

    rng = np.random.default_rng(5)
    points = np.stack([rng.uniform(0.3, 0.7, colonies), rng.uniform(0.45, 0.75, colonies)], 1)
    where = np.array([spot(*p) for p in points]).reshape(-1, 2)
    per = max(1, (colonies + 3) // 4)
    number = np.arange(colonies)
    planted = gpd.GeoDataFrame(
        {
            "tag": [f"WS-{n + 1:04d}" for n in number],
            "sequence": number + 1,
            "site": ["WS" + text] * colonies,
            "plot": [f"WS-P{n // per + 1}{text}" for n in number],
            "species": [("APAL", "ACER")[n % 2] + text for n in number],
            "genet": [f"G{n % 12:02d}{text}" for n in number],
            "depth_m": 6 + number % 7 * 0.5,
            "along_m": number % 18 * 1.0,
            "offset_m": number % 5 * 0.9 - 2,
        },
        geometry=gpd.points_from_xy(where[:, 0], where[:, 1]),
        crs=at.crs,
    )
    hole = patch(0.3, 0.4, 0.7, 0.78).difference(patch(0.45, 0.5, 0.5, 0.55))
    values: dict[str, Any] = {
        "title": "Made-up reef, spring season" + text,
        "run_id": "3f9a1c20" + text,
        "date": "2026-03-01",
        "datum": "WGS 84; depths below mean lower low water" + text,
        "grid": at,
        "depth": depth,
        "rasters": (
            RasterLayer(
                "score_APAL",
                "Score, APAL" + text,
                "0–1" + text,
                score,
                edges=(0, 0.2, 0.4, 0.6, 0.8, 1.0),
                reasons="APAL",
                note=text,
                group="APAL" + text,
            ),
            RasterLayer(
                "limiting_APAL",
                "Limiting criterion, APAL",
                "",
                limiting,
                classes={1: "depth" + text, 2: "slope", 3: "substrate"},
                ramp="classes",
                reasons="APAL",
            ),
            RasterLayer("depth_m", "Depth", "m", depth, edges=(0, 4, 8, 12, 16, 20), ramp="depth"),
        ),
        "reasons": (
            ReasonLayer(
                "APAL",
                "Cells out for APAL",
                reason,
                excluded={1: "deeper than 16 m" + text, 2: "no-anchor area"},
                unknown={3: "not surveyed"},
            ),
        ),
        "candidates": frame(
            {
                "candidate": ["C01" + text, "C02"],
                "species": ["ACER APAL", "APAL"],
                "area_m2": [8123.4, 512.0],
                "score_mean": [0.71, 0.55],
                "depth_min_m": [6.1, 5.0],
                "limiting": ["depth" + text, None],
            },
            [MultiPolygon([hole]), MultiPolygon([patch(0.15, 0.5, 0.24, 0.62)])],
        ),
        "sites": frame(
            {"site": ["WS" + text], "name": ["West spur" + text], "chosen": [True]}, [Point(*spot(0.5, 0.7))]
        ),
        "plots": frame(
            {
                "plot": [f"WS-P{k}{text}" for k in (1, 2, 3)],
                "site": ["WS"] * 3,
                "role": ["planted", "control", "reference"],
                "length_m": [18.0] * 3,
                "width_m": [4.0] * 3,
            },
            [patch(0.35, 0.6, 0.43, 0.64), patch(0.55, 0.6, 0.63, 0.64), patch(0.55, 0.45, 0.63, 0.49)],
        ),
        "tape_lines": frame(
            {"plot": ["WS-P1"], "length_m": [18.0]}, [LineString([spot(0.35, 0.62), spot(0.43, 0.62)])]
        ),
        "work_areas": frame(
            {"work_area": ["W1" + text], "site": ["WS"], "area_m2": [9000.0]}, [patch(0.28, 0.38, 0.72, 0.8)]
        ),
        "protected": frame(
            {
                "name": ["North reserve" + text, "Inner park", "Nursery ground", "Old notice"],
                "rule": ["forbidden", "permit", "preferred", "none"],
            },
            [
                patch(0.05, 0.85, 0.4, 0.97),
                patch(0.72, 0.3, 0.95, 0.7),
                patch(0.02, 0.05, 0.25, 0.3),
                patch(0.45, 0.03, 0.68, 0.2),
            ],
        ),
        "existing": frame(
            {
                "species": ["APAL" + text, "ACER", "APAL"],
                "size_cm": [40.0, np.nan, 12.0],
                "origin": ["wild", "wild", "outplant"],
                "position_error_m": [3.0, 5.0, 1.0],
            },
            [Point(*spot(0.2, 0.4)), Point(*spot(0.8, 0.8)), Point(*spot(0.52, 0.42))],
        ),
        "standing": frame(
            {
                "unit": ["WS 1" + text, "WS 2", "WS 3", "WS 4"],
                "plot": ["WS-P1" + text] * 4,
                "species": ["APAL" + text] * 4,
                "genet": ["G00" + text] * 4,
                "tag": ["WS-0001" + text, None, "7", "8"],
                "planted": ["2026-05-04"] * 4,
                "state": ["planted", "alive", "dead", "missing"],
                "seen": [None, "2026-06-05", "2026-06-05", "2026-06-05"],
                "live_pct": [np.nan, 80.0, np.nan, np.nan],
                "cause": [None, None, "bitten" + text, None],
                "error_m": [5.2] * 4,
            },
            [Point(*spot(0.36 + 0.02 * k, 0.615)) for k in range(4)],
        ),
        "colonies": planted,
        "fictional": True,
        "stamps": ("NOT SCOUTED: WS" + text,) if text else (),
        "notes": (text,) if text else (),
        "sources": ("Horn, B. K. P. (1981), Hill shading and the reflectance map." + text,),
        "cautions": ("Not a permit. Not for navigation." + text, "Depths ± 0.5 m; positions ± 5 m."),
    }
    values.update(changes)
    return MapScene(**values)
