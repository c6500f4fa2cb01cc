"""Waves, tide, light and heat on the grid: one raster of many bands, a note of what each is, and what refuses them.

Works block by block: depths are thinned first, then each block's fields are read off the thinned sea.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.windows import Window

from sitekit.base.crs import WGS84, geographic_bounds, transform_points
from sitekit.base.files import atomic_path, write_json
from sitekit.base.north import convergence
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.series import Series, nearest_pixel
from sitekit.layers.tiled import WRITE_ERRORS, Block, Input, Output, open_output, write_fault
from sitekit.pipeline.fields import SEA_FIELDS, SEA_FILE, SEA_RASTER, SEA_WINDS, raster, sea_fields
from sitekit.pipeline.keep_clear import COASTLINE, read_drawn
from sitekit.pipeline.project import Project
from sitekit.pipeline.sea_inputs import SeaInputs, open_water
from sitekit.pipeline.sea_values import shown
from sitekit.seabed.arriving import arriving
from sitekit.seabed.exposure import ExposureTable, Thinned
from sitekit.seabed.fetch import LAND, UNKNOWN, WATER, directions
from sitekit.seabed.heat import pixel_caution
from sitekit.seabed.light import light_share
from sitekit.seabed.shelter import one_wind
from sitekit.seabed.tide import least_depth
from sitekit.seabed.way import Lookout, Surroundings

_THINNED_CELLS = 5_000  # about as many as 577 × 377 cells of 1 m make at 7 m; errors: methods page
_FAR_CELLS = 120  # far cells from the grid to the end of the known land
_DEGREE_M = 111_195.0  # length of a degree on a sphere of 6371 km [m]
_GAPS = {"water": WATER, "land": LAND, "unknown": UNKNOWN}


def sea_layers(project: Project, grid: Grid, inputs: SeaInputs) -> list[str]:
    """Write the sea's raster and its note; return the files written, none without a table about the sea.

    Rows of `inputs` are added to: what the grid makes of each table.
    """
    names = sea_fields(project.settings)
    if not names:
        return []
    rows = {row["layer"]: row for row in inputs.rows}
    waves, shelter = _waves(project, grid, inputs, rows) if project.settings.waves else (None, None)
    spread, flat = _heat(project, grid, inputs, rows) if project.settings.heat else (None, False)
    seen = {name: [0, math.inf, -math.inf] for name in names}
    sources: dict[str, Input] = {"depth": Input(raster(project, "depth"))}
    light = project.settings.light
    if light and light.raster:
        sources["kd"] = Input(raster(project, f"raster_{light.raster}"))

    def block(arrays: dict[str, NDArray[Any]], part: Block) -> Mapping[str, NDArray[Any]]:
        depth = arrays["depth"]
        held: dict[str, NDArray[Any]] = {}
        if project.settings.tide:
            held["lowest_tide_depth_m"] = least_depth(depth, inputs.heights["lowest"])
        if waves is not None:
            held |= waves.at(depth, part.row, part.col)
        if light:
            kd = arrays["kd"] if light.kd_per_m is None else light.kd_per_m
            try:
                held["light_share"] = light_share(depth, kd, inputs.heights[light.at])
            except InputFault as error:
                where = f"[layers.rasters.{light.raster}], read by light.raster"
                raise InputFault(*[Fault(where, f.came, f.due, f.do) for f in error.faults]) from error
        if spread is not None:
            held |= spread(grid.window(part.row, part.col, (part.rows, part.cols)), np.isnan(depth))
        return {"sea": np.stack([np.asarray(held[n], np.float32) for n in names])}

    run_blocks(
        grid,
        sources,
        {
            "sea": Output(
                project.target(SEA_RASTER),
                "float32",
                tuple((n, SEA_FIELDS[n][0]) for n in names),
                float("nan"),
            )
        },
        block,
        threads=project.machine.threads,
        memory_gb=project.machine.memory_gb,
    )
    _count(project, names, seen)
    fields = [
        {
            "field": n,
            "band": k,
            "unit": SEA_FIELDS[n][0],
            "meaning": SEA_FIELDS[n][1],
            "from": SEA_FIELDS[n][2],
            "minimum": float(f"{seen[n][1]:.6g}") if seen[n][0] else None,
            "maximum": float(f"{seen[n][2]:.6g}") if seen[n][0] else None,
            "share_known": round(seen[n][0] / (grid.shape[0] * grid.shape[1]), 4),
        }
        for k, n in enumerate(names, start=1)
    ]
    for row in inputs.rows:
        row["fields"] = [f["field"] for f in fields if f["from"] == row["layer"]]
        row["said"] += [_field_line(f) for f in fields if f["from"] == row["layer"]]
    note = {
        "fields": fields,
        "heights_m": {k: round(v, 4) for k, v in inputs.heights.items()},
        "heat_is_flat": flat,
        "shelter": shelter,
        "tables": inputs.rows,
    }
    write_json(project.target(SEA_FILE), note)
    return [SEA_RASTER, SEA_FILE, *([SEA_WINDS] if shelter else [])]


def _field_line(row: dict[str, Any]) -> str:
    if row["minimum"] is None:
        span = "unknown everywhere"
    else:
        low = shown(row["minimum"], row["unit"], with_unit=False)
        span = f"{low} to {shown(row['maximum'], row['unit'])}"
    return f"field {row['field']}: {span}, {100 * row['share_known']:.1f} % of the grid"


def _waves(
    project: Project, grid: Grid, inputs: SeaInputs, rows: Mapping[str, dict[str, Any]]
) -> tuple[ExposureTable, dict[str, Any]]:
    """Return the table of exposure, and what the file of shelter by wind holds."""
    settings = project.settings
    waves = settings.waves
    assert waves is not None
    assert inputs.wind is not None
    tide = inputs.heights[waves.at]
    thinned = Thinned(grid.shape, _factor(grid, waves.fetch_cell_m), tide, waves.shore_depth_m, _GAPS[waves.gaps])
    with rasterio.open(raster(project, "depth")) as file:
        for row, col, high, wide in grid.tiles():
            thinned.add(file.read(1, window=Window(col, row, wide, high)), row, col)
    around = _around(project, grid, thinned, waves.land_reach_m, rows["waves"])
    west, south, east, north = grid.bounds
    lon, lat = transform_points([(west + east) / 2], [(south + north) / 2], grid.crs, WGS84)
    turn = float(convergence(grid.crs, lon, lat)[0])
    sea_of_fields, sea_of_shelter = open_water(settings, inputs.swell)
    use = around.codes == WATER
    look = Lookout(around, use, convergence_deg=turn)
    sea = arriving(look, inputs.wind, method=waves.method, water=sea_of_fields, breaker_index=waves.breaker_index)
    table = ExposureTable(
        thinned,
        sea,
        use,
        max_unknown_share=waves.max_unknown_share,
        breaker_index=waves.breaker_index,
        mobile_ms=waves.mobile_ms,
        high_share=waves.high_share,
    )
    winds = one_wind(
        look,
        directions(waves.directions),
        waves.shelter_wind_ms,
        method=waves.method,
        open_water=sea_of_shelter,
        breaker_index=waves.breaker_index,
    )
    coarse = Grid(grid.crs, grid.west, grid.north, grid.cell * thinned.factor, around.codes.shape)
    parts = (("hs_m", winds.height_m), ("period_s", winds.period_s), ("fetch_m", winds.fetch_m), ("open", winds.open))
    bands = tuple((f"{name} wind from {d:g}", "") for name, _ in parts for d in winds.directions_deg)
    output = Output(project.target(SEA_WINDS), "float32", bands, float("nan"))
    try:
        with atomic_path(output.path) as beside, open_output(beside, output, coarse) as file:
            file.write(np.concatenate([values.astype(np.float32) for _, values in parts]))
    except WRITE_ERRORS as error:
        raise write_fault({"": output}, error) from error
    rows["waves"]["said"].append(
        f"looked at in cells of {coarse.cell:g} m; water of {tide:+.2f} m on the datum (tide {waves.at})"
    )
    unknown = float((sea.unknown_share > waves.max_unknown_share + 1e-9).mean()) if use.any() else 1.0
    if unknown:
        rows["waves"]["notes"].append(
            f"{unknown:.0%} of the water has wind from unknown, open directions for more than "
            f"{waves.max_unknown_share:.0%} of the time: no wave fields there"
        )
    shelter = {
        "file": SEA_WINDS,
        "directions_deg": [float(d) for d in winds.directions_deg],
        "wind_ms": waves.shelter_wind_ms,
        "tide_m": tide,
        "cell_m": coarse.cell,
        "mobile_ms": waves.mobile_ms,
        "breaker_index": waves.breaker_index,
    }
    return table, shelter


def _factor(grid: Grid, wanted_m: float | None) -> int:
    """Fine cells on a side of a thinned one."""
    if wanted_m is not None:
        return max(1, round(wanted_m / grid.cell))
    return max(1, math.ceil(math.sqrt(grid.shape[0] * grid.shape[1] / _THINNED_CELLS)))


def _around(project: Project, grid: Grid, thinned: Thinned, reach_m: float | None, row: dict[str, Any]) -> Surroundings:
    """Return thinned water and land, and the land of the coastline around them as far as it is complete."""
    codes, depth = thinned.surface()
    cell = grid.cell * thinned.factor
    drawn = read_drawn(project, COASTLINE) if reach_m is not None else None
    if drawn is None or reach_m is None:
        return Surroundings(codes, depth, cell)
    land = [g for g in drawn.geometry if g.geom_type.endswith("Polygon")]
    if not land:
        raise InputFault(
            Fault("layers.coastline", "holds lines only", "areas of land, for the waves", "Give land as polygons.")
        )
    coarse = Grid(grid.crs, grid.west, grid.north, cell, codes.shape)
    inside = rasterize(land, out_shape=codes.shape, transform=coarse.transform, dtype="uint8") > 0
    codes[inside & (thinned.known == 0)] = LAND
    far_cell = max(cell, reach_m / _FAR_CELLS)
    margin = math.ceil(reach_m / far_cell)
    shape = (
        2 * margin + math.ceil(codes.shape[0] * cell / far_cell),
        2 * margin + math.ceil(codes.shape[1] * cell / far_cell),
    )
    wide = Grid(grid.crs, grid.west - margin * far_cell, grid.north + margin * far_cell, far_cell, shape)
    near = [g for g in land if g.intersects(shapely.box(*wide.bounds))]
    far = np.zeros(shape, np.uint8)
    if near:
        far = rasterize(near, out_shape=shape, transform=wide.transform, dtype="uint8")
    row["said"].append(
        f"land of the coastline within {reach_m / 1000:g} km: {len(near)} areas, in cells of {far_cell:g} m"
    )
    return Surroundings(codes, depth, cell, far, far_cell, (float(margin), float(margin)))


class _Pixels:
    """Heat fields of a series spread over the grid, each cell with the pixel that holds its centre."""

    def __init__(self, series: Series, heat: dict[str, NDArray[np.float64]]) -> None:
        self.series, self.heat = series, heat

    def __call__(self, part: Grid, dry: NDArray[np.bool_]) -> dict[str, NDArray[np.float32]]:
        east, north = part.centres()
        if np.isnan(self.series.pixel_deg[0]):
            index = np.zeros(part.shape, np.int64)
        else:
            x, y = np.meshgrid(east, north)
            lon, lat = transform_points(x.ravel(), y.ravel(), part.crs, WGS84)
            index = nearest_pixel(self.series, lon, lat).reshape(part.shape)
        out = {}
        for name, values in self.heat.items():
            spread = np.where(index >= 0, values[index], np.nan).astype(np.float32)
            spread[dry] = np.nan
            out[name] = spread
        return out


def _heat(project: Project, grid: Grid, inputs: SeaInputs, rows: Mapping[str, dict[str, Any]]) -> tuple[_Pixels, bool]:
    """Return what spreads the heat fields, and whether they are the same all over the grid."""
    heat, series = project.settings.heat, inputs.series
    assert heat is not None
    assert series is not None
    west, south, east, north = geographic_bounds(grid.bounds, grid.crs)
    high, wide = grid.shape[0] * grid.cell, grid.shape[1] * grid.cell
    pixel_m = heat.pixel_m or (None if math.isnan(series.pixel_deg[0]) else series.pixel_deg[1] * _DEGREE_M)
    if math.isnan(series.pixel_deg[0]):
        flat = True
        rows["heat"]["notes"].append("one place stands for the whole grid: heat cannot rank cells inside it")
    else:
        half_wide, half_high = series.pixel_deg[0] / 2, series.pixel_deg[1] / 2
        near = (
            (np.abs((series.lon_deg - (west + east) / 2 + 180) % 360 - 180) <= half_wide + (east - west) / 2)
            & (series.lat_deg + half_high >= south)
            & (series.lat_deg - half_high <= north)
        )  # fmt: skip
        with Faults() as faults:
            if not near.any():
                faults.add(
                    "heat.file",
                    f"no pixel over {west:.3f} to {east:.3f} E, {south:.3f} to {north:.3f} N",
                    "pixels that cover the grid",
                    "Get the series of the right place; longitudes may run 0 to 360.",
                )
        index = np.flatnonzero(near)
        known = [k for k in index if not np.isnan(inputs.heat["mmm_c"][k])]
        series = Series(
            series.dates,
            series.sst_c[:, index],
            series.lon_deg[index],
            series.lat_deg[index],
            series.pixel_deg,
            series.step,
            series.notes,
        )
        inputs.heat = {name: values[index] for name, values in inputs.heat.items()}
        flat = len(known) <= 1
        rows["heat"]["said"].append(f"{len(index)} pixels touch the grid, {len(known)} with values")
    caution = pixel_caution(pixel_m, wide, high) if pixel_m else None
    if caution:
        rows["heat"]["notes"].append(caution)
    rows["heat"]["flat"] = flat
    return _Pixels(series, inputs.heat), flat


def _count(project: Project, names: list[str], seen: dict[str, list[float]]) -> None:
    """Gather counts and ranges from the written bands, tile by tile."""
    with rasterio.open(project.target(SEA_RASTER)) as file:
        for k, name in enumerate(names, start=1):
            for _, window in file.block_windows(k):
                values = file.read(k, window=window)
                values = values[~np.isnan(values)]
                if values.size:
                    count, low, high = seen[name]
                    seen[name] = [
                        count + values.size,
                        min(low, float(values.min())),
                        max(high, float(values.max())),
                    ]
