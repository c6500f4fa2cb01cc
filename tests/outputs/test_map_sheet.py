"""The map on one printed page: scale, words, bytes, what is missing."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pdfplumber
import pytest
from shapely.geometry import box

from sitekit.base.wording import LANGUAGES, labels, worded
from sitekit.outputs.map_sheet import write_map_sheet
from sitekit.outputs.paper.norths import Norths
from sitekit.pipeline.export import CAUTIONS
from tests.outputs.permit_packet import page_faults, page_texts
from tests.outputs.translated import english_left

_spec = importlib.util.spec_from_file_location("map_scene", Path(__file__).with_name("map_scene.py"))
assert _spec
assert _spec.loader
made = importlib.util.module_from_spec(_spec)
sys.modules["map_scene"] = made
_spec.loader.exec_module(made)

NORTHS = Norths(0.2, -16.0, 0.06, 0.3, "WMM2025", "2026-03-01", "UTM zone 25N")


def _sheet(tmp_path: Path, scene: Any, paper: str = "A4") -> Any:
    write_map_sheet(tmp_path / "map.pdf", scene, NORTHS, paper)
    return pdfplumber.open(tmp_path / "map.pdf")


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_map_takes_one_page_with_all_it_needs(tmp_path: Path, paper: str) -> None:
    """A sheet without datum, date, scale or caution is sent back."""
    with _sheet(tmp_path, made.scene(), paper) as pdf:
        assert len(pdf.pages) == 1
        page = pdf.pages[0]
        text = page.extract_text().replace("\n", " ")
        for words in ("page 1 of 1", "FICTIONAL", "Scale 1 : ", "mean lower low water", "2026-03-01", "3f9a1c20"):
            assert words in text
        assert "Not a permit" in text
        assert "excluded: deeper than 16 m" in text
        assert {c["non_stroking_color"] for c in page.chars} <= {(0,), 0, (0.0,)}  # words in black ink only
        assert all(c["x0"] >= 0 and c["x1"] <= page.width and 0 <= c["top"] <= page.height for c in page.chars)


@pytest.mark.parametrize("code", [c for c in LANGUAGES if c != "en"])
def test_a_translated_sheet_overprints_nothing_and_keeps_no_english(tmp_path: Path, code: str) -> None:
    """Longer words run into the frame; a legend half in English is guessed at. Labels of layers come with the scene."""
    scene = made.scene(cautions=CAUTIONS, notes=(), sources=(), work_areas=None)
    reasons = [*scene.reasons[0].excluded.values(), *scene.reasons[0].unknown.values()]
    typed = " ".join([scene.title, scene.datum, scene.rasters[0].label, *reasons, *scene.protected["name"]])
    with worded(code):
        write_map_sheet(tmp_path / "map.pdf", scene, NORTHS, "letter")
    data = (tmp_path / "map.pdf").read_bytes()
    text = " ".join(page_texts(data))
    assert english_left(text, code, ("map.", "paper.", "permit.", "told."), typed=typed) == []
    assert [f for f in page_faults(data) if " over " in f] == []
    for due in ("unreviewed_short", "map.no_work_areas", "map.chosen", "map.living", "permit.outplant"):
        assert labels()[due][code].split(" (")[0].lower() in text.lower(), due
    for english in CAUTIONS:
        assert f"[{english}]" in text
    write_map_sheet(tmp_path / "map.pdf", scene, NORTHS, "letter")
    assert len(english_left(" ".join(page_texts((tmp_path / "map.pdf").read_bytes())), code, ("map.",))) > 15


def test_the_map_is_to_scale(tmp_path: Path) -> None:
    """A ruler on the sheet would give wrong metres (1 m is 72 / 0.0254 points, over the scale's denominator)."""
    scene = made.scene()
    west, south, *_ = scene.grid.bounds
    plot = gpd.GeoDataFrame(
        {"plot": ["P"], "site": ["WS"], "role": ["planted"]},
        geometry=[box(west + 60, south + 60, west + 160, south + 110)],
        crs=scene.grid.crs,
    )
    with _sheet(tmp_path, replace(scene, plots=plot)) as pdf:
        page = pdf.pages[0]
        scale = float(page.extract_text().split("Scale 1 : ")[1].split("\n")[0].split("  ")[0].replace(" ", ""))
        want = 100 * 72 / 0.0254 / scale, 50 * 72 / 0.0254 / scale
        shapes = [(c["x1"] - c["x0"], c["bottom"] - c["top"]) for c in (*page.rects, *page.curves)]
        assert any(abs(w - want[0]) < 0.01 and abs(h - want[1]) < 0.01 for w, h in shapes)


def test_same_scene_same_sheet(tmp_path: Path) -> None:
    """A clock or a chance id would change every run's hash."""
    write_map_sheet(tmp_path / "a.pdf", made.scene(), NORTHS, "A4")
    write_map_sheet(tmp_path / "b.pdf", made.scene(), NORTHS, "A4")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_names_the_font_lacks_are_counted_not_lost_in_silence(tmp_path: Path) -> None:
    """Boxes instead of letters would be printed, or the run would end for one name."""
    with _sheet(tmp_path, made.scene(title="礁", text=" 礁")) as pdf:
        assert "texts in a script this sheet's font lacks" in pdf.pages[0].extract_text().replace("\n", " ")


def test_long_names_stay_on_the_sheet(tmp_path: Path) -> None:
    """A name of 200 letters would run over the edge."""
    with _sheet(tmp_path, made.scene(title="Reef of the long name " * 9, text=" long" * 30)) as pdf:
        page = pdf.pages[0]
        assert len(pdf.pages) == 1
        assert all(c["x1"] <= page.width for c in page.chars)


def test_one_cell_and_missing_layers_make_a_sheet(tmp_path: Path) -> None:
    """The smallest plan, or one that found nothing, would stop the run."""
    nothing = dict.fromkeys(("candidates", "sites", "plots", "tape_lines", "work_areas", "protected", "existing"))
    scene = made.scene(made.grid(1, 1), colonies=1, rasters=(), reasons=(), depth=None, **nothing)
    with _sheet(tmp_path, scene) as pdf:
        assert "Scale 1 : " in pdf.pages[0].extract_text()


def test_a_sheet_across_180_degrees_is_drawn(tmp_path: Path) -> None:
    """The graticule would run round the world."""
    scene = made.scene(made.grid(50, 300, 1000.0, epsg=32601, west=100_000.0), colonies=3)
    with _sheet(tmp_path, scene) as pdf:
        assert "180° 00′" in pdf.pages[0].extract_text()
