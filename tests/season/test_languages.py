"""A whole season printed in another language and in feet: what the run says, and what stands on its sheets."""

from __future__ import annotations

from pathlib import Path

import pdfplumber
import pytest

from sitekit.base.wording import labels
from sitekit.pipeline.export import ENGLISH_ONLY, TRANSLATED
from tests.outputs.permit_packet import page_faults, page_texts
from tests.season.conftest import command, edit


@pytest.mark.slow
@pytest.mark.parametrize(("code", "title"), [("es", "HOJAS DE BUCEO"), ("fr", "FICHES DE PLONGÉE")])
def test_a_season_in_another_language_leaves_no_sentence_untold(reef: Path, code: str, title: str) -> None:
    """A sentence of the tables without a translation stands in English among others. Slow: the demo's export runs again."""
    edit(reef / "plan.toml", 'language = "en"', f'language = "{code}"')
    edit(reef / "plan.toml", 'units = "both"', 'units = "ft"')
    said = command("run", reef)
    assert said.code == 0, said.err
    text = " ".join(said.out.split())
    assert "up to date: layers, score, candidates, sensitivity, choose, allocate, place, outline, fieldwork" in text
    assert f"{TRANSLATED[-1]} are in '{code}', a translation nobody has reviewed" in text
    assert ", ".join(ENGLISH_ONLY) in text
    assert "sentences without a translation" not in text
    assert "tape readings stay in metres" in text
    out = reef / "out"
    packet = (out / "permit.pdf").read_bytes()
    assert page_faults(packet) == []
    assert labels()["permit.all_corners"][code] in " ".join(page_texts(packet))
    assert labels()["permit.text_up"][code] in (out / "permit_text.txt").read_text("utf-8")
    assert "preferred for this work" in (out / "permit_tables.csv").read_text("utf-8")
    assert f'<html lang="{code}">' in (out / "map.html").read_text("utf-8")[:200]
    assert labels()["map.chosen_not_scouted"][code] in " ".join(page_texts((out / "map.pdf").read_bytes()))
    assert f"## 1. {labels()['record.short'][code]}" in (out / "decision.md").read_text("utf-8")
    with pdfplumber.open(out / "dive_sheets.pdf") as pdf:
        assert title in pdf.pages[0].extract_text()
    with pdfplumber.open(out / "day_plan.pdf") as pdf:
        first = "\n".join(page.extract_text() for page in pdf.pages[:2])
        for english in ("units in", "Go only if", "wind at most", "no site in the lee", "spare"):
            assert english not in first, english
