"""The scout's form: one page per site, everything asked on it, nothing over the edge, the same bytes every time."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pdfplumber
import pytest

from sitekit.base.wording import say, worded
from sitekit.errors import InputFault
from sitekit.outputs.scout_pdf import ScoutBook, ScoutSite, write_forms, write_scout_tables
from sitekit.pipeline.export import CAUTIONS
from sitekit.sites.scout import BOTTOM_POINTS, FORM_COLUMNS, GO
from tests.outputs.test_dive_pdf import overlapping

BOOK = ScoutBook(
    plan="Made-up reef",
    run_id="0000test",
    date="2026-04-15",
    datum="MLLW",
    paper="letter",
    fictional=True,
    points_m=10.0,
    points=tuple(BOTTOM_POINTS),
    classes=("Coral Reef Substrate", "Coral Rubble", "Coral Sand"),
    answers=GO,
    cautions=("Planning aid only: not a permit.",),
)


def site(code: str = "PF", name: str = "Pavement Field") -> ScoutSite:
    return ScoutSite(
        code, name, code, -50.2962183, 18.0491517, ("score 0.79", "depth 8.5 to 15.0 m"), ("Has it stopped?",)
    )


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_every_question_stands_on_one_page_inside_its_edges(tmp_path: Path, paper: str) -> None:
    """A question that is cut off at the edge is not answered."""
    book = ScoutBook(**{**BOOK.__dict__, "paper": paper})
    sites = [site(), site("LONG", "Åland–Ευβοία " * 6)]
    write_forms(tmp_path / "f.pdf", sites, book)
    with pdfplumber.open(tmp_path / "f.pdf") as pdf:
        assert len(pdf.pages) == 2
        for number, page in enumerate(pdf.pages, start=1):
            text = " ".join(page.extract_text().split())
            for words in ("depth by computer", "at (local time)", "macroalgae", "predators", "disease", "current", "surge",
                          "anchoring", "photo numbers", "no-go", "Has it stopped?", "FICTIONAL", f"page {number} of 2",
                          "run 0000test", "WGS 84", "MLLW", *BOTTOM_POINTS):  # fmt: skip
                assert words in text, words
            for char in page.chars:
                assert char["x0"] > 30
                assert char["x1"] < page.width - 30
                assert char["top"] > 30
                assert char["bottom"] < page.height - 20


def test_the_same_forms_give_the_same_bytes(tmp_path: Path) -> None:
    """A run of the same plan must not change a file."""
    for name in ("a.pdf", "b.pdf"):
        write_forms(tmp_path / name, [site()], BOOK)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_the_form_to_type_into_has_every_column_and_the_waypoint(tmp_path: Path) -> None:
    """What is typed must be read again: the columns are those that the reader asks for."""
    files = write_scout_tables(tmp_path, [site()], BOOK, columns=FORM_COLUMNS)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(files)
    with (tmp_path / "scout_form.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == list(FORM_COLUMNS)
    assert (rows[0]["site"], rows[0]["longitude_deg"], rows[0]["latitude_deg"]) == ("PF", "-50.296218", "18.049152")
    with (tmp_path / "scout_waypoints.csv").open(encoding="utf-8-sig", newline="") as file:
        point = next(csv.DictReader(file))
    assert point["latitude_ddm"] == "18° 02.949′ N"
    assert "FICTIONAL" in point["note"]
    assert "FICTIONAL" in (tmp_path / "scout_waypoints.gpx").read_text("utf-8")


def test_a_script_the_font_lacks_is_refused_and_nothing_written(tmp_path: Path) -> None:
    """Boxes in place of a name send divers to the wrong reef."""
    with pytest.raises(InputFault, match="script the font lacks"):
        write_forms(tmp_path / "f.pdf", [site(name="珊瑚")], BOOK)
    assert not (tmp_path / "f.pdf").exists()


@pytest.mark.parametrize("code", ["es", "fr"])
def test_a_translated_form_keeps_the_words_that_are_typed_in(tmp_path: Path, code: str) -> None:
    """The table takes English words; a form that hides them comes back with faults. Nothing is overprinted."""
    with worded(code):
        write_forms(tmp_path / "f.pdf", [site()], replace(BOOK, cautions=CAUTIONS))
        with pdfplumber.open(tmp_path / "f.pdf") as pdf:
            page = pdf.pages[0]
            text = " ".join(page.extract_text().split())
            for word in (
                *(f"({w})" for w in GO),
                *BOTTOM_POINTS,
                "not reviewed",
                f"[{CAUTIONS[0]}]",
                say("scout.plant"),
            ):
                assert " ".join(word.split()) in text, word
            assert overlapping(page) == []
            assert all(
                c["x0"] > 30 and c["x1"] < page.width - 30 and c["bottom"] < page.height - 20 for c in page.chars
            )
