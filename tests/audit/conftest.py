"""A small plan written without any code of the layout: two patches of hard bottom, 60 × 40 m, two species, three files
of places. Tests damage its files one by one."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from sitekit.audit.plan import audit_plan
from sitekit.audit.promises import Finding
from sitekit.base.files import hash_of, sha256_of, write_json
from sitekit.base.tables import build, conform, table
from sitekit.outputs.tables import write_colonies_csv
from sitekit.outputs.vector import write_candidates, write_colonies
from sitekit.season.plan_tables import fixed_time, read_table, write_plan
from sitekit.season.settings import Settings, read_settings

EPSG = 32622
WEST, NORTH, ROWS, COLS = 574_000.0, 1_996_000.0, 40, 60
STEP = 1.5  # m between planned units: 1.2 m asked, 0.2 m tolerance, 0.1 m spare

PLAN = """
[plan]
name = "Test reef"
date = 2026-04-15
cell_m = 1.0
[layers.bathymetry]
file = "depth.tif"
sign = "elevation"
units = "m"
datum = "MLLW"
depth_error_m = 0.3
[layers.substrate]
file = "bottom.geojson"
field = "bottom"
resolution_m = 1.0
[layers.substrate.classes]
"rock" = "Coral Reef Substrate"
"sand" = "Coral Sand"
[[layers.colonies]]
file = "living.csv"
[layers.protected]
file = "areas.geojson"
rule_field = "rule"
[layers.area]
file = "interest.geojson"
[[species]]
code = "APAL"
name = "elkhorn"
[[species]]
code = "ACER"
name = "staghorn"
fragments_per_unit = 3
fragment_gap_mm = 100
[[criteria]]
name = "depth"
field = "depth_m"
curve = { shape = "trapezoid", at = [0, 1, 10, 20] }
weight = 1.0
source = "made up for this test"
[score]
passing = 0.6
[exclusions]
least_depth_m = 1.0
greatest_depth_m = 12.0
substrate = ["Coral Sand"]
permit_held = ["Park"]
[candidates]
least_area_m2 = 20.0
[spacing]
mode = "number"
separation_m = 1.2
lay_tolerance_m = 0.2
clearance_m = 1.0
edge_clearance_m = 0.5
[spacing.numbers]
APAL = 50
ACER = 60
[stock]
file = "stock.csv"
"""
STOCK = {("APAL", "a1"): 30, ("APAL", "a2"): 30, ("ACER", "c1"): 100, ("ACER", "=c2"): 100}


def local(x: float, y: float) -> tuple[float, float]:
    """Easting and northing of metres east and south of the north-west corner."""
    return WEST + x, NORTH - y


def outline(*corners: tuple[float, float]) -> shapely.Polygon:
    return shapely.Polygon([local(*c) for c in corners])


ROCK = [outline((5, 5), (25, 5), (25, 35), (5, 35)), outline((30, 5), (50, 5), (50, 20), (30, 20))]
LIVING = [(15.0, 20.0), (40.0, 12.0)]
SHUT = outline((18, 27), (23, 27), (23, 33), (18, 33))
HARD = outline((18.5, 27.5), (22.5, 27.5), (22.5, 32.5), (18.5, 32.5))


class _Looked(dict[str, pd.DataFrame]):
    """The tables of a season, each read when it is first looked at."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def __missing__(self, name: str) -> pd.DataFrame:
        self[name] = read_table(self.path, name)
        return self[name]


@dataclass
class Plan:
    """A written plan that tests may damage."""

    folder: Path

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def settings(self) -> Settings:
        return read_settings(self.folder / "plan.toml")

    def audit(self) -> list[Finding]:
        return audit_plan(self.folder, self.settings)

    def broken(self) -> dict[str, str]:
        """Promise -> detail of what the audit finds broken."""
        return {f.promise: f.detail for f in self.audit() if not f.ok}

    def edit_json(self, name: str, change: Callable[[Any], None]) -> None:
        path = self.out / name
        data = json.loads(path.read_text("utf-8"))
        change(data)
        path.write_text(json.dumps(data, ensure_ascii=False), "utf-8")

    def edit_lines(self, name: str, change: Callable[[list[str]], list[str]]) -> None:
        path = self.out / name
        lines = path.read_bytes().decode("utf-8").split("\r\n")
        path.write_bytes("\r\n".join(change(lines)).encode("utf-8"))

    def edit_season(self, change: Callable[[dict[str, pd.DataFrame]], None]) -> None:
        """Change tables; only those that `change` looks at are read, and written again in their place."""
        path = self.out / "season.gpkg"
        crs = CRS.from_user_input(read_table(path, "candidates").crs)
        tables = _Looked(path)
        change(tables)
        with fixed_time():
            for name, frame in tables.items():
                kind = table(name).geometry
                rows: Any = conform(frame, name)
                pyogrio.write_dataframe(
                    gpd.GeoDataFrame(rows, geometry="geometry", crs=crs) if kind else rows,
                    path,
                    layer=name,
                    driver="GPKG",
                    geometry_type=kind,
                )

    def edit_everywhere(self, change: Callable[[Any], Any]) -> None:
        """Change the colonies in the season and write map and list from them, as a faulty layout would."""

        def apply(tables: dict[str, pd.DataFrame]) -> None:
            tables["colonies"] = change(tables["colonies"].copy())

        self.edit_season(apply)
        colonies = read_table(self.out / "season.gpkg", "colonies")
        write_colonies(self.out / "colonies.geojson", colonies)
        write_colonies_csv(self.out / "colonies.csv", colonies)

    def rehash(self) -> None:
        """Write the manifest again, as if a run had written the files as they stand."""
        write_manifest(self.folder, self.settings)


def write_manifest(folder: Path, settings: Settings) -> None:
    out = folder / "out"
    files = sorted(p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file() and p.name != "manifest.json")
    inputs = ["depth.tif", "bottom.geojson", "living.csv", "areas.geojson", "interest.geojson", "stock.csv"]
    write_json(
        out / "manifest.json",
        {
            "files": {n: sha256_of(out / n) for n in files},
            "inputs": {n: hashlib.sha256((folder / n).read_bytes()).hexdigest() for n in inputs},
            "run_id": "0000test",
            "settings_sha256": hash_of(settings.model_dump(mode="json")),
        },
    )


def _write_inputs(folder: Path) -> None:
    (folder / "plan.toml").write_text(PLAN, "utf-8")
    depth = _depth()
    profile = {"driver": "GTiff", "width": COLS, "height": ROWS, "count": 1, "crs": EPSG}
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH)
    with rasterio.open(folder / "depth.tif", "w", dtype="float32", transform=where, nodata=-9999, **profile) as file:
        file.write(-depth, 1)
    whole = outline((0, 0), (COLS, 0), (COLS, ROWS), (0, ROWS))
    sand = whole.difference(shapely.union_all(ROCK))
    bottom = gpd.GeoDataFrame({"bottom": ["rock", "rock", "sand"]}, geometry=[*ROCK, sand], crs=EPSG)
    bottom.to_crs(4326).to_file(folder / "bottom.geojson")
    areas = gpd.GeoDataFrame(
        {"name": ["Core", "Park"], "rule": ["forbidden", "permit"]},
        geometry=[HARD, outline((30, 0), (60, 0), (60, 40), (30, 40))],
        crs=EPSG,
    )
    areas.to_crs(4326).to_file(folder / "areas.geojson")
    gpd.GeoDataFrame(geometry=[whole.buffer(-2)], crs=EPSG).to_crs(4326).to_file(folder / "interest.geojson")
    back = Transformer.from_crs(EPSG, 4326, always_xy=True)
    rows = [(*back.transform(*local(*p)), "wild", 0.5, "APAL") for p in LIVING]
    text = "lon,lat,origin,position_error_m,species\n" + "".join(",".join(map(str, r)) + "\n" for r in rows)
    (folder / "living.csv").write_text(text, "utf-8")
    lines = [f"{s},{g},{n},healthy,2026-04-01,10\n" for (s, g), n in STOCK.items()]
    (folder / "stock.csv").write_text("species,genet,ready,health,health_date,size_cm\n" + "".join(lines), "utf-8")


def _depth() -> Any:
    rows, cols = np.mgrid[0:ROWS, 0:COLS]
    return (3.0 + 0.05 * cols + 0.02 * rows).astype(np.float32)


def _rasters(out: Path, depth: Any) -> Any:
    rows, cols = np.mgrid[0:ROWS, 0:COLS] + 0.5
    points = shapely.points(*local(cols, rows))
    rock = shapely.contains(shapely.union_all(ROCK), points)
    reason = np.where(rock, 0, 7).astype(np.uint8)
    reason[shapely.contains(SHUT, points)] = 3
    score = np.where(reason == 0, 0.7 + 0.001 * cols, np.nan).astype(np.float32)
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH)
    common = {"driver": "GTiff", "width": COLS, "height": ROWS, "crs": EPSG, "transform": where}
    (out / "layers").mkdir(parents=True)
    with rasterio.open(out / "layers" / "depth.tif", "w", count=1, dtype="float32", **common) as file:
        file.write(depth, 1)
    for code in ("APAL", "ACER"):
        with rasterio.open(out / f"score_{code}.tif", "w", count=1, dtype="float32", nodata=np.nan, **common) as file:
            file.write(score, 1)
        with rasterio.open(out / f"reasons_{code}.tif", "w", count=3, dtype="uint8", **common) as file:
            file.write(np.stack([np.zeros_like(reason), reason, np.zeros_like(reason)]))
    return score


def _lattice(shape: shapely.Polygon, number: int) -> list[tuple[float, float]]:
    west, south, east, north = shape.bounds
    room = shape.buffer(-0.6).difference(SHUT.buffer(0.6))
    for p in LIVING:
        room = room.difference(shapely.Point(local(*p)).buffer(1.75))
    found = [
        (x, y)
        for y in np.arange(north - 0.75, south, -STEP)
        for x in np.arange(west + 0.75, east, STEP)
        if room.contains(shapely.Point(x, y))
    ]
    return found[:number]


def make(folder: Path) -> Plan:
    """Write a plan that keeps every promise."""
    _write_inputs(folder)
    out = folder / "out"
    depth = _depth()
    score = _rasters(out, depth)
    first = ROCK[0].difference(SHUT)
    rows: list[dict[str, Any]] = []
    points: list[tuple[float, float]] = []
    for site, label, species, shape, number in (
        ("WS", "C01", "APAL", first, 50),
        ("C02", "C02", "ACER", ROCK[1], 60),
    ):
        genets = [g for s, g in STOCK if s == species]
        for k, (x, y) in enumerate(_lattice(shape, number)):
            row, col = int(NORTH - y), int(x - WEST)
            rows.append(
                {
                    "tag": f"T{len(points) + 1:04d}",
                    "sequence": k + 1,
                    "site": site,
                    "candidate": label,
                    "species": species,
                    "genet": genets[k % len(genets)],
                    "units": 1,
                    "fragments": 1 if species == "APAL" else 3,
                    "depth_m": float(depth[row, col]),
                    "score": float(score[row, col]),
                }
            )
            points.append((x, y))
    crs = CRS.from_epsg(EPSG)
    colonies: Any = build("colonies", rows, list(shapely.points(np.array(points))), crs)
    candidates: Any = _candidates(first, crs)
    allotted = colonies.groupby(["site", "species", "genet"]).size().reset_index(name="number").to_dict("records")
    tables = {
        "candidates": candidates,
        "candidate_species": build("candidate_species", [_offer("C01", "APAL"), _offer("C02", "ACER")]),
        "sites": build(
            "sites",
            [_site("WS", "C01", coded=True), _site("C02", "C02", coded=False)],
            [ROCK[0].centroid, ROCK[1].centroid],
            crs,
        ),
        "allotment": build("allotment", allotted),
        "colonies": colonies,
    }
    write_plan(out / "season.gpkg", tables, crs)
    write_candidates(out / "candidates.geojson", candidates)
    write_colonies(out / "colonies.geojson", colonies)
    write_colonies_csv(out / "colonies.csv", colonies)
    (out / "map.html").write_text("<!doctype html><title>Test reef</title>", "utf-8")
    plan = Plan(folder)
    plan.rehash()
    return plan


def _site(site: str, candidate: str, *, coded: bool) -> dict[str, Any]:
    return {
        "site": site, "coded": coded, "candidate": candidate, "rank": 1, "chosen": True, "reason": "test",
        "scouted": False,
    }  # fmt: skip


def _offer(candidate: str, species: str) -> dict[str, Any]:
    return {
        "candidate": candidate, "species": species, "area_m2": 500.0, "score_mean": 0.7, "score_sum": 350.0,
        "separation_m": 1.2, "planned_separation_m": 1.4, "capacity": 200, "bound": 300, "capacity_at_d": 250,
        "bound_at_d": 400,
    }  # fmt: skip


def _candidates(first: shapely.Geometry, crs: CRS) -> Any:
    rows, shapes = [], []
    for label, site, species, shape in (("C01", "WS", "APAL", first), ("C02", None, "ACER", ROCK[1])):
        degrees = gpd.GeoSeries([shape], crs=crs).to_crs(4326).iloc[0]
        area = abs(crs.get_geod().geometry_area_perimeter(shapely.orient_polygons(degrees))[0])
        rows.append(
            {
                "candidate": label, "site": site, "species": species, "cells": round(shape.area), "area_m2": area,
                "depth_min_m": 3.0, "depth_mean_m": 4.0, "depth_max_m": 5.0, "score_mean": 0.7, "score_max": 0.8,
                "unknown_pct": 0.0, "scout": False,
            }
        )  # fmt: skip
        shapes.append(shapely.MultiPolygon([shape]))
    return build("candidates", rows, shapes, crs)


@pytest.fixture(scope="session")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a plan that keeps every promise; never changed."""
    return make(tmp_path_factory.mktemp("sound")).folder


@pytest.fixture
def plan(sound: Path, tmp_path: Path) -> Plan:
    """A copy of it, ready to be damaged."""
    return Plan(Path(shutil.copytree(sound, tmp_path / "plan")))
