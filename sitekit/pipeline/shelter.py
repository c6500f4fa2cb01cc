"""How each site lies to the wind from each direction, for the choice of the day."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from sitekit.base.tables import build, empty
from sitekit.layers.grid import Grid
from sitekit.pipeline.fields import SEA_FILE, SEA_WINDS, raster, read_ground
from sitekit.pipeline.project import Project
from sitekit.seabed.shelter import OneWind, shelter_table


def shelter_rows(project: Project, sites: pd.DataFrame) -> pd.DataFrame:
    """Return the table `shelter`: coded sites (without codes the chosen ones), every direction; empty without `[waves]`.

    Parameters
    ----------
    project : Project
        With the layers stage done.
    sites : DataFrame
        The table `sites`, with positions.
    """
    if project.settings.waves is None or not bool((sites["coded"] | sites["chosen"]).any()):
        return empty("shelter")
    note = json.loads(project.result(SEA_FILE).read_text("utf-8"))["shelter"]
    table = _table(project, sites, note)
    return build("shelter", [{str(k): v for k, v in row.items()} for row in table.to_dict("records")])


def _table(project: Project, sites: pd.DataFrame, note: dict[str, Any]) -> pd.DataFrame:
    grid = read_ground(project).grid
    sites = sites[sites["coded"] if sites["coded"].any() else sites["chosen"]]
    x, y = sites.geometry.x.to_numpy(), sites.geometry.y.to_numpy()
    inside = grid.holds(*grid.cell_of(x, y))
    used = sites[inside]
    x, y = x[inside], y[inside]
    wind = _read_winds(project, note)
    coarse = Grid(grid.crs, grid.west, grid.north, note["cell_m"], wind.height_m.shape[1:])
    row, col = coarse.cell_of(x, y)
    row, col = _to_water(np.isnan(wind.fetch_m[0]), row, col)
    table = shelter_table(
        [str(s) for s in used["site"]],
        _depths(project, grid, x, y),
        wind,
        row,
        col,
        note["wind_ms"],
        breaker_index=note["breaker_index"],
        mobile_ms=note["mobile_ms"],
        tide_m=note["tide_m"],
    )
    table["rank"] = table["rank"].astype("Int64")
    return table


def _read_winds(project: Project, note: dict[str, Any]) -> OneWind:
    with rasterio.open(project.result(SEA_WINDS)) as file:
        bands = file.read().astype(np.float64)
    bearings = np.asarray(note["directions_deg"], np.float64)
    height, period, fetch, is_open = np.split(bands, 4)
    return OneWind(bearings, height, period, fetch, is_open > 0)


def _to_water(
    dry: NDArray[np.bool_], row: NDArray[np.int64], col: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Move a site whose thinned cell is mostly land to the first of the cells beside it that is water."""
    row, col = row.copy(), col.copy()
    for k in np.flatnonzero(dry[row, col]):
        for dr, dc in ((0, -1), (0, 1), (-1, 0), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1)):
            r, c = row[k] + dr, col[k] + dc
            if 0 <= r < dry.shape[0] and 0 <= c < dry.shape[1] and not dry[r, c]:
                row[k], col[k] = r, c
                break
    return row, col


def _depths(project: Project, grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Charted depth at each place: the mean of the known among its cell and the eight around it."""
    row, col = grid.cell_of(x, y)
    out = np.full(row.size, np.nan)
    with rasterio.open(raster(project, "depth")) as file:
        for k, (r, c) in enumerate(zip(row, col, strict=True)):
            top, left = max(int(r) - 1, 0), max(int(c) - 1, 0)
            high, wide = min(int(r) + 2, grid.shape[0]) - top, min(int(c) + 2, grid.shape[1]) - left
            near = file.read(1, window=Window(left, top, wide, high)).astype(np.float64)
            near = near[~np.isnan(near)]
            if near.size:
                out[k] = near.mean()
    return out
