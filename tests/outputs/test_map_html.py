"""The map page: text, bins, packing, projection, policy, bytes."""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Transformer

from sitekit.base.wording import labels, worded
from sitekit.errors import InputFault
from sitekit.outputs.map_html import folium_page
from sitekit.outputs.map_html.colonies import pack_colonies, tag_runs, unpack_places
from sitekit.outputs.map_html.mercator import longitude_latitude, screen_of, warp
from sitekit.outputs.map_html.overlays import bin_codes, bin_names, hillshade, raster_overlay
from sitekit.outputs.map_html.plain_text import plain_text, script_json
from sitekit.outputs.map_html.ramps import lightness, ramp
from sitekit.outputs.map_html.write import map_page, write_map
from sitekit.pipeline.export import CAUTIONS
from tests.outputs.translated import english_left

_spec = importlib.util.spec_from_file_location("map_scene", Path(__file__).with_name("map_scene.py"))
assert _spec
assert _spec.loader
made = importlib.util.module_from_spec(_spec)
sys.modules["map_scene"] = made
_spec.loader.exec_module(made)


def test_hidden_marks_are_written_out() -> None:
    """A right-to-left override in a name would show another name."""
    assert plain_text("a\u202eb\x00") == "a[U+202E]b[U+0000]"


@given(st.text())
def test_script_json_never_ends_its_block(text: str) -> None:
    """A closing tag in a name would end the data block and start a script."""
    assert not set("<>&") & set(script_json({"n": text}))


def test_a_bin_holds_its_lower_edge() -> None:
    """The legend would then name another bin than the one drawn."""
    values = np.array([[-1.0, 0.0, 0.5, 1.0, 9.0, np.nan]])
    assert bin_codes(values, (0.0, 0.5, 1.0)).tolist() == [[1, 1, 2, 2, 2, 0]]


def test_end_bins_say_that_values_lie_beyond() -> None:
    """A legend of 0 to 1 over values of 9 would be false."""
    assert bin_names(np.array([-1.0, 9.0]), (0.0, 0.5, 1.0)) == ["below 0.5", "0.5 and above"]


@pytest.mark.parametrize("name", ["score", "depth", "warm", "plain"])
def test_ramps_fall_steadily_in_lightness(name: str) -> None:
    """In grey print two bins would swap or merge."""
    steps = np.diff([lightness(c) for c in ramp(name, 7)])
    assert (steps < -0.03).all()


def test_an_unknown_ramp_is_refused() -> None:
    """A misspelt ramp would silently draw other colours."""
    with pytest.raises(InputFault, match="score"):
        ramp("scores", 5)


@settings(deadline=None)
@given(st.lists(st.from_regex(r"[A-Z]{0,3}-?[0-9]{0,4}", fullmatch=True), max_size=40))
def test_tag_runs_give_the_tags_back(tags: list[str]) -> None:
    """A search on the map would find the wrong colony."""
    back = []
    for prefix, digits, first, rows in tag_runs(tags):
        back += [prefix + f"{first + k:0{digits}d}" if digits else prefix for k in range(rows)]
    assert back == tags


def test_packed_colonies_keep_their_place_within_a_centimetre() -> None:
    """Colonies would be drawn beside where they are planned."""
    scene = made.scene(colonies=500)
    screen = screen_of(scene.grid)
    east, north = unpack_places(pack_colonies(scene.colonies, screen))
    frame = scene.colonies.sort_values(["site", "plot", "sequence"])
    x, y = Transformer.from_crs(scene.grid.crs, 3857, always_xy=True).transform(frame.geometry.x, frame.geometry.y)
    assert np.hypot(east + screen.west - x, north + screen.south - y).max() < 0.0075


@pytest.mark.parametrize("west", [166_100.0, 500_000.0, 830_000.0])
def test_overlays_sit_within_half_a_cell(west: float) -> None:
    """At the edge of a zone north is turned; an overlay stretched instead of warped would slide off."""
    grid = made.grid(60, 80, 2.0, west=west)
    screen = screen_of(grid)
    (_, _), transform, _ = screen.frame()
    to = Transformer.from_crs(grid.crs, 3857, always_xy=True)
    east, north = grid.centres()
    for row, col in [(0, 0), (0, 79), (59, 0), (59, 79), (30, 40)]:
        codes = np.zeros(grid.shape, np.uint8)
        codes[row, col] = 7
        rows, cols = np.nonzero(warp(codes, grid, screen))
        x = transform.c + transform.a * (cols.mean() + 0.5)
        y = transform.f + transform.e * (rows.mean() + 0.5)
        want = to.transform(east[col], north[row])
        assert np.hypot(x - want[0], y - want[1]) < 0.5 * screen.cell


def test_a_plan_across_180_degrees_stays_whole() -> None:
    """The map would be torn apart to both ends of the world."""
    grid = made.grid(50, 300, 1000.0, epsg=32601, west=100_000.0)
    screen = screen_of(grid)
    lon, _ = longitude_latitude(screen.west, screen.south)
    lon2, _ = longitude_latitude(screen.east, screen.north)
    assert lon < 180 < lon2
    assert lon2 - lon < 5


def test_level_ground_is_lit_evenly() -> None:
    """A flat bottom would look like a slope (sine of the sun's height, 45°)."""
    assert np.allclose(hillshade(np.full((4, 5), 3.0, np.float32), 1.0), np.sin(np.pi / 4))


def test_a_slope_that_faces_the_light_is_brighter() -> None:
    """Hollows would look like mounds: depth that grows to the north-west faces the north-west light."""
    row, col = np.mgrid[0:9, 0:9]
    facing, away = hillshade((-row - col).astype(np.float32), 1.0), hillshade((row + col).astype(np.float32), 1.0)
    assert facing.mean() > away.mean()


def test_the_legend_holds_the_colours_drawn() -> None:
    """A legend apart from the picture would explain other colours."""
    scene = made.scene()
    overlay = raster_overlay(scene.rasters[0], scene.grid, screen_of(scene.grid))
    drawn = {
        f"#{r:02x}{g:02x}{b:02x}"
        for r, g, b, a in np.asarray(overlay.image.convert("RGBA")).reshape(-1, 4).tolist()
        if a
    }
    assert drawn <= {colour for colour, _ in overlay.legend}


def test_same_scene_same_bytes(tmp_path: Path) -> None:
    """Ids by chance would change every run's hash."""
    first, second = tmp_path / "a.html", tmp_path / "b.html"
    write_map(first, made.scene())
    write_map(second, made.scene())
    assert first.read_bytes() == second.read_bytes()


def test_every_script_and_style_is_named_by_the_policy() -> None:
    """The page would not run, or would run what was slipped in."""
    page = map_page(made.scene(text=made.NASTY))
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy
    assert "default-src 'none'" in policy[1]
    assert "unsafe" not in policy[1]
    for text in re.findall(r"<script>(.*?)</script>|<style>(.*?)</style>", page, re.DOTALL):
        digest = base64.b64encode(hashlib.sha256("".join(text).encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy[1]


def test_the_page_names_no_address_on_the_network() -> None:
    """folium's links would be asked for on the boat."""
    page = map_page(made.scene())
    tags = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert not re.findall(r'(?:src|href)="(?!data:)[^"#]', tags)
    assert "url(images" not in page
    for word in ("jquery", "bootstrap", "cdn."):
        assert word not in page.lower()


def test_nasty_text_stays_text() -> None:
    """A name would become an element of the page."""
    page = map_page(made.scene(text=made.NASTY))
    assert "<img src=x" not in page
    assert "49{%x%}" not in page  # {{7*7}} was not worked out


def test_folium_has_not_moved() -> None:
    """Another folium would draw another page: its parts used here must be where they were."""
    page = folium_page.page_html(title="t", centre=(1.0, 2.0), pictures=[], data_json="{}", body="<!--map-->")
    assert page.count("<script>") == 3
    assert 'id="map_0002"' in page
    assert "const map_0002 = L.map(" in page
    assert "sitekit.start(map_0002, {});" in page


def test_colonies_in_an_area_to_scout_are_refused() -> None:
    """Coarse layers would seem to place single colonies."""
    with pytest.raises(InputFault, match="areas to scout"):
        made.scene(scout=True)


def test_rasters_of_another_shape_are_refused() -> None:
    """A raster of another grid would be drawn in the wrong place."""
    with pytest.raises(InputFault, match="120 × 160"):
        made.scene(depth=np.zeros((3, 3), np.float32))


@pytest.mark.parametrize("missing", ["candidates", "sites", "plots", "protected", "existing", "depth"])
def test_a_missing_layer_is_said(missing: str) -> None:
    """An empty map would look like a reef without that layer."""
    assert "not part of this run" in map_page(made.scene(**{missing: None}))


def test_before_the_first_planting_the_map_is_silent_of_it() -> None:
    """A layer that nobody can have yet reads as a fault of the run."""
    assert "Units as planted" in map_page(made.scene())
    assert "Units as planted" not in map_page(made.scene(standing=None))


def test_an_empty_layer_is_said() -> None:
    """None found and none looked for are two things."""
    assert "Candidates: none in this run" in map_page(made.scene(candidates=made.scene().candidates.iloc[:0]))


def test_one_cell_and_one_colony_make_a_page() -> None:
    """The smallest plan would stop the run."""
    assert '"count":1' in map_page(made.scene(made.grid(1, 1), colonies=1))


def test_a_hundred_thousand_colonies_stay_below_two_megabytes() -> None:
    """The page would be too heavy for a phone (design table: < 2 MB beyond rasters and the still picture)."""
    page = map_page(made.scene(colonies=100_000))
    assert len(re.sub(r"data:image/[a-z]+;base64,[A-Za-z0-9+/=]+", "", page)) < 2_000_000


@pytest.mark.parametrize("code", ["es", "fr"])
def test_a_translated_page_carries_its_words_and_keeps_the_codes_that_draw(code: str) -> None:
    """A rule that is translated where the page looks it up would be drawn as no rule; English must stay as it was."""
    scene = made.scene(made.grid(12, 16), colonies=3, cautions=CAUTIONS)

    def page() -> tuple[str, Any]:
        body, rest = map_page(scene).split('<script type="application/json" id="sk-data">')
        data = rest.split("</script>")[0]
        return re.sub(r"<style.*?</style>", "", body, flags=re.S), json.loads(data)

    with worded(code, "ft"):
        body, data = page()
    plain, was = page()
    assert f'<html lang="{code}">' in body
    assert '<html lang="en">' in plain
    text = re.sub(r"<[^>]+>", " ", body)
    assert english_left(text, code, ("page.", "layer.", "map."), typed=f"{scene.title} {scene.datum}") == []
    assert data["words"] == {k.removeprefix("page."): v[code] for k, v in labels().items() if k.startswith("page.")}
    assert was["words"]["legend"] == "Legend"
    by = {layer["id"]: layer for layer in data["layers"]}
    old = {layer["id"]: layer for layer in was["layers"]}
    for name, layer in by.items():
        assert [item["k"] for item in layer["items"]] == [item["k"] for item in old[name]["items"]], name
    assert by["protected"]["kinds"]["permit"] == labels()["map.rule_permit"][code]
    assert old["protected"]["kinds"]["permit"] == "needs a permit"
    place = by["candidates"]["fields"].index(labels()["fact.depth_min_m"][code].format(unit="ft"))
    assert old["candidates"]["fields"][place] == "Least depth, m"
    assert (by["candidates"]["items"][0]["v"][place], old["candidates"]["items"][0]["v"][place]) == ("20.0", "6.1")
