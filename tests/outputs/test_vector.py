"""GeoJSON: what RFC 7946 asks for, the same bytes, nothing lost on the way."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from sitekit.base.sources import shared_file
from sitekit.base.tables import build, empty
from sitekit.errors import InputFault
from sitekit.outputs.vector import write_candidates, write_colonies, write_geojson

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/geojson.json").read_text("utf-8"))}
UTM = "EPSG:32620"


def written(path: Path, frame: Any, **options: Any) -> dict[str, Any]:
    write_geojson(path, frame, **options)
    data: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return data


def colonies(points: list[Any], crs: str = UTM) -> Any:
    rows = [
        {
            "sequence": i + 1, "site": "WS", "species": "APAL", "genet": "010", "units": 1, "fragments": 1,
            "depth_m": 4.5, "score": 0.5,
        }
        for i in range(len(points))
    ]  # fmt: skip
    return build("colonies", rows, points, crs)


def test_longitude_comes_first(tmp_path: Path) -> None:
    """Published row geojson-axis: a swapped pair puts a reef on another continent."""
    row = ROWS["geojson-axis"]
    point = gpd.GeoDataFrame(geometry=[shapely.Point(-64.72, 18.345)], crs=4326)
    data = written(tmp_path / "a.geojson", point)
    assert data["features"][0]["geometry"]["coordinates"] == row["expected"]["coordinates"]


def test_outer_rings_turn_left_and_holes_right(tmp_path: Path) -> None:
    """Published row geojson-winding: a clockwise outer ring can be read as the whole world but the patch."""
    row = ROWS["geojson-winding"]
    ring = row["inputs"]["exterior_as_given"]
    hole = [(0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8), (0.2, 0.2)]
    frame = gpd.GeoDataFrame(geometry=[shapely.Polygon(ring), shapely.Polygon(ring, [hole])], crs=4326)
    features = written(tmp_path / "a.geojson", frame)["features"]
    exterior = shapely.LinearRing(features[0]["geometry"]["coordinates"][0])
    assert shapely.LinearRing(ring).is_ccw is row["expected"]["is_ccw"]
    assert exterior.is_ccw
    assert {tuple(c) for c in features[0]["geometry"]["coordinates"][0]} == {
        tuple(c) for c in row["expected"]["written"]
    }
    assert not shapely.LinearRing(features[1]["geometry"]["coordinates"][1]).is_ccw


def test_projected_layers_become_wgs84_without_crs_member(tmp_path: Path) -> None:
    """Published row geojson-no-crs: metres written as degrees, with a crs member most readers ignore."""
    row = ROWS["geojson-no-crs"]
    frame = gpd.GeoDataFrame(geometry=[shapely.Point(318251.62, 2029214.48)], crs=UTM)
    data = written(tmp_path / "a.geojson", frame)
    assert "crs" not in data
    assert data["features"][0]["geometry"]["coordinates"] == pytest.approx(
        row["expected"]["coordinates"], abs=row["tolerance"]["deg"]
    )


@pytest.mark.parametrize("crs", [4326, 32760])
def test_outlines_are_cut_at_the_antimeridian(tmp_path: Path, crs: int) -> None:
    """Published row geojson-antimeridian-cut: uncut, the patch would span the globe."""
    row = ROWS["geojson-antimeridian-cut"]
    ring = np.array(row["inputs"]["polygon_lon_lat"])
    if crs != 4326:
        ring = np.column_stack(Transformer.from_crs(4326, crs, always_xy=True).transform(ring[:, 0], ring[:, 1]))
    frame = gpd.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs=crs)
    geometry = shapely.geometry.shape(written(tmp_path / "a.geojson", frame)["features"][0]["geometry"])
    assert geometry.geom_type == row["expected"]["type"]
    ranges = sorted([part.bounds[0], part.bounds[2]] for part in geometry.geoms)
    due = sorted(sorted(pair) for pair in row["expected"]["part_lon_ranges"])
    assert np.allclose(ranges, due, atol=row["tolerance"]["deg"])


def test_points_carry_nine_decimals_and_outlines_seven(tmp_path: Path) -> None:
    """Seven decimals move a unit by a centimetre, enough to break a separation."""
    write_colonies(tmp_path / "a.geojson", colonies([shapely.Point(318251.6212345, 2029214.4812345)]))
    text = (tmp_path / "a.geojson").read_text("utf-8")
    place = json.loads(text)["features"][0]["geometry"]["coordinates"]
    assert max(len(repr(v).split(".")[1]) for v in place) == 9
    square = gpd.GeoDataFrame(geometry=[shapely.box(318251.62, 2029214.48, 318261.3, 2029224.1)], crs=UTM)
    ring = written(tmp_path / "b.geojson", square)["features"][0]["geometry"]["coordinates"][0]
    assert max(len(repr(v).split(".")[1]) for pair in ring for v in pair) == 7


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.floats(200_000, 800_000), st.floats(1_000, 9_000_000)), min_size=1, max_size=30))
def test_written_points_stay_within_a_tenth_of_a_millimetre(tmp_path_factory: Any, places: list[Any]) -> None:
    """A pair planned at its separation must still be there after writing and reading."""
    path = tmp_path_factory.mktemp("points") / "a.geojson"
    write_colonies(path, colonies([shapely.Point(p) for p in places]))
    read = gpd.read_file(path)
    lon, lat = Transformer.from_crs(UTM, 4326, always_xy=True).transform(*np.array(places).T)
    _, _, metres = Geod(ellps="WGS84").inv(lon, lat, read.geometry.x, read.geometry.y)
    assert np.max(metres) < 1e-4


def test_text_stays_text_and_empty_stays_null(tmp_path: Path) -> None:
    """A genet 010 must not become 10, a text like [1] no array, a missing tag no word."""
    frame = colonies([shapely.Point(318251.62, 2029214.48)])
    frame["plot"] = ["[1]"]
    write_colonies(tmp_path / "a.geojson", frame)
    feature = json.loads((tmp_path / "a.geojson").read_text("utf-8"))["features"][0]
    assert feature["id"] == "WS-1"
    assert feature["properties"]["genet"] == "010"
    assert feature["properties"]["plot"] == "[1]"
    assert feature["properties"]["tag"] is None
    assert feature["properties"]["depth_m"] == 4.5


def test_a_made_up_reef_says_so_on_every_feature_and_the_collection(tmp_path: Path) -> None:
    """A fictional plan must not be taken for a real one."""
    frame = colonies([shapely.Point(318251.62, 2029214.48)])
    write_colonies(tmp_path / "a.geojson", frame, fictional=True, about={"run_id": "0a1b"})
    data = json.loads((tmp_path / "a.geojson").read_text("utf-8"))
    assert data["fictional"] is True
    assert data["run_id"] == "0a1b"
    assert all(f["properties"]["FICTIONAL"] is True for f in data["features"])
    write_colonies(tmp_path / "b.geojson", frame)
    assert "FICTIONAL" not in (tmp_path / "b.geojson").read_text("utf-8")


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    """A file that differs from run to run cannot be compared by its hash."""
    frame = colonies([shapely.Point(318251.62 + i, 2029214.48) for i in range(50)])
    for name in ("a.geojson", "some other name.geojson"):
        write_colonies(tmp_path / name, frame)
    assert (tmp_path / "a.geojson").read_bytes() == (tmp_path / "some other name.geojson").read_bytes()


@pytest.mark.parametrize(("write", "name"), [(write_colonies, "colonies"), (write_candidates, "candidates")])
def test_empty_tables_give_empty_collections(tmp_path: Path, write: Any, name: str) -> None:
    """A plan without a passing cell still needs its files."""
    write(tmp_path / "a.geojson", empty(name, UTM))
    data = json.loads((tmp_path / "a.geojson").read_text("utf-8"))
    assert (data["type"], data["features"]) == ("FeatureCollection", [])


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """No CRS, an absent geometry, a number that is none, an id that comes twice: each is named."""
    path = tmp_path / "a.geojson"
    point = shapely.Point(1, 2)
    with pytest.raises(InputFault, match="has no CRS"):
        write_geojson(path, gpd.GeoDataFrame(geometry=[point]))
    with pytest.raises(InputFault, match="row 2: has no geometry"):
        write_geojson(path, gpd.GeoDataFrame(geometry=[point, None], crs=4326))
    with pytest.raises(InputFault, match="not finite"):
        write_geojson(path, gpd.GeoDataFrame(geometry=[shapely.Point(np.inf, 2)], crs=4326))
    with pytest.raises(InputFault, match="'x' comes twice"):
        write_geojson(path, gpd.GeoDataFrame({"k": ["x", "x"]}, geometry=[point, point], crs=4326), id_column="k")
    assert not path.exists()


def test_digits_like_noise_are_kept(tmp_path: Path) -> None:
    """GDAL's own rounding takes 18.043999993 for 18.044: 0.7 mm on the ground, more than a list and a map may differ."""
    wanted = [(-50.296880962, 18.043999993), (1.000000009, 2.999999991)]
    points = gpd.GeoDataFrame(geometry=[shapely.Point(p) for p in wanted], crs=4326)
    write_geojson(tmp_path / "points.geojson", points)
    found = json.loads((tmp_path / "points.geojson").read_text("utf-8"))["features"]
    assert [tuple(f["geometry"]["coordinates"]) for f in found] == wanted
