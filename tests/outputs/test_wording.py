"""Sheets in other languages and units: every label there, nothing cut or overprinted, cautions with the English beside."""

from __future__ import annotations

import ast
import dataclasses
import re
from pathlib import Path

import pytest

from sitekit.base.wording import LANGUAGES, STATUS, caution, depth_texts, labels, length_text, retell, say, worded
from sitekit.errors import InputFault
from sitekit.outputs.dive_pdf.days import day_pages
from sitekit.outputs.dive_pdf.sheets import dive_pages
from sitekit.outputs.paper.fonts import scripts_lacking
from sitekit.pipeline.export import CAUTIONS
from sitekit.pipeline.packs import FIELD_CAUTIONS, LINE, TASKS
from tests.outputs import dive_pack as made
from tests.outputs.test_dive_pdf import book, overlapping

ROOT = Path(__file__).resolve().parents[2]
ENDINGS = {"html", "pdf", "md"}  # of files, which look like keys
OTHERS = [code for code in LANGUAGES if code != "en"]
ABOUT = dataclasses.replace(made.ABOUT, cautions=(*CAUTIONS, *FIELD_CAUTIONS), line=LINE)


def of_argument(node: ast.expr) -> list[str]:
    """What the first argument of `say` may be, as patterns; names are looked up as constants of their file."""
    if isinstance(node, ast.Constant):
        return [re.escape(str(node.value))]
    if isinstance(node, ast.JoinedStr):
        return ["".join(re.escape(str(v.value)) if isinstance(v, ast.Constant) else r"[\w-]+" for v in node.values)]
    if isinstance(node, ast.IfExp):
        return [*of_argument(node.body), *of_argument(node.orelse)]
    return []


def said() -> tuple[set[str], set[str]]:
    """Patterns of the keys that code says, and constants that look like keys in the files that say some."""
    patterns: set[str] = set()
    constants: set[str] = set()
    families = {key.split(".")[0] for key in labels() if "." in key}
    for path in sorted((ROOT / "sitekit").rglob("*.py")):
        text = path.read_text("utf-8")
        if " say" not in text or "sitekit.base.wording" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "say":
                patterns.update(of_argument(node.args[0]))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                family, _, rest = node.value.partition(".")
                if family in families and rest not in ENDINGS and re.fullmatch(r"[a-z_0-9]*[a-z0-9]", rest):
                    constants.add(node.value)
    page = ROOT / "sitekit" / "outputs" / "map_html" / "page"
    for path in sorted(page.glob("*.js")):
        patterns.update(rf"page\.{key}" for key in re.findall(r"\bsay\(\"(\w+)\"", path.read_text("utf-8")))
    frame = (page / "page.html").read_text("utf-8")
    return patterns | {re.escape(key) for key in re.findall(r"@@(page\.\w+)@@", frame)}, constants


def test_every_label_that_code_says_exists() -> None:
    """A missing key stops a print on the quay."""
    patterns, constants = said()
    assert len(patterns) > 100
    assert [p for p in patterns if not any(re.fullmatch(p, key) for key in labels())] == []
    assert constants - set(labels()) == set()
    with pytest.raises(InputFault, match=r"'head\.plantre'.*shared/labels\.csv"):
        say("head.plantre")


def test_no_label_is_missing_empty_or_without_its_values_in_any_language() -> None:
    """A translation that loses a value prints an empty field, which reads as zero."""
    for key, texts in labels().items():
        values = [sorted(re.findall(r"\{(\w+)\}", texts[code])) for code in LANGUAGES]
        assert all(texts[code].strip() for code in LANGUAGES), key
        assert all(v == values[0] for v in values), key
        assert [c for c in LANGUAGES if scripts_lacking(texts[c])] == [], key  # letters no sheet can print
    assert labels()[STATUS] == {"en": "complete", "es": "unreviewed", "fr": "unreviewed"}


def test_no_label_is_left_over() -> None:
    """A label that nothing prints is translated and reviewed for nothing."""
    patterns, constants = said()
    known = re.compile("|".join(patterns))
    printed = [k for k in labels() if k in constants or known.fullmatch(k) or k.startswith("told.") or k == STATUS]
    columns = [k for k in labels() if k.startswith("column.")]
    assert sorted(set(labels()) - set(printed) - set(columns)) == []


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("paper", ["half letter", pytest.param("A4", marks=pytest.mark.slow)])
def test_translated_dive_sheets_overprint_and_lose_nothing(code: str, paper: str) -> None:
    """Longer words must not run into a bearing. Slow on the second paper: every word of each page is compared."""
    with worded(code) as now:
        plots = (made.plot(), made.plot("OT-02", 19, kind="guided"), made.circle())
        own = made.pack(*plots, paper=paper, about=ABOUT, tasks=tuple(say(t) for t in TASKS))
        pages = dive_pages(own)
        with book(pages, paper) as pdf:
            for number, page in enumerate(pdf.pages, start=1):
                assert overlapping(page) == [], number
                assert all(c["x0"] >= 18 and c["x1"] <= page.width - 18 for c in page.chars), number
                text = page.extract_text()
                for due in (say("page_of", number=number, total=len(pages)), say("unreviewed_short"), LINE, "FICTI"):
                    assert due in text, (number, due)
            cover = pdf.pages[0].extract_text().replace("\n", " ")
            assert "not reviewed" in cover
            for english in ABOUT.cautions:
                assert f"[{english}]" in cover
            head = pdf.pages[5].extract_text()
            for key in ("head.planter", "head.tape", "rows.along", "rows.done"):
                assert labels()[key][code] in head, key
        assert now.untold == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translated_day_plan_cuts_no_heading(code: str) -> None:
    """A heading broken inside a word is guessed at."""
    with worded(code) as now:
        pack = made.day_pack(about=ABOUT)
        pack.days["alternates"] = (
            "OT is not in the lee of wind from 000–112°: no site in the lee, least sea here, 225°: go to PF"
        )
        with book(day_pages(pack), "letter") as pdf:
            words = {w["text"] for page in pdf.pages for w in page.extract_words()}
            for page in pdf.pages:
                assert overlapping(page) == [], page.page_number
        headings = [texts[code] for key, texts in labels().items() if key.startswith("column.")]
        assert [h for h in headings if not set(h.split()) <= words] == [], code
        assert now.untold == []


def test_a_sentence_of_the_tables_is_told_with_its_values() -> None:
    """Gas, limits and materials keep their figures; what is not known stays English and is noted."""
    with worded("es") as now:
        assert (
            retell("wind from 030° to 120° at most 7 m/s (14 kn)")
            == "viento de 030° a 120° de 7 m/s como máximo (14 kn)"
        )
        assert retell("adhesive for epoxy, one bed") == "adhesivo para epoxy, one bed"
        assert retell("350 units × 3 points × 8 mL + 15 % waste").endswith("8 mL + 15 % de pérdida")
        assert retell("225–247°") == "225–247°"
        assert now.untold == []
        assert retell("a sentence nobody translated") == "a sentence nobody translated"
        assert now.untold == ["a sentence nobody translated"]
    assert retell("adhesive for cement") == "adhesive for cement"


def test_cautions_carry_the_english_beside_an_unreviewed_translation() -> None:
    """A caution that a machine's words get wrong must still be readable."""
    assert caution(CAUTIONS[0]) == CAUTIONS[0]
    with worded("fr"):
        for text in (*CAUTIONS, *FIELD_CAUTIONS):
            assert caution(text).endswith(f" [{text}]")
            assert not caution(text).startswith(text)


def test_feet_alone_leave_no_depth_in_metres_and_the_tape_says_it_is_metric() -> None:
    """Two units on a sheet meant for one are mixed up; readings are laid out in tenths of a metre."""
    assert depth_texts(9.48, 9.91) == ("9.5–10.0 m", "31–33 ft")
    with worded(units="ft"):
        assert depth_texts(9.48, 9.91) == ("31–33 ft",)
        assert length_text(-0.1, signed=True) == "-0.3 ft"
        with book(dive_pages(made.pack(made.plot(), about=ABOUT))) as pdf:
            head = pdf.pages[5].extract_text()
            assert "29–33 ft" in head
            assert re.findall(r"\d m\b", head) == ["0 m"]  # of the tape
            assert "Tape and offsets are in metres on every sheet" in pdf.pages[1].extract_text()
    with worded(units="m"), book(dive_pages(made.pack(made.plot(), about=ABOUT))) as pdf:
        assert " ft" not in pdf.pages[5].extract_text()


@pytest.mark.parametrize(("language", "units", "due"), [("de", "m", "language: 'de'"), ("en", "yd", "'yd'")])
def test_unknown_languages_and_units_are_refused(language: str, units: str, due: str) -> None:
    """An unknown word must not fall back in silence."""
    with pytest.raises(InputFault, match=due), worded(language, units):
        pass
