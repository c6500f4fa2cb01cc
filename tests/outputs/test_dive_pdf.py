"""The diver's pages: type sizes, room to write, nothing overprinted, codes that phones read, the same bytes."""

from __future__ import annotations

import io
import itertools
import re
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pdfplumber
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.wording import depth_texts, labels
from sitekit.errors import InputFault
from sitekit.outputs.dive_pdf.boat import overview, waypoint_pages
from sitekit.outputs.dive_pdf.days import day_pages, write_day_plan
from sitekit.outputs.dive_pdf.diagram import LEAST_SCALE, Diagram, place
from sitekit.outputs.dive_pdf.front import EMERGENCY, cover, how_to, letter_pages
from sitekit.outputs.dive_pdf.guided import guided_planter_pages, guided_recorder_pages
from sitekit.outputs.dive_pdf.head import large_head, short_head
from sitekit.outputs.dive_pdf.marks import MM, ROW, geo_uri
from sitekit.outputs.dive_pdf.rows import page_size, parts, planter_pages, recorder_pages
from sitekit.outputs.dive_pdf.scene import Unit, degrees, offset_text
from sitekit.outputs.dive_pdf.sheets import dive_pages, write_dive_sheets
from sitekit.outputs.paper.book import PAPERS, book_bytes
from tests.outputs import dive_pack as made


def opened(data: bytes) -> pdfplumber.PDF:
    return pdfplumber.open(io.BytesIO(data))


def book(pages: Any, paper: str = "half letter") -> pdfplumber.PDF:
    return opened(book_bytes(pages, PAPERS[paper], title="t"))


def overlapping(page: Any) -> list[tuple[str, str]]:
    """Pairs of words whose boxes share more than a hair; text inside the diagram's shapes stands alone by design."""
    words = page.extract_words(use_text_flow=False, keep_blank_chars=False)
    found = []
    for i, a in enumerate(words):
        for b in words[i + 1 :]:
            wide = min(a["x1"], b["x1"]) - max(a["x0"], b["x0"])
            # a word's box is taller than its ink: the ascent and descent of the font
            high = min(a["bottom"], b["bottom"]) - max(a["top"], b["top"])
            if wide > 0.5 and high > 0.35 * min(a["height"], b["height"]):
                found.append((a["text"], b["text"]))
    return found


@pytest.mark.parametrize(
    ("paper", "kind"),
    [
        ("half letter", "exact"),
        ("A5", "guided"),
        *(
            pytest.param(p, k, marks=pytest.mark.slow)
            for p, k in (("letter", "exact"), ("A4", "guided"), ("A5", "exact"))
        ),
    ],
)
def test_no_word_stands_on_another_or_outside_the_page(paper: str, kind: str) -> None:
    """An overprinted bearing is a wrong bearing. Slow on the further papers: every word of 15 pages is compared."""
    pages = dive_pages(made.pack(made.plot(kind=kind), made.plot("OT-02", 40, kind=kind), made.circle(), paper=paper))
    with book(pages, paper) as pdf:
        for page in pdf.pages:
            assert overlapping(page) == [], page.page_number
            for char in page.chars:
                assert char["x0"] >= 18, (page.page_number, char["text"])
                assert char["x1"] <= page.width - 18, (page.page_number, char["text"])
                assert char["top"] >= 18, (page.page_number, char["text"])
                assert char["bottom"] <= page.height - 12, (page.page_number, char["text"])


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_day_plan_has_no_overprinted_word(paper: str) -> None:
    """The leader's page, on each paper it may be printed on."""
    with book(day_pages(made.day_pack(paper=paper)), paper) as pdf:
        for page in pdf.pages:
            assert overlapping(page) == [], page.page_number


def big(page: Any, least: float) -> str:
    """Text of at least a size, in reading order."""
    chars = [c for c in page.chars if c["size"] >= least - 1e-6]
    return "".join(c["text"] for c in sorted(chars, key=lambda c: (round(c["top"]), c["x0"]))).replace(" ", "")


def test_what_a_diver_reads_is_at_least_sixteen_points() -> None:
    """Number, letter, along and offset of each row, plot, pin and bearings."""
    with book(planter_pages(made.plot(), made.ABOUT, PAPERS["half letter"])) as pdf:
        text = big(pdf.pages[0], 16.0)
        assert text.startswith("OT-01")
        for due in ("18°02.922′N", "050°17.766′W", "135°M", "120°T", "1A0.0R0.7", "2B0.0L0.6", "10K4.8L0.6"):
            assert due in text, due
        assert max(c["size"] for c in pdf.pages[0].chars if c["text"] == "O") >= 24
        following = big(pdf.pages[1], 16.0)
        assert "28H15.6L0.6" in following
        assert "135°M" in following
    with book(recorder_pages(made.plot(), made.ABOUT, PAPERS["half letter"])) as pdf:
        assert "1A0.0R0.70001" in big(pdf.pages[0], 16.0)


def test_rows_leave_nine_millimetres_to_write_in() -> None:
    """Measured between the rules of the printed table, not from a constant."""
    with book(planter_pages(made.plot(), made.ABOUT, PAPERS["half letter"])) as pdf:
        page = pdf.pages[0]
        rules = sorted({round(line["top"], 1) for line in page.lines if line["x1"] - line["x0"] > 180})
        steps = [b - a for a, b in itertools.pairwise(rules) if b - a > 10]
        table = [s for s in steps if abs(s - ROW) < 0.3]
        assert len(table) >= 10
        assert min(table) / MM >= 9.0


def test_fonts_are_embedded_and_ink_is_black() -> None:
    """A sheet that needs a colour or another machine's font fails on the boat's printer."""
    with book(dive_pages(made.pack(made.plot()))) as pdf:
        for page in pdf.pages:
            assert all("SitekitSans" in c["fontname"] or "DejaVu" in c["fontname"] for c in page.chars)
            for item in (*page.chars, *page.rects, *page.curves, *page.lines):
                for key in ("non_stroking_color", "stroking_color"):
                    colour = item.get(key)
                    if isinstance(colour, (tuple, list)) and len(colour) > 1:
                        assert len(set(colour[:3])) == 1, (page.page_number, colour)


@pytest.mark.parametrize("dpi", [150, 72])
def test_phones_read_every_code(dpi: int) -> None:
    """A code that needs a good printer is no help; both the list and each plot's sheet, text beside it the same."""
    own = made.pack()
    data = book_bytes(
        [*waypoint_pages(own, PAPERS["half letter"]), dive_pages(own)[5]], PAPERS["half letter"], title="t"
    )
    found: list[str] = []
    for page in pypdfium2.PdfDocument(data):
        picture = page.render(scale=dpi / 72).to_pil().convert("L")
        found += [code.text for code in zxingcpp.read_barcodes(picture)]
    due = [
        geo_uri(lon, lat) for lon, lat, p in own.waypoints[["longitude_deg", "latitude_deg", "pin"]].values if p == 1
    ]
    assert sorted(found) == sorted([*due, "geo:18.048698,-50.296101"])


@pytest.mark.parametrize("place_", [(0.0, 0.0), (-179.9999996, -89.5), (145.9876543, -16.123456), (-0.0000001, 5.0)])
def test_codes_of_all_quarters_of_the_world_are_read(place_: tuple[float, float]) -> None:
    """A fixed mask must do for every position; minus zero is no position."""
    plot = made.plot(longitude_deg=place_[0], latitude_deg=place_[1])
    data = book_bytes(planter_pages(plot, made.ABOUT, PAPERS["half letter"])[:1], PAPERS["half letter"], title="t")
    picture = pypdfium2.PdfDocument(data)[0].render(scale=1).to_pil().convert("L")
    codes = zxingcpp.read_barcodes(picture)
    assert [c.text for c in codes] == [geo_uri(*place_)]
    assert "-0.000000" not in geo_uri(*place_)


def test_every_unit_stands_once_on_planter_and_recorder() -> None:
    """A number that is on no page is not planted."""
    for pages in (planter_pages, recorder_pages):
        with book(pages(made.plot(number=64), made.ABOUT, PAPERS["half letter"])) as pdf:
            numbers = []
            for page in pdf.pages:
                column = [
                    w
                    for w in page.extract_words(extra_attrs=["size", "fontname"])
                    if abs(w["size"] - 16) < 0.01 and "Bold" in w["fontname"]
                ]
                numbers += [int(w["text"]) for w in column if w["text"].isdecimal()]
            assert numbers == list(range(1, 65))


@given(number=st.integers(1, 200), first=st.integers(3, 20), following=st.integers(3, 30))
def test_pages_hold_all_units_in_order(number: int, first: int, following: int) -> None:
    """And none more than fits."""
    cut = parts(made.units(number), first, following)
    assert [u.number for page in cut for u in page] == list(range(1, number + 1))
    assert len(cut[0]) <= first
    assert all(0 < len(page) <= following for page in cut[1:])


def test_left_and_right_are_told_by_shape_and_letter() -> None:
    """In black ink, wet: L and R beside a circle and a square; on the tape a diamond."""
    assert offset_text(-0.6) == ("L", "0.6")
    assert offset_text(0.7) == ("R", "0.7")
    assert offset_text(-0.04) == ("", "0.0")
    with book(planter_pages(made.plot(number=2), made.ABOUT, PAPERS["half letter"])) as pdf:
        page = pdf.pages[0]
        table = [(c["x0"], c["top"]) for c in page.curves if c["fill"] and 7 < c["width"] < 10]
        squares = [(r["x0"], r["top"]) for r in page.rects if r["fill"] and 6 < r["width"] < 9 and r["top"] > 250]
        assert len(table) == 1
        assert len(squares) == 1
        assert table[0][1] > squares[0][1]  # unit 2 is left and below unit 1


@given(along=st.floats(0, 18), offset=st.floats(-2, 2))
def test_the_diagram_is_to_scale(along: float, offset: float) -> None:
    """Equal metres are equal points both ways, and everything lies inside."""
    unit = Unit(1, "A", "g", "ACER", "", along, offset)
    plot = made.PlotPages(made.facts(), "", False, 4.0, (unit,))
    picture = Diagram(plot)
    span = picture.extent
    x, y = place(plot, unit)
    assert (x, y) == (offset, along)
    assert span.left < x < span.right
    assert span.low < y < span.high
    assert picture.scale((0, 0, 88, 330)) >= LEAST_SCALE


def test_a_circle_shows_radius_and_angle_on_a_page_of_its_own() -> None:
    """Offsets mean nothing on a radius line."""
    assert place(made.circle(), made.circle().units[1]) == pytest.approx((1.2 * 0.8660254, 0.6))
    whole = made.circle()
    outer = Unit(19, "A", "g", "ACER", "", 4.9, 0.0, 0.0)  # its shape once hid the length of the radius line
    with book(planter_pages(replace(whole, units=(*whole.units, outer)), made.ABOUT, PAPERS["half letter"])) as pdf:
        assert "radius m" not in pdf.pages[0].extract_text()
        length = next(w for w in pdf.pages[0].extract_words() if w["text"] == "5.0" and w["top"] > 250)
        shapes = [c for c in pdf.pages[0].curves if c["fill"] and c["width"] < 25]
        assert not any(c["x0"] < length["x1"] and length["x0"] < c["x1"] and c["top"] < length["bottom"] - 1
                       and length["top"] < c["bottom"] for c in shapes)  # fmt: skip
        text = pdf.pages[1].extract_text()
        assert "radius m" in text
        assert "300°" in text


def test_guided_sheets_count_per_stretch_and_give_the_stick() -> None:
    """Every unit has a box to tick; the recorder's readings are empty."""
    plot = made.plot(kind="guided", number=19)
    with book(guided_planter_pages(plot, made.ABOUT, PAPERS["half letter"])) as pdf:
        text = " ".join(p.extract_text() for p in pdf.pages)
        assert "stick of 1.20 m" in text
        assert "3–6 m" in text
        boxes = [r for p in pdf.pages for r in p.rects if abs(r["width"] - 11) < 0.2 and abs(r["height"] - 11) < 0.2]
        assert len(boxes) == 2 + 1 + 12 + 3 + 1
    with book(guided_recorder_pages(plot, made.ABOUT, PAPERS["half letter"])) as pdf:
        text = pdf.pages[0].extract_text()
        assert "offset m, L or R" in text
        assert "0.7" not in text


def test_front_pages_leave_the_emergency_boxes_empty() -> None:
    """A number from last season in the box for the ambulance costs minutes."""
    own = made.pack()
    with book([cover(own), how_to(own), *letter_pages(own, PAPERS["half letter"])]) as pdf:
        text = pdf.pages[0].extract_text()
        for name in EMERGENCY:
            assert labels()[name]["en"] in text
        for caution in own.about.cautions:
            assert caution in text
        boxes = [r for r in pdf.pages[0].rects if r["width"] > 300]
        assert len(boxes) == len(EMERGENCY)
        for box in boxes:
            inside = pdf.pages[0].crop((box["x0"], box["top"], box["x1"], box["bottom"])).extract_text()
            assert inside in [labels()[name]["en"] for name in EMERGENCY]
        assert "Photograph with a scale." in pdf.pages[1].extract_text()
        assert "K ACER g9" in pdf.pages[2].extract_text().replace("\n", " ")


def test_every_page_has_caution_run_date_and_its_number() -> None:
    """A page that blows off the boat must say what it is."""
    own = made.pack(made.plot())
    pages = dive_pages(own)
    with book(pages) as pdf:
        for k, page in enumerate(pdf.pages, start=1):
            text = page.extract_text()
            for due in ("Planning aid only", "FICTIONAL", "run 0badcafe", "2026-04-15", f"page {k} of {len(pages)}"):
                assert due in text, (k, due)


def test_missing_tide_and_missing_model_are_said() -> None:
    """An empty field is read as zero."""
    gone = dict.fromkeys(("tide_low_m", "tide_high_m", "tide_depth_min_m", "tide_depth_max_m"))
    plot = made.plot(
        **gone, tide_note="TIDE NOT GIVEN: charted depth only", bearing_magnetic_deg=None, declination_deg=None,
        bearing_note="no magnetic bearing: no model holds on this day or place",
    )  # fmt: skip
    with book(planter_pages(plot, made.ABOUT, PAPERS["half letter"])) as pdf:
        text = pdf.pages[0].extract_text()
        assert text.count("TIDE NOT GIVEN") == 2
        assert "no magnetic bearing" in text
        assert "CHARTED, MLLW" in pdf.pages[1].extract_text()


def test_as_set_pins_are_said_on_the_sheet() -> None:
    """A diver must know whether a nail is already there."""
    with book([lambda pen, n, t: large_head(pen, made.plot(pins_as_set="pin A"), "PLANTER", "1 of 1")]) as pdf:
        assert "AS SET: pin A" in pdf.pages[0].extract_text()
    with book([lambda pen, n, t: short_head(pen, made.plot(), "PLANTER", "2 of 2")]) as pdf:
        assert "PLANTER" in pdf.pages[0].extract_text()


@pytest.mark.parametrize(
    ("low", "high", "due"),
    [
        (9.48, 9.91, ("9.5–10.0 m", "31–33 ft")),
        (6.0, 6.0, ("6.0 m", "19–20 ft")),
        (0.3048, 3.048, ("0.3–3.1 m", "1–10 ft")),
    ],
)
def test_greatest_depths_never_round_down(low: float, high: float, due: tuple[str, str]) -> None:
    """9.91 m printed as 9.9 m is shallower than the bottom."""
    assert depth_texts(low, high) == due


@pytest.mark.parametrize(
    ("value", "due"), [(0.0, "000°"), (95.0, "095°"), (359.9, "000°"), (None, "—"), (float("nan"), "—")]
)
def test_bearings_have_three_digits(value: float | None, due: str) -> None:
    """5 for 005 is read as 50."""
    assert degrees(value) == due


@pytest.mark.parametrize(("paper", "least"), [("half letter", 11), ("A5", 10), ("letter", 18), ("A4", 20)])
def test_a_page_holds_its_rows(paper: str, least: int) -> None:
    """Fewer rows mean more wet paper."""
    first, following = page_size(PAPERS[paper])
    assert first >= least
    assert following > first


def test_a_site_overview_names_every_plot_and_its_scale() -> None:
    """A plot without a name on the overview is looked for in vain."""
    own = made.pack()
    with book([overview(own, own.sites[0])]) as pdf:
        text = pdf.pages[0].extract_text()
        for due in ("1. OT-01", "2. OT-02", "grid N", "1 : "):
            assert due in text
        scale = int(re.search(r"1 : ([\d ]+)", text)[1].replace(" ", ""))  # type: ignore[index]
        tape = max(line["width"] for line in pdf.pages[0].lines)
        outline = [
            c for c in pdf.pages[0].rects + pdf.pages[0].curves if abs(c["width"] - 18 / scale * 72 / 0.0254) < 0.1
        ]
        assert len(outline) == 2
        assert tape > 0


def test_the_list_says_which_plots_are_not_planted() -> None:
    """A control plot that gets planted is no control."""
    own = made.pack(waypoints=made.waypoints(2).assign(role=["control", "control", "planted", "planted"]))
    with book(waypoint_pages(own, PAPERS["half letter"])) as pdf:
        text = pdf.pages[0].extract_text()
        assert text.count("CONTROL: NOTHING IS PLANTED") == 1
        assert overlapping(pdf.pages[0]) == []


def test_long_names_shrink_and_impossible_ones_are_refused(tmp_path: Path) -> None:
    """Sixty letters fit; a script the font lacks and a name as long as a page are told, and no half file is left."""
    long_name = "Señor Ωmega Кириллица reef with a name of sixty characters, X"
    about = made.ABOUT.__class__(**{**made.ABOUT.__dict__, "name": long_name})
    write_dive_sheets(tmp_path / "a.pdf", made.pack(about=about, sites=(made.site("OT-01", "OT-02", name=long_name),)))
    with pytest.raises(InputFault, match="CJK"):
        write_dive_sheets(tmp_path / "b.pdf", made.pack(sites=(made.site("OT-01", name="珊瑚"),)))
    with pytest.raises(InputFault, match="Shorten it"):
        write_dive_sheets(tmp_path / "b.pdf", made.pack(sites=(made.site("OT-01", name="x " * 900),)))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.pdf"]


def test_the_same_pack_gives_the_same_bytes(tmp_path: Path) -> None:
    """A clock in a file makes every run look new."""
    for name in ("a", "b"):
        write_dive_sheets(tmp_path / f"{name}.pdf", made.pack())
        write_day_plan(tmp_path / f"{name}-days.pdf", made.day_pack())
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    assert (tmp_path / "a-days.pdf").read_bytes() == (tmp_path / "b-days.pdf").read_bytes()


def test_the_day_plan_says_gas_table_clock_and_what_is_left() -> None:
    """What a leader asks on the quay."""
    with book(day_pages(made.day_pack(rest=("OT-05: 9 units, numbers 88–96",))), "letter") as pdf:
        text = "\n".join(p.extract_text() for p in pdf.pages)
        for due in (
            "3 h 51", "OT-05: 9 units", "Go only if: wind at most 9 m/s", "900 psi", "table row 50 ft: 92", "SPARE", "OT-01/1",
            "later dive: no table", "GO / NO-GO", "34",
        ):  # fmt: skip
            assert due in text.replace("\n", " ") or due in text, due


@pytest.mark.slow
def test_a_hundred_plots_make_a_small_pack_quickly(tmp_path: Path) -> None:
    """Over 5 s of work or 5 MB nobody prints it on the quay. Slow: it makes 300 pages."""
    plots = [made.plot(f"OT-{k:02d}", 15, order=k, longitude_deg=-50.3 + 1e-4 * k) for k in range(1, 101)]
    own = made.pack(*plots)
    start = time.process_time()
    assert write_dive_sheets(tmp_path / "p.pdf", own) > 300
    assert time.process_time() - start < 5.0
    assert (tmp_path / "p.pdf").stat().st_size < 5e6
