"""The page of weights: coding of responses, packing, settings text, bytes."""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.errors import InputFault
from sitekit.layers.grid import Grid
from sitekit.outputs.explore_page.coding import LEVELS, UNKNOWN, ZERO, decode, encode
from sitekit.outputs.explore_page.pack import pack_cells, unpack_cells
from sitekit.outputs.explore_page.write import _net, explore_page, toml_text, write_explore

_spec = importlib.util.spec_from_file_location("explore_scene", Path(__file__).with_name("explore_scene.py"))
assert _spec
assert _spec.loader
made = importlib.util.module_from_spec(_spec)
sys.modules["explore_scene"] = made
_spec.loader.exec_module(made)

NASTY = '<img src=x onerror="window.hit=1"></script>{{7*7}}{%x%}\'`\u202egnp.exe&amp;\\"'
RESPONSES = st.one_of(
    st.floats(0, 1), st.floats(0, 1e-300), st.sampled_from([0.0, 1.0, 5e-324, 1e-16, 0.001, 1 - 2**-53])
)
HALF_STEP = 0.5 * (1 - 1 / np.e + np.log(1100 * np.log(2)) / np.e) / (LEVELS - 1)  # of g, docs/methods-map.md


@settings(deadline=None)
@given(st.lists(st.tuples(RESPONSES, st.floats(1e-6, 1.0)), min_size=1, max_size=8))
def test_no_rule_shows_the_coding(cells: list[tuple[float, float]]) -> None:
    """The page would show another score than the run: it is the same within 0.4/255, geometric 0.6/255."""
    r, w = (np.array(v) for v in zip(*cells, strict=True))
    back = decode(encode(r))
    share = w / w.sum()
    assert abs(np.sum(share * back) - np.sum(share * r)) <= HALF_STEP * 1.001
    assert abs(back.min() - r.min()) <= HALF_STEP * 1.001
    with np.errstate(divide="ignore"):
        ours, want = (np.exp2(np.sum(share * np.log2(v))) for v in (back, r))
    assert abs(ours - want) <= 1.46 * HALF_STEP
    assert 1.46 * HALF_STEP < 0.6 / 255


def test_coding_keeps_one_zero_and_unknown_apart() -> None:
    """A zero that became a small response would be bought back; an unknown would count as bad."""
    assert encode([1.0, 0.0, np.nan, 5e-324]).tolist() == [0, ZERO, UNKNOWN, encode(5e-324)]
    assert 0 < encode(5e-324) < LEVELS
    assert decode([0, ZERO]).tolist() == [1.0, 0.0]


@given(st.floats(0, 1), st.floats(0, 1))
def test_coding_keeps_order(a: float, b: float) -> None:
    """Two cells would change places."""
    low, high = sorted((a, b))
    assert decode(encode(low)) <= decode(encode(high))


def test_packed_cells_come_back() -> None:
    """Cells would carry their neighbours' responses."""
    scene = made.scene()
    exclusion, codes = unpack_cells(pack_cells(scene), scene)
    assert np.array_equal(exclusion, scene.exclusion)
    assert np.array_equal(codes, scene.responses[:, scene.exclusion == 0])


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_settings(text: str) -> None:
    """A name with a quote or a direction mark would break the settings or show another name."""
    written = toml_text(text)
    assert tomllib.loads(f"{written} = 1") == {text: 1}
    assert written.isprintable()


def test_cells_turn_into_degrees_within_a_centimetre() -> None:
    """The position told for a cell would lie beside it."""
    scene = made.scene((300, 400))
    net = _net(scene)
    lon = np.reshape(net["lon"], (17, 17))
    west, south, east, north = scene.grid.bounds
    x, y = west + (east - west) * 9.5 / 16, north - (north - south) * 4.5 / 16
    want, _ = Transformer.from_crs(scene.grid.crs, 4326, always_xy=True).transform(x, y)
    assert abs(lon[4:6, 9:11].mean() - want) * 111_000 < 0.01


def test_degrees_run_on_across_180() -> None:
    """Halfway between 179° E and 179° W the page would tell 0°."""
    grid = Grid(CRS.from_epsg(32601), 100_000.0, 1_900_000.0, 1000.0, (120, 160))
    lon = np.reshape(_net(made.scene(grid=grid, candidates=None, sites=None))["lon"], (17, 17))
    assert lon.min() < 180 < lon.max()
    assert np.abs(np.diff(lon, axis=1)).max() < 0.2


def test_same_scene_same_page(tmp_path: Path) -> None:
    """The page would differ from run to run."""
    write_explore(tmp_path / "a.html", made.scene())
    write_explore(tmp_path / "b.html", made.scene())
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_the_page_forbids_the_network_and_holds_no_markup_from_data() -> None:
    """A name would become an element, or the page would ask for something."""
    page = explore_page(made.scene(text=NASTY))
    assert "default-src 'none'" in page
    assert "unsafe" not in page.split("<style>")[0]
    assert "<img src=x" not in page
    assert "connect-src" not in page


def test_page_scripts_stay_below_their_limit() -> None:
    """The page would grow into a program of its own (issue: at most 1,200 lines of JavaScript)."""
    folder = Path(__file__).resolve().parents[2] / "sitekit" / "outputs" / "explore_page" / "page"
    assert sum(len(p.read_text("utf-8").splitlines()) for p in folder.glob("*.js")) <= 1200


def test_arrays_of_another_shape_are_refused() -> None:
    """Responses would be drawn in the wrong cells."""
    with pytest.raises(InputFault, match=r"responses.*\(120, 160\)"):
        made.scene(responses=np.zeros((5, 3, 3), np.uint16))


def test_more_criteria_than_a_hand_can_weigh_are_refused() -> None:
    """The page would fill with sliders."""
    one = made.scene().species[0]
    many = type(one)("X", "x", one.criteria * 6, 1.0, 0.1, 1.0, 0.0)
    with pytest.raises(InputFault, match="1 to 24"):
        made.scene(species=(many,))
