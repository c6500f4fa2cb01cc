"""The audit of spacing and plots at 8·10⁵ units: seconds, and that a unit moved is found."""

from __future__ import annotations

import datetime
import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Geod, Transformer

from sitekit.audit.plots_kept import APART, PINS, PLOT_TAGS, READINGS, audit_plots
from sitekit.audit.spacing_kept import audit_spacing
from sitekit.audit.written import Written
from sitekit.base.tables import table
from sitekit.layout.slots import free_pattern
from sitekit.season.settings import Settings, settings_from

LENGTH_M, WIDTH_M, GAP_M, SEPARATION_M = 18.0, 4.0, 2.0, 1.2
SCALE = 1.0005  # planned a little wider: the plane stretches lengths by less


def season(units: int) -> tuple[Settings, Written]:
    """Return a plan of rectangles side by side with about so many units, as its written tables and map."""
    pattern = free_pattern(LENGTH_M, WIDTH_M, separation_m=SEPARATION_M * SCALE)
    each = pattern.along_m.size
    side = int(np.ceil(np.sqrt(units / each)))
    i, j = (v.ravel().astype(np.float64) for v in np.meshgrid(np.arange(side), np.arange(side)))
    ax, ay = 550_000.0 + i * (LENGTH_M + GAP_M), 1_990_000.0 + j * (WIDTH_M + GAP_M)
    names = np.array([f"WS-{k + 1:05d}" for k in range(ax.size)])
    crs = CRS.from_epsg(32622)
    degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    a, b = degrees.transform(ax, ay), degrees.transform(ax + LENGTH_M, ay)
    plots: Any = pd.DataFrame(dict.fromkeys(table("plots").names), index=np.arange(ax.size), dtype=object)
    plots["plot"], plots["site"], plots["role"], plots["shape"] = names, "WS", "planted", "rectangle"
    plots["pin_x_m"], plots["pin_y_m"] = ax, ay
    plots["second_pin_x_m"], plots["second_pin_y_m"] = ax + LENGTH_M, ay
    plots["bearing_true_deg"] = np.asarray(Geod(ellps="WGS84").inv(*a, *b)[0]) % 360.0
    plots["length_m"], plots["tape_m"], plots["width_m"], plots["hard_pct"] = LENGTH_M, LENGTH_M, WIDTH_M, 100.0
    shapes = shapely.box(ax, ay - WIDTH_M / 2, ax + LENGTH_M, ay + WIDTH_M / 2)
    x, y = (
        np.repeat(ax, each) + np.tile(pattern.along_m, side**2),
        np.repeat(ay, each) - np.tile(pattern.offset_m, side**2),
    )
    number = np.arange(x.size) + 1
    colonies: Any = pd.DataFrame(
        {
            "tag": np.char.zfill(number.astype(str), 7), "sequence": number, "site": "WS", "plot": np.repeat(names, each),
            "species": "APAL", "genet": "a1", "along_m": np.tile(pattern.along_m, side**2),
            "offset_m": np.tile(pattern.offset_m, side**2), "angle_deg": np.nan,
        }
    )  # fmt: skip
    lon, lat = degrees.transform(x, y)
    written = Written(
        Path(),
        tables={
            "candidates": gpd.GeoDataFrame({"candidate": []}, geometry=[], crs=crs),
            "plots": gpd.GeoDataFrame(plots, geometry=shapes, crs=crs),
            "colonies": gpd.GeoDataFrame(colonies, geometry=gpd.points_from_xy(x, y), crs=crs),
        },
        colonies=gpd.GeoDataFrame(colonies, geometry=gpd.points_from_xy(lon.round(9), lat.round(9)), crs=4326),
    )
    settings = settings_from(
        {
            "plan": {"name": "Bench reef", "date": datetime.date(2026, 5, 1), "cell_m": 1.0, "fictional": True},
            "layers": {
                "bathymetry": {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
            },
            "species": [{"code": "APAL", "name": "Acropora palmata", "criteria": "elkhorn"}],
            "score": {"passing": 0.6},
            "candidates": {"least_area_m2": 50.0},
            "spacing": {
                "separation_m": SEPARATION_M, "lay_tolerance_m": 0.0, "clearance_m": 0.5, "plot": {"gap_m": GAP_M},
            },
        }
    )  # fmt: skip
    return settings, written


def main(short: bool = False) -> dict[str, bool]:
    """Print seconds of both audits: `python -m tests.bench layout_audit [--short]`."""
    settings, written = season(20_000 if short else 800_000)
    begun = time.perf_counter()
    spacing = audit_spacing(settings, written)
    took_spacing = time.perf_counter() - begun
    begun = time.perf_counter()
    plots = audit_plots(Path(), settings, written)
    took_plots = time.perf_counter() - begun
    due = {APART, PINS, READINGS, PLOT_TAGS}  # the share of allowed bottom needs rasters, which are not written here
    reached = all(f.ok for f in spacing) and all(f.ok for f in plots if f.promise in due)
    n = len(written.tables["colonies"])
    print(
        f"audit of {n} units in {len(written.tables['plots'])} plots: spacing {took_spacing:.1f} s, plots {took_plots:.1f} s"
    )
    for finding in [*spacing, *plots]:
        if not finding.ok and finding.promise in due:
            print(f"  {finding}")
    return {"reached": reached}
