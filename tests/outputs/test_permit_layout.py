"""The permit packet as paper: nothing printed over anything, nothing beyond the margins, to scale, in any of many cases."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pdfplumber
import pypdfium2
import pytest
import shapely

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.outputs.paper.frame import TitleBlock
from sitekit.outputs.permit_pdf.shapes import write_shapefile
from sitekit.outputs.permit_pdf.write import packet_bytes
from tests.outputs.permit_packet import made_up, page_faults, page_texts

LONG = "Grupo de restauración de arrecifes de la Señal Larga y otros"  # 60 characters
CASES: dict[str, dict[str, Any]] = {
    "two sites": {},
    "one site": {"sites": 1},
    "names of 60 characters": {"words": LONG},
    "accents, Greek, Cyrillic": {"words": "Équipe Ñandú · Κοράλλια · Кораллы"},
    "A4, names of 60 characters": {"paper": "A4", "words": LONG},
    "work areas 20 m across": {"size_m": 20.0},
    "work areas 5 km across": {"size_m": 5000.0},
    "southern and eastern": {"lat": -16.5, "lon": 145.99},
    "northern and eastern": {"lat": 7.5, "lon": 134.3},
    "across 180 degrees": {"lat": -17.0, "lon": 179.9995},
    "areas to scout": {"scout": True},
    "no living colonies, no coast, no rules": {
        "existing": False, "coast": None, "protected": None, "constraints": None, "heights": (), "marks": (),
    },
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
@pytest.mark.few(4)
def test_no_word_is_overprinted_or_outside_the_margins(case: str) -> None:
    """An office sends back drawings whose words cannot be read."""
    data, sheets = packet_bytes(made_up(**{"sites": 2, **CASES[case]}))
    assert page_faults(data, with_pdfplumber=case == "two sites") == []
    assert sheets >= 3


def test_ten_sites_fit_on_fourteen_sheets_and_three_megabytes() -> None:
    """Issue 6, reach: 10 sites in at most 14 sheets, under 3 MB."""
    data, sheets = packet_bytes(made_up(sites=10))
    assert sheets <= 14
    assert len(data) < 3_000_000


def test_twenty_five_sites_are_not_overprinted() -> None:
    """Many sites crowd the vicinity map."""
    data, sheets = packet_bytes(made_up(sites=25))
    assert page_faults(data) == []
    assert sheets >= 27


def test_sheets_are_counted_and_carry_the_title_block() -> None:
    """A sheet that went missing must show; trade row TV-119 names the facts of a title block."""
    data, sheets = packet_bytes(made_up(words="Bay of Trials"))
    texts = page_texts(data)
    assert len(texts) == sheets
    for k, text in enumerate(texts, start=1):
        assert f"{k} of {sheets}" in text
        for fact in ("F-26-014", "Bay of Trials", "2026-04-15", "DRAFT", "FICTIONAL", "100 mm check line"):
            assert fact in text, (k, fact)


def test_the_same_packet_gives_the_same_bytes() -> None:
    """A clock or id in the file would make every run look like a change."""
    assert packet_bytes(made_up(sites=2))[0] == packet_bytes(made_up(sites=2))[0]


def test_the_same_areas_give_the_same_shapefile(tmp_path: Path) -> None:
    """A clock in the zip or in the table's header would make every run look like a change."""
    areas = made_up(sites=2).areas
    for name in ("one.zip", "two.zip"):
        write_shapefile(tmp_path / name, areas, fictional=True)
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
    back = gpd.read_file(tmp_path / "one.zip")
    assert back["work_area"].tolist() == ["S01", "S02"]
    assert set(back["FICTIONAL"]) == {"yes"}
    due = areas.geometry.to_crs(4326).to_numpy()
    assert all(shapely.hausdorff_distance(back.geometry.to_numpy(), due) < 1e-9)


@pytest.mark.slow
def test_only_embedded_fonts_are_used() -> None:
    """Another machine prints other letters in a font that is only named."""
    data, _ = packet_bytes(made_up(sites=1, words="Κοράλλι Коралл ñ"))
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        for page in pdf.pages:
            fonts = page.page_obj.resources["Font"]
            assert {re.sub(r"^[A-Z]{6}\+", "", c["fontname"]) for c in page.chars} <= {"DejaVuSans", "DejaVuSans-Bold"}
            assert fonts is not None
        assert "Κοράλλι" in pdf.pages[0].extract_text()


def test_nothing_is_drawn_in_colour() -> None:
    """Trade row TV-118 (Walla Walla District): black ink, hatches instead of shading; greys and colours get lost."""
    data, _ = packet_bytes(made_up(sites=1))
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        for page in pdf.pages:
            for kind in (page.lines, page.rects, page.curves, page.chars):
                for mark in kind:
                    for colour in (mark.get("stroking_color"), mark.get("non_stroking_color")):
                        assert colour is None or tuple(np.ravel(colour)) in {(0,), (1,), (0.0,), (1.0,)}, mark


def test_colours_change_inks_and_nothing_else() -> None:
    """A black copy of a coloured sheet must show what the black sheet shows: the same lines at the same places."""
    drawn = []
    for colour in (False, True):
        data, _ = packet_bytes(made_up(sites=1, colour=colour))
        with pdfplumber.open(io.BytesIO(data)) as pdf:
            page = pdf.pages[1]
            marks = [*page.lines, *page.curves]
            drawn.append(([(m["x0"], m["top"], m["x1"], m["bottom"]) for m in marks], page.extract_text(), marks))
    assert drawn[0][:2] == drawn[1][:2]
    inks = [{tuple(np.ravel(m["stroking_color"])) for m in part[2]} for part in drawn]
    assert not any(len(i) == 3 for i in inks[0])
    assert sum(len(i) == 3 for i in inks[1]) >= 2


@pytest.mark.parametrize("size", [20.0, 300.0])
@pytest.mark.few(1)
def test_the_plan_view_is_to_its_stated_scale(size: float) -> None:
    """Rendered at 254 dpi, 100 mm on paper are 1,000 points of the picture: corners must lie as far apart as they are."""
    packet = made_up(sites=1, size_m=size)
    data, _ = packet_bytes(packet)
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[1]
        block = page.crop((300, 700, 576, 760)).extract_text()
        scale = int("".join(re.findall(r"1 : ([\d ]+\d)", block)[0].split()))
        ticks = [line for line in page.lines if abs(float(line["x1"] - line["x0"]) - 283.46) < 0.05]
        image = page.to_image(resolution=254).original.convert("L")
        rings = [c for c in page.curves if abs(float(c["width"]) - 4.0) < 0.2 and c["linewidth"] == 0.8]
    assert len(ticks) == 1
    row = round(float(ticks[0]["top"]) * 254 / 72)
    left = round(float(ticks[0]["x0"]) * 254 / 72)
    dark = np.asarray(image)[row - 2 : row + 3].min(axis=0) < 128
    run = np.flatnonzero(dark[left - 20 : left + 1100])
    assert run.max() - run.min() + 1 == pytest.approx(1000, abs=6)  # the line, with half a tick's width on each side
    ground = packet.corners[["easting_m", "northing_m"]].to_numpy(float)
    drawn = np.array([[(c["x0"] + c["x1"]) / 2, -(c["top"] + c["bottom"]) / 2] for c in rings], dtype=float)
    assert len(drawn) == len(ground)
    paper = shapely.MultiPoint(drawn).minimum_rotated_rectangle.length * 0.0254 / 72 * scale
    assert paper == pytest.approx(shapely.MultiPoint(ground).minimum_rotated_rectangle.length, rel=2e-3)


@pytest.fixture(scope="module")
def printed() -> tuple[list[str], list[float]]:
    """Texts of the sheets of one packet, and the size of a sheet [pt]."""
    data, _ = packet_bytes(made_up(sites=1, size_m=80.0))
    return page_texts(data), list(pypdfium2.PdfDocument(data)[0].get_size())


OFFICE = json.loads(shared_file("reference/permit.json").read_text("utf-8"))


@pytest.mark.parametrize("rule", OFFICE, ids=[r["id"] for r in OFFICE])
def test_each_office_rule_is_kept(rule: dict[str, Any], printed: tuple[list[str], list[float]]) -> None:
    """Each row names the office, what it asks, and words or figures of the packet that answer it."""
    pages, size = printed
    expected = rule["expected"]
    if "sheet_pt" in expected:
        assert size == expected["sheet_pt"]
    for word in expected.get("every_sheet", []):
        assert all(word in page for page in pages), (rule["source"], word)
    for word in expected.get("somewhere", []):
        assert any(word in page for page in pages), (rule["source"], word)


def test_a_name_too_long_for_its_box_is_refused_before_anything_is_drawn() -> None:
    """Half a PDF looks like a whole one."""
    packet = made_up(sites=1, block=TitleBlock("x" * 300, "F", "B", "A", "2026-04-15", "A"))
    with pytest.raises(InputFault, match=r"title block, applicant: 300 characters .*Shorten it; no sheet was written"):
        packet_bytes(packet)


def test_a_script_the_font_lacks_is_refused_by_name() -> None:
    """Boxes instead of letters are no name."""
    with pytest.raises(InputFault, match=r"work area, name: '珊瑚礁' is in a script the font lacks.*CJK"):
        packet_bytes(made_up(sites=1, words="珊瑚礁"))


def test_a_legend_that_does_not_fit_counts_what_it_leaves_out() -> None:
    """A hatch that no legend explains is taken for something else."""
    names = [f"Reserve of the {k}th reef, a name of some length" for k in range(30)]
    around = shapely.box(*made_up(sites=1).areas.total_bounds).buffer(2.0)
    parks = gpd.GeoDataFrame({"name": names, "rule": ["permit"] * 30}, geometry=[around] * 30, crs=32622)
    data, _ = packet_bytes(made_up(sites=1, protected=parks))
    assert "more: see the rules in the tables" in page_texts(data)[1]
    assert page_faults(data) == []


def test_gaps_and_controls_of_a_cut_are_said() -> None:
    """A gap read as flat bottom, or a control plot read as planted, is a false statement to an office."""
    packet = made_up(sites=1)
    holes = packet.sections.assign(depth_m=packet.sections["depth_m"].where(packet.sections.index > 20))
    controls = packet.plots.assign(role="control")
    said = page_texts(packet_bytes(made_up(sites=1, sections=holes, plots=controls))[0])[1]
    assert re.search(r"no depth charted along \d+ m of the cut", said)
    assert "units when planted" not in said
    assert "high water, 0.55 m above" in said


def test_a_vicinity_with_nothing_in_it_is_one_map() -> None:
    """An empty box on the first sheet looks like a drawing that failed."""
    bare = page_texts(packet_bytes(made_up(sites=1, coast=None, marks=()))[0])[0]
    assert "no coast, harbour or nursery is near or given" in bare
    assert "edge of the lower map" not in bare
    assert "edge of the lower map" in page_texts(packet_bytes(made_up(sites=1))[0])[0]


def test_a_cut_without_soundings_says_so() -> None:
    """An empty box would be read as a flat bottom."""
    packet = made_up(sites=1)
    blank = packet.sections.assign(depth_m=np.nan)
    data, _ = packet_bytes(made_up(sites=1, sections=blank))
    assert "no charted depth along the cut" in page_texts(data)[1]
