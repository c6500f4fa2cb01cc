"""The made-up reef of the demo: same bytes, honest labels, and a sea floor on which the job can be shown."""

from __future__ import annotations

import csv
import hashlib
import importlib.util
import json
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from sitekit.season.settings import read_settings

SCRIPT = Path(__file__).resolve().parents[2] / "data_samples" / "make_reef.py"
UTM = 32622
HARD = ["reef crest", "spur", "reef pavement", "patch reef"]


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_reef_under_test", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def demo(script: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    script.make(folder)
    return folder


def _layer(demo: Path, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(demo / f"{name}.geojson").to_crs(UTM)


def _rows(demo: Path, name: str) -> list[dict[str, str]]:
    with (demo / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _colonies(demo: Path) -> gpd.GeoDataFrame:
    rows = pd.DataFrame(_rows(demo, "colonies.csv"))
    points = gpd.points_from_xy(rows.lon.astype(float), rows.lat.astype(float))
    return gpd.GeoDataFrame(rows, geometry=points, crs=4326).to_crs(UTM)


def _depth_at(demo: Path, points: gpd.GeoSeries) -> np.ndarray[Any, np.dtype[np.float64]]:
    with rasterio.open(demo / "bathymetry.tif") as file:
        found = [v[0] for v in file.sample([(p.x, p.y) for p in points], masked=True)]
    return -np.array([np.nan if np.ma.is_masked(v) else float(v) for v in found])


def test_the_reef_is_made_twice_with_the_same_bytes(script: ModuleType, demo: Path, tmp_path: Path) -> None:
    """A clock or an unseeded draw would change a file, and the run id of every demo with it."""
    script.make(tmp_path)

    def digests(folder: Path) -> dict[str, str]:
        return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}

    assert digests(tmp_path) == digests(demo)
    assert len(digests(demo)) >= 18


def test_every_file_says_that_it_is_fictional(demo: Path) -> None:
    """A file that leaves the folder alone could be taken for a survey."""
    for path in sorted(demo.iterdir()):
        if path.suffix == ".tif":
            with rasterio.open(path) as file:
                assert file.tags()["FICTIONAL"] == "YES"
                assert "FICTIONAL" in file.tags()["TIFFTAG_IMAGEDESCRIPTION"]
        elif path.suffix == ".csv":
            assert {row["note"] for row in _rows(demo, path.name)} == {"FICTIONAL"}
        elif path.suffix == ".geojson":
            data = json.loads(path.read_text("utf-8"))
            assert "FICTIONAL" in data["description"]
            assert all("FICTIONAL" in f["properties"]["note"] for f in data["features"])
        else:
            assert "FICTIONAL" in path.read_text("utf-8")


def test_no_file_is_over_one_megabyte(demo: Path) -> None:
    """Large samples would swell every download and slow the demo."""
    assert max(p.stat().st_size for p in demo.iterdir()) < 1_000_000


def test_depth_raster_has_the_promised_size_gaps_islet_and_range(demo: Path) -> None:
    """A sign or a datum lost in writing would turn the reef upside down."""
    with rasterio.open(demo / "bathymetry.tif") as file:
        z = file.read(1, masked=True)
        assert file.res == (1.0, 1.0)
        assert file.crs.to_epsg() == UTM
        assert file.tags()["VERTICAL_DATUM"] == "MLLW"
    assert z.shape == (400, 600)
    assert 0.005 < z.mask.mean() < 0.05
    assert -25.0 <= float(z.min()) < -22.0
    assert 2.0 < float(z.max()) < 4.0
    assert 500 < int((z > 0).sum()) < 6000


def test_substrate_polygons_share_their_edges(demo: Path) -> None:
    """An overlap gives a cell two bottoms; a sliver between polygons gives it none."""
    bottom = _layer(demo, "substrate")
    assert bottom.is_valid.all()
    whole = shapely.union_all(bottom.geometry.to_numpy())
    # coordinates are rounded to 1e-7 degree, about 1 cm; over some 20 km of edges that is below 20 m² of 237,000
    assert abs(bottom.area.sum() - whole.area) < 20.0
    assert len(bottom) > 50
    assert set(bottom.bottom) == {*HARD, "sand", "rubble", "seagrass", "algal plain"}


def test_bottom_classes_agree_with_the_depths(demo: Path) -> None:
    """A crest drawn in deep water, or an algal plain in the surf, would make the demo's scores nonsense."""
    bottom = _layer(demo, "substrate")
    rng = np.random.default_rng(7)
    wanted = {"reef crest": (0.4, 1.5), "spur": (0.7, 8.0), "reef pavement": (5.0, 17.0), "algal plain": (9.0, 25.0)}
    for name, (least, greatest) in wanted.items():
        area = shapely.union_all(bottom.geometry[bottom.bottom == name].to_numpy()).buffer(-1.0)
        west, south, east, north = area.bounds
        points = shapely.points(rng.uniform(west, east, 4000), rng.uniform(south, north, 4000))
        inside = gpd.GeoSeries(points[shapely.contains(area, points)])
        depth = _depth_at(demo, inside)
        depth = depth[np.isfinite(depth)]
        assert depth.size > 80
        assert np.mean((depth >= least) & (depth <= greatest)) > 0.97, name


def test_colonies_live_on_hard_bottom_at_their_depths(demo: Path) -> None:
    """Colonies strewn over sand would teach the demo's reader a falsehood."""
    found = _colonies(demo)
    bottom = _layer(demo, "substrate")
    assert 180 <= len(found) <= 220
    on = found.sjoin(bottom[["bottom", "geometry"]], how="left", predicate="within").bottom
    # 92 % of elkhorn and 84 % of staghorn records lay on mapped hard bottom (Wirt 2015; TV-015, TV-016)
    assert 0.84 <= on.isin(HARD).mean() < 1.0
    depth = _depth_at(demo, found.geometry)
    assert 0.9 < np.nanmedian(depth[found.species == "APAL"]) < 4.6  # TV-001
    assert 4.6 < np.nanmedian(depth[found.species == "ACER"]) < 13.7  # TV-002
    assert found.within(_layer(demo, "surveyed_area").union_all().buffer(6.0)).all()
    assert set(found.origin) == {"wild", "outplant"}
    assert (found.position_error_m.astype(float) > 0).all()


def test_both_species_have_room_in_several_patches(demo: Path) -> None:
    """With one patch per species there would be nothing to choose."""
    bottom = _layer(demo, "substrate")
    hard = bottom[bottom.bottom.isin(HARD)].explode()
    patches = shapely.get_parts(shapely.union_all(hard.geometry.to_numpy()))
    rng = np.random.default_rng(3)
    counts = {"APAL": 0, "ACER": 0}
    for patch in patches[shapely.area(patches) > 150]:
        west, south, east, north = patch.bounds
        points = shapely.points(rng.uniform(west, east, 150), rng.uniform(south, north, 150))
        inside = shapely.contains(patch, points)
        depth = _depth_at(demo, gpd.GeoSeries(points[inside]))
        share = patch.area / max(int(inside.sum()), 1)
        counts["APAL"] += np.sum((depth >= 0.91) & (depth <= 4.57)) * share > 150
        counts["ACER"] += np.sum((depth >= 4.57) & (depth <= 13.72)) * share > 150
    assert counts["APAL"] >= 5
    assert counts["ACER"] >= 5


def test_protected_areas_have_the_four_rules_and_nest(demo: Path) -> None:
    """Without nesting the strictest rule would never be put to the test."""
    areas = _layer(demo, "protected").set_index("rule").geometry
    assert sorted(areas.index) == ["forbidden", "none", "permit", "preferred"]
    assert areas["forbidden"].within(areas["permit"])
    assert areas["preferred"].overlaps(areas["permit"])


def test_the_survey_leaves_part_of_the_area_unseen(demo: Path) -> None:
    """Demo readers must meet cells whose distance to colonies is unknown."""
    area, seen = _layer(demo, "area").union_all(), _layer(demo, "surveyed_area").union_all()
    assert 0.5 < seen.intersection(area).area / area.area < 0.9


def test_stock_names_stay_text_and_some_rows_fail_a_gate(demo: Path) -> None:
    """Genets named NO, 010 and 12:30 show whether a reader turns names into values."""
    rows = _rows(demo, "stock.csv")
    genets = {(r["species"], r["genet"]) for r in rows}
    assert {("ACER", "NO"), ("ACER", "010"), ("ACER", "12:30"), ("APAL", "007"), ("APAL", "7")} <= genets
    good = [
        r for r in rows if r["health"] == "healthy" and float(r["size_cm"]) >= 5 and r["health_date"] > "2026-02-15"
    ]
    assert len({r["genet"] for r in good if r["species"] == "ACER"}) == 10
    assert len({r["genet"] for r in good if r["species"] == "APAL"}) == 8
    assert sum(int(r["ready"]) for r in good) > 400
    assert len(rows) - len(good) >= 5


def test_shares_of_wind_and_swell_sum_to_one(demo: Path) -> None:
    """A table that does not sum to 1 would be refused by the tool that it is meant to show."""
    for name in ("wind.csv", "swell.csv"):
        rows = _rows(demo, name)
        assert sum(round(float(r["share"]) * 10_000) for r in rows) == 10_000
        assert all(0 <= float(r["direction_deg"]) < 360 for r in rows)


def test_sea_temperatures_hold_twelve_years_with_one_hot_summer(demo: Path) -> None:
    """Without an event there is no heat to count; without a gap no rule for gaps to state."""
    rows = _rows(demo, "sst_daily.csv")
    days = [np.datetime64(r["date"]) for r in rows]
    steps = np.diff(np.array(days)).astype(int)
    assert sorted(steps)[-2:] == [1, 5]
    assert len(rows) == 4383 - 4  # 2014 to 2025 hold three leap days
    hottest = max(rows, key=lambda r: float(r["sst_c"]))
    assert hottest["date"].startswith("2023")
    assert all(24.0 < float(r["sst_c"]) < 31.0 for r in rows)


def test_plan_is_accepted_and_agrees_with_the_files(demo: Path) -> None:
    """A plan that names a missing file, or a nursery elsewhere than on the map, breaks the first run."""
    plan = read_settings(demo / "plan.toml")
    assert plan.plan.fictional
    text = (demo / "plan.toml").read_text("utf-8")
    layers = tomllib.loads(text)["layers"]
    tables = [*(t for t in layers.values() if isinstance(t, dict)), *layers["colonies"], {"file": "stock.csv"}]
    named = {t[k] for t in tables for k in ("file", "surveyed_area") if k in t}
    assert all((demo / name).is_file() for name in named)
    assert set(_layer(demo, "substrate").bottom) == set(plan.layers.substrate.classes)  # type: ignore[union-attr]
    stations = gpd.read_file(demo / "stations.geojson").set_index("name").geometry
    for place in (plan.nursery, plan.harbour):
        assert place is not None
        north, west = (part.split() for part in place.at.split(","))
        lat, lon = int(north[0]) + float(north[1]) / 60, -int(west[0]) - float(west[1]) / 60
        assert stations[place.name].distance(shapely.Point(lon, lat)) < 2e-6
    assert plan.nursery is not None
    depth = _depth_at(demo, gpd.GeoSeries([stations["Nursery"]], crs=4326).to_crs(UTM))
    assert depth[0] == pytest.approx(plan.nursery.depth_m, abs=0.15)


def test_site_codes_stand_on_hard_bottom_outside_forbidden_water(demo: Path) -> None:
    """A code on sand belongs to no candidate, and the demo would open with a fault."""
    bottom, areas = _layer(demo, "substrate"), _layer(demo, "protected")
    hard = bottom[bottom.bottom.isin(HARD)].union_all()
    closed = areas[areas.rule == "forbidden"].union_all()
    for site in read_settings(demo / "plan.toml").site:
        north, west = (part.split() for part in str(site.at).split(","))
        lat, lon = int(north[0]) + float(north[1]) / 60, -int(west[0]) - float(west[1]) / 60
        spot = gpd.GeoSeries([shapely.Point(lon, lat)], crs=4326).to_crs(UTM).iloc[0]
        assert hard.contains(spot.buffer(4.0)), site.code
        assert not closed.intersects(spot.buffer(20.0)), site.code


def test_land_is_the_islet_and_a_larger_island_with_the_harbour_afloat(demo: Path) -> None:
    """The vicinity map and the sea route need land that the boat has to go around, and a harbour in the water."""
    land = _layer(demo, "coastline").set_index("name").geometry
    assert land.is_valid.all()
    assert land["Tarrowenne Island"].area > 1e6
    assert 500 < land["Little Tarrowenne"].area < 6000
    harbour = _layer(demo, "stations").set_index("name").geometry["Tarrowenne Harbour"]
    assert 5 < land["Tarrowenne Island"].distance(harbour) < 300
