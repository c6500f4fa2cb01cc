"""Shared pieces of printed sheets: text fits or is refused, scales are round, the same sheets give the same bytes."""

from __future__ import annotations

import io
import itertools

import pdfplumber
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.outputs.paper.book import PAPERS, book_bytes
from sitekit.outputs.paper.fonts import LINE_HEIGHT, check_scripts, fitted, tidy, width, wrapped
from sitekit.outputs.paper.frame import BLOCK_WIDTH, CHECK_LINE_MM, Frame, TitleBlock
from sitekit.outputs.paper.hatches import NAMES, hatch
from sitekit.outputs.paper.listing import Column, Listing, Words, paginate
from sitekit.outputs.paper.norths import Norths, draw_norths
from sitekit.outputs.paper.pen import Pen, around
from sitekit.outputs.paper.scales import bar_step, map_scale, points_per_metre, scale_bars

LETTERS = st.text(st.characters(codec="utf-8", categories=("Lu", "Ll", "Nd", "Zs", "Pd")), min_size=1, max_size=80)


def frame(size: tuple[float, float] = PAPERS["letter"], **changes: str) -> Frame:
    facts = {
        "applicant": "Reef team",
        "file_number": "F-1",
        "water_body": "Bay",
        "activity": "Planting",
        "date": "2026-04-15",
        "revision": "A",
    }
    return Frame(size, TitleBlock(**{**facts, **changes}), ("DRAFT", "FICTIONAL"), ("Not a permit.",))


@given(LETTERS, st.floats(20, 300), st.sampled_from([6.0, 8.0]))
def test_wrapped_lines_are_no_wider_than_their_room_and_lose_no_letter(text: str, room: float, size: float) -> None:
    """A line that runs out of its box overprints the next column; a lost letter is another name."""
    lines = wrapped(text, room, size)
    assert all(width(line, size) <= room or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == tidy(text).replace(" ", "")


def test_text_that_fits_takes_the_largest_size_that_does() -> None:
    """Small letters where there is room are hard to read."""
    assert fitted("short", (100.0, 20.0), sizes=(8, 6), where="x").size == 8
    long = fitted("a name of many words that goes on", (60.0, 3 * 6 * LINE_HEIGHT), sizes=(8, 6), where="x")
    assert long.size == 6
    assert long.height <= 3 * 6 * LINE_HEIGHT + 1e-6


def test_a_text_too_long_for_its_box_is_refused_by_place_and_length() -> None:
    """A name cut short on a permit is a wrong name."""
    with pytest.raises(InputFault, match=r"title block, applicant: 400 characters .* Shorten it; no sheet was written"):
        book_bytes([lambda p, n, t: frame(applicant="x" * 400).draw(p, n, t, "T")], PAPERS["letter"], title="t")


@pytest.mark.parametrize(
    ("text", "script"), [("珊瑚", "CJK"), ("サンゴ", "KATAKANA"), ("مرجان", "ARABIC"), ("प्रवाल", "DEVANAGARI")]
)
def test_scripts_the_font_cannot_print_are_refused_by_name(text: str, script: str) -> None:
    """Boxes or unjoined letters on a sheet are no name at all."""
    with pytest.raises(InputFault, match=f"site WS.name: .*{script}.*Latin, Greek or Cyrillic"):
        check_scripts([("site WS.name", text)])


def test_latin_greek_and_cyrillic_are_printed_and_extracted_again() -> None:
    """A font that is not embedded whole prints other letters on another machine."""
    text = "Señal Κοράλλι Коралл 18° 03′ ″ ☐ m²"
    check_scripts([("x", text)])
    data = book_bytes([lambda p, n, t: p.text(50, 50, text) and None], PAPERS["A4"], title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        assert pdf.pages[0].extract_text() == text
        assert {c["fontname"].split("+")[-1] for c in pdf.pages[0].chars} == {"DejaVuSans"}


@pytest.mark.parametrize("size", PAPERS.values(), ids=PAPERS)
def test_same_sheets_give_the_same_bytes_numbered_n_of_n(size: tuple[float, float]) -> None:
    """A date or id in the file would make every run look like a change."""
    sheets = [lambda p, n, t: p.text(50, 50, f"sheet {n} of {t}") and None] * 3
    data = book_bytes(sheets, size, title="t")
    assert data == book_bytes(sheets, size, title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        assert [p.extract_text() for p in pdf.pages] == [f"sheet {k} of 3" for k in (1, 2, 3)]
        assert (float(pdf.pages[0].width), float(pdf.pages[0].height)) == pytest.approx(size, abs=0.01)


@pytest.mark.parametrize("size", [PAPERS["letter"], PAPERS["A4"]], ids=["letter", "A4"])
def test_frame_keeps_margins_and_names_every_fact_of_the_title_block(size: tuple[float, float]) -> None:
    """Trade rows TV-117 and TV-119 (Fort Worth District checklist): 1 in above, 1/2 in elsewhere, six facts."""
    data = book_bytes([lambda p, n, t: frame(size).draw(p, n, t, "Plan view", "1 : 500")], size, title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[0]
        words = page.extract_words()
        assert min(w["x0"] for w in words) >= 36
        assert max(w["x1"] for w in words) <= float(page.width) - 36
        assert min(w["top"] for w in words) >= 72 - 1
        assert max(w["bottom"] for w in words) <= float(page.height) - 36
        text = page.extract_text()
    for fact in ("Reef team", "F-1", "Bay", "Planting", "2026-04-15", "1 of 1", "1 : 500", "DRAFT", "FICTIONAL"):
        assert fact in text
    assert 4 * 72 - 4 <= BLOCK_WIDTH <= 4.2 * 72  # "about 1 x 4 in"


def test_check_line_is_100_mm_long() -> None:
    """A line of another length makes every correct print look wrong."""
    data = book_bytes([lambda p, n, t: frame().draw(p, n, t, "T")], PAPERS["letter"], title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        lengths = [float(line["x1"] - line["x0"]) for line in pdf.pages[0].lines]
    assert any(abs(v - CHECK_LINE_MM * 72 / 25.4) < 0.01 for v in lengths)


def test_an_empty_fact_reads_not_stated() -> None:
    """An empty box looks like a printing fault; an invented fact is worse."""
    data = book_bytes([lambda p, n, t: frame(file_number="").draw(p, n, t, "T")], PAPERS["letter"], title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        assert "not stated" in pdf.pages[0].extract_text()


@given(st.floats(1, 1e6), st.floats(1, 1e6))
def test_map_scales_are_round_and_the_largest_that_fits(wide: float, high: float) -> None:
    """1 : 3 741 cannot be measured with a ruler; a map half as large as it could be hides the work."""
    room = (500.0, 400.0)
    scale = map_scale(wide, high, room)
    assert wide * points_per_metre(scale) <= room[0] * (1 + 1e-6)
    assert high * points_per_metre(scale) <= room[1] * (1 + 1e-6)
    digits = str(scale).rstrip("0") or "1"
    assert digits in ("1", "125", "15", "2", "25", "3", "4", "5", "75")
    if scale > 10:
        assert max(wide * points_per_metre(scale) / room[0], high * points_per_metre(scale) / room[1]) >= 0.66


@given(st.floats(1e-3, 1e6))
def test_bar_steps_are_1_2_or_5(metres: float) -> None:
    """A bar of 37 m is no help to a reader with a ruler."""
    step = bar_step(metres)
    assert 0.4 * metres <= step * (1 + 1e-9)
    assert step <= metres * (1 + 1e-6)
    assert f"{step:e}"[0] in "125"


@pytest.mark.parametrize("scale", [100, 500, 2500, 20_000, 100_000])
def test_scale_bars_are_as_long_as_they_say(scale: int) -> None:
    """The metre bar and the foot bar: 1 ft is 0.3048 m exactly (international foot, 1959)."""
    data = book_bytes([lambda p, n, t: scale_bars(p, 50, 50, scale, 220)], PAPERS["letter"], title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[0]
        for top, per in ((20, 1.0), (0, 0.3048)):
            boxes = [r for r in page.rects if 792 - 50 - top - 20 < r["bottom"] <= 792 - 50 - top]
            words = [w for w in page.extract_words() if 792 - 50 - top - 20 < w["bottom"] <= 792 - 50 - top]
            last = max(float(w["text"]) for w in words if w["text"].replace(".", "").isdigit())
            last *= 1000 if any(w["text"] == "km" for w in words) else 1
            drawn = max(r["x1"] for r in boxes) - min(r["x0"] for r in boxes)
            assert float(drawn) * 0.0254 / 72 * scale == pytest.approx(last * per, rel=1e-3)


@pytest.mark.parametrize("declination", [-14.2, 6.6, -0.2, 0.3, 170.0])
@pytest.mark.parametrize("convergence", [-2.5, -0.1, 0.1, 2.5])
def test_needles_stand_at_their_angles_and_letters_apart(convergence: float, declination: float) -> None:
    """A needle on the wrong side of north turns every bearing by twice its angle."""
    norths = Norths(convergence, declination, 0.1, 0.3, "WMM2025", "2026-04-15", "UTM")
    data = book_bytes([lambda p, n, t: draw_norths(p, 100, 100, norths)], PAPERS["letter"], title="t")
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[0]
        words = page.extract_words()
        lines = sorted((e for e in page.lines), key=lambda e: -float(abs(e["bottom"] - e["top"])))
    for a, b in itertools.combinations(words, 2):
        assert not overlap(a, b), (a["text"], b["text"])
    true = lines[0]
    lean = float(true["x1"] - true["x0"]) / float(true["bottom"] - true["top"])
    assert abs(lean) == pytest.approx(abs(convergence) * 3.14159 / 180, rel=0.02)
    text = " ".join(norths.sentences())
    assert ("east" if convergence > 0 else "west") in text.split(" of true")[0]
    assert f"{abs(declination):.1f}° {'east' if declination > 0 else 'west'}" in text


def overlap(a: dict[str, float], b: dict[str, float]) -> bool:
    return min(a["x1"], b["x1"]) - max(a["x0"], b["x0"]) > 0.3 and min(a["bottom"], b["bottom"]) - max(
        a["top"], b["top"]
    ) > 0.2 * min(a["bottom"] - a["top"], b["bottom"] - b["top"])


def test_without_a_model_no_needle_is_drawn() -> None:
    """After 2029 the model does not hold: a guessed needle would be followed."""
    assert "No magnetic bearing" in " ".join(Norths(0.1, None, 0, 0, "WMM2025", "2031-01-01", "UTM").sentences())


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.slow
def test_hatches_stay_in_their_shape(name: str) -> None:
    """A hatch that runs out of its area forbids the sea beside it."""
    shape = shapely.Point(150, 150).buffer(40)

    def draw(pen: Pen, _: int, __: int) -> None:
        hatch(pen, shape, name)

    data = book_bytes([draw], (300.0, 300.0), title="t")
    image = _rendered(data)
    dark = [(x, y) for x in range(600) for y in range(600) if image.getpixel((x, 599 - y)) < 200]
    assert len(dark) > 50
    assert all(shape.buffer(2).covers(shapely.Point(x / 2, y / 2)) for x, y in dark)


def _rendered(data: bytes):  # type: ignore[no-untyped-def]
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        return pdf.pages[0].to_image(resolution=144).original.convert("L")


@given(st.integers(0, 90), st.integers(1, 4))
def test_tables_run_over_sheets_with_every_row_once(rows: int, words: int) -> None:
    """A row lost between two sheets is a site the office never sees."""
    table = Listing([Column("n", 1), Column("text", 3)], [(k, "word " * words) for k in range(rows)], 300.0)
    sheets = paginate([Words("Heading", 300.0, bold=True), table], (0.0, 0.0, 300.0, 200.0))
    found = [k for sheet in sheets for block, a, b, _ in sheet if block is table for k in range(a, b)]
    assert found == list(range(max(rows, 1)))
    for sheet in sheets:
        assert all(top - block.height(a, b) >= -1e-6 for block, a, b, top in sheet)
        assert not (sheet and isinstance(sheet[-1][0], Words) and sheet is not sheets[-1])


def test_labels_give_way_to_one_another() -> None:
    """Two numbers printed over each other are none."""
    taken = []

    def draw(pen: Pen, _: int, __: int) -> None:
        for k in range(12):
            taken.append(pen.try_text(around(100, 100, 4, 7), f"label {k}", 7))

    book_bytes([draw], PAPERS["letter"], title="t")
    boxes = [t for t in taken if t]
    assert 4 <= len(boxes) < 12
    assert all(not shapely.box(*a).intersects(shapely.box(*b)) for a, b in itertools.combinations(boxes, 2))
