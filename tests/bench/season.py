"""A whole season on 1,000 × 1,000 cells with 10,000 units, from files to map: seconds, peak memory, audit.

Each run is a process of its own, as a user's is. Compiling happens in the first one only and is printed apart.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from scipy import ndimage

EPSG, WEST, NORTH = 32622, 574_000.0, 1_996_000.0
LIMIT_S, LIMIT_GB = 20.0, 1.0  # due for scores, units, tables and map without compiling, on two cores
# What a run does beyond that is told apart: stability under other weights, work areas, days, and what is printed.
MORE_STAGES = ("sensitivity", "outline", "fieldwork")
PRINTED = (
    ("sitekit.pipeline.diver_files", "write_diver_files"),
    ("sitekit.pipeline.permit_files", "write_permit_files"),
    ("sitekit.pipeline.decision_record", "write_decision_files"),
    ("sitekit.outputs.map_sheet", "write_map_sheet"),
)

PLAN = """
[plan]
name = "Bench reef, FICTIONAL"
date = 2026-04-15
cell_m = 1.0
fictional = true
[layers.bathymetry]
file = "depth.tif"
sign = "depth"
units = "m"
datum = "MLLW"
depth_error_m = 0.3
[layers.substrate]
file = "bottom.tif"
[layers.substrate.classes]
"1" = "Coral Reef Substrate"
"2" = "Coral Sand"
[[layers.colonies]]
file = "living.geojson"
position_error_m = 0.5
origin = "wild"
[layers.protected]
file = "areas.geojson"
rule_field = "rule"
[[species]]
code = "APAL"
name = "elkhorn, Acropora palmata"
criteria = "elkhorn"
[[species]]
code = "ACER"
name = "staghorn, Acropora cervicornis"
criteria = "staghorn"
[score]
passing = 0.6
[exclusions]
least_depth_m = 1.0
greatest_depth_m = 15.0
substrate = ["Coral Sand"]
[candidates]
least_area_m2 = 150.0
[spacing]
mode = "MODE"
separation_m = 1.0
lay_tolerance_m = 0.2
clearance_m = 1.0
edge_clearance_m = 0.5
[spacing.numbers]
APAL = 3000
ACER = 7000
[stock]
file = "stock.csv"
"""


def write_project(folder: Path, *, side: int, units: int, mode: str, seed: int = 7) -> Path:
    """Write the inputs of a made-up reef of `side`² cells of 1 m; return its plan."""
    rng = np.random.default_rng(seed)
    rough = ndimage.gaussian_filter(rng.standard_normal((side, side)), 12.0)
    rough /= rough.std()
    down = np.linspace(2.0, 14.0, side)[None, :]
    fine = ndimage.gaussian_filter(rng.standard_normal((side, side)), 2.0)
    depth = np.clip(down + 0.8 * rough + 0.3 * fine / fine.std(), 0.3, 30.0).astype(np.float32)
    bottom = np.where(ndimage.gaussian_filter(rng.standard_normal((side, side)), 6.0) > 0.0, 1, 2).astype(np.uint8)
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH)
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "crs": EPSG, "transform": where}
    with rasterio.open(folder / "depth.tif", "w", dtype="float32", nodata=-9999, tiled=True, **profile) as file:
        file.write(depth, 1)
    with rasterio.open(folder / "bottom.tif", "w", dtype="uint8", nodata=0, tiled=True, **profile) as file:
        file.write(bottom, 1)
    x, y = WEST + rng.uniform(5, side - 5, 500), NORTH - rng.uniform(5, side - 5, 500)
    living = gpd.GeoDataFrame({"species": ["ACER"] * 500}, geometry=shapely.points(x, y), crs=EPSG)
    living.to_crs(4326).to_file(folder / "living.geojson")
    box = shapely.box(WEST + 0.4 * side, NORTH - 0.6 * side, WEST + 0.5 * side, NORTH - 0.5 * side)
    gpd.GeoDataFrame({"name": ["Core"], "rule": ["forbidden"]}, geometry=[box], crs=EPSG).to_crs(4326).to_file(
        folder / "areas.geojson"
    )
    rows = ["species,genet,ready,size_cm,health,health_date"]
    for code, number in (("APAL", 3 * units // 10), ("ACER", 7 * units // 10)):
        rows += [f"{code},{code[1]}{k:02d},{-(-number // 20)},12,healthy,2026-04-01" for k in range(20)]
    (folder / "stock.csv").write_text("\n".join(rows) + "\n", "utf-8")
    text = PLAN.replace("MODE", mode).replace("3000", str(3 * units // 10)).replace("7000", str(7 * units // 10))
    (folder / "plan.toml").write_text(text, "utf-8")
    return folder / "plan.toml"


_RUN = """
import importlib, json, resource, sys, time
begin = time.perf_counter()
later = 0.0
def timed(module, name):
    inner = getattr(importlib.import_module(module), name)
    def outer(*given, **named):
        global later
        start = time.perf_counter()
        try:
            return inner(*given, **named)
        finally:
            later += time.perf_counter() - start
    setattr(importlib.import_module(module), name, outer)
for function in PRINTED:
    timed(*function)
from sitekit.cli import rim
from sitekit.cli.entry import root
code = rim.run(root, sys.argv[1:])
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e9 if sys.platform == "darwin" else 1e6)
print(json.dumps({"code": code, "peak_gb": peak, "seconds": time.perf_counter() - begin, "later_s": later}), file=sys.stderr)
"""


def timed(arguments: list[str], cache: Path) -> dict[str, float]:
    """Run a command in a fresh process; return its exit code, seconds and peak memory [GB]."""
    here = str(Path(__file__).resolve().parents[2])
    environment = {**os.environ, "SITEKIT_CACHE": str(cache), "PYTHONPATH": here}
    environment.pop("NUMBA_CACHE_DIR", None)
    begin = time.perf_counter()
    said = subprocess.run(
        [sys.executable, "-c", f"PRINTED = {PRINTED!r}\n{_RUN}", *arguments],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    seconds = time.perf_counter() - begin
    found: dict[str, float] = json.loads(said.stderr.strip().splitlines()[-1])
    if found["code"] not in (0, 4):
        raise RuntimeError(said.stderr)
    return {**found, "wall_s": seconds}


def main(short: bool = False) -> dict[str, object]:
    """Run both modes; print a row each; `reached` says whether the limits hold."""
    side, units = (300, 900) if short else (1000, 10_000)
    reached = True
    with tempfile.TemporaryDirectory() as cache:
        for mode in ("number", "plots"):
            with tempfile.TemporaryDirectory() as name:
                plan = write_project(Path(name), side=side, units=units, mode=mode)
                first = timed(["run", str(plan)], Path(cache))
                (Path(name) / "out" / "manifest.json").unlink()
                again = timed(["run", str(plan)], Path(cache))
                same = timed(["run", str(plan)], Path(cache))
                audit = timed(["audit", str(plan)], Path(cache))
                manifest = json.loads((Path(name) / "out" / "manifest.json").read_text("utf-8"))
                placed = manifest["figures"]["place"]["units"]
            stages = manifest["when"]["seconds"]
            more_s = again["later_s"] + sum(stages.get(stage, 0.0) for stage in MORE_STAGES)
            ok = again["wall_s"] - more_s < LIMIT_S and again["peak_gb"] < LIMIT_GB
            reached &= ok or short
            print(
                f"{mode}: {side} × {side} cells, {sum(placed.values())} of {units} units; "
                f"first run {first['wall_s']:.1f} s (compiling included), again {again['wall_s']:.1f} s, "
                f"{again['wall_s'] - more_s:.1f} s of it from files to units, tables and map (due {LIMIT_S:g}), "
                f"peak {again['peak_gb']:.2f} GB (due {LIMIT_GB:g}); "
                f"unchanged {same['wall_s']:.2f} s; audit {audit['wall_s']:.1f} s, exit {audit['code']:.0f}"
            )
            print("  seconds by stage: " + ", ".join(f"{k} {v:g}" for k, v in stages.items()))
    return {"reached": reached}
