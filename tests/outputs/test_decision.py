"""The decision record shows text as it stands, its tables hold together, and its charts are whole SVG."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.outputs.charts import GainPoint, RankRange, gain_chart, rank_chart
from sitekit.outputs.decision import Picture, Rows, Section, inline, write_decision

SVG = "{http://www.w3.org/2000/svg}"


@given(st.text(max_size=60))
def test_nothing_in_a_text_becomes_a_mark(text: str) -> None:
    """A site named `<b>|` must not break a table or run as HTML."""
    shown = inline(text)
    assert "\n" not in shown
    assert "<" not in shown
    bare = shown.replace("\\\\", "")
    for mark in "|*_`[]#":
        assert bare.count(mark) == bare.count("\\" + mark)


def test_a_record_is_written_as_given(tmp_path: Path) -> None:
    """Columns keep their order, numbers their decimals, gaps a dash; every row has as many cells as the head."""
    table = Rows(
        ("site", "units", "share [%]"), [("A|1", 1234, 12.345), ("B", None, math.nan)], (None, 0, 1), "Who gets what:"
    )
    sections = [
        Section("One", ["A text.", ["first", "second"], table, Picture("x.svg", "a chart")]),
        Section("Two", []),
    ]
    write_decision(tmp_path / "decision.md", "Record", ["2026-01-01"], sections)
    text = (tmp_path / "decision.md").read_text("utf-8")
    assert "## 1. One" in text
    assert "## 2. Two" in text
    assert "- first\n- second" in text
    assert "| A\\|1 | 1 234 | 12.3 |" in text
    assert "| B | – | – |" in text
    assert "![a chart](x.svg)" in text
    heads = [line for line in text.splitlines() if line.startswith("| ")]
    assert len({line.replace("\\|", "").count("|") for line in heads}) == 1


def test_an_empty_table_says_so(tmp_path: Path) -> None:
    """A head without rows reads like a printing fault."""
    write_decision(tmp_path / "d.md", "R", [], [Section("S", [Rows(("a",), [], (None,), "Rejected:")])])
    assert "Rejected:\n\n(none)" in (tmp_path / "d.md").read_text("utf-8")


def test_ranks_stand_where_they_belong() -> None:
    """The dot of rank 5 of 9 stands in the middle, its bar from 3 to 7 around it; fragile ones are hollow and say so."""
    text = rank_chart("T", [RankRange("C01", 5, 3, 7, True, False), RankRange("C02", 1, 1, 9, False, True)], "run 1")
    root = ET.fromstring(text)
    dots = [float(c.attrib["cx"]) for c in root.iter(f"{SVG}circle")]
    bars = [(float(r.attrib["x"]), float(r.attrib["width"])) for r in root.iter(f"{SVG}rect") if "x" in r.attrib]
    assert dots[0] == pytest.approx((bars[1][0] + bars[1][0] + bars[1][1]) / 2, abs=0.2)
    assert bars[0][0] + bars[0][1] / 2 == pytest.approx(dots[0], abs=0.2)
    assert bars[0][1] == pytest.approx(bars[1][1] / 2, abs=0.2)
    assert any("(fragile)" in (t.text or "") for t in root.iter(f"{SVG}text"))


def test_gain_rises_upwards_and_the_own_budget_has_a_ring() -> None:
    """Up is more; the plan's own budget must be found at a glance."""
    points = [GainPoint(50, 10, 5, 1), GainPoint(100, 20, 9, 2), GainPoint(200, 20, 9, 2)]
    root = ET.fromstring(gain_chart("T", points, "run <1>"))
    circles = list(root.iter(f"{SVG}circle"))
    y = [float(c.attrib["cy"]) for c in circles]
    assert y[0] > y[1] == y[2]
    assert [c.attrib["fill"] for c in circles] == ["#000", "#fff", "#000"]
    assert "run <1>" in [t.text for t in root.iter(f"{SVG}text")]


@given(st.lists(st.tuples(st.integers(1, 400), st.floats(0, 1e6), st.integers(0, 900)), min_size=1, max_size=9))
def test_charts_of_any_figures_are_whole(rows: list[tuple[int, float, int]]) -> None:
    """A plan of nothing, or of very much, must still be drawn."""
    root = ET.fromstring(gain_chart("T", [GainPoint(float(s), v, u, 1) for s, v, u in sorted(rows)], ""))
    for line in root.iter(f"{SVG}polyline"):
        assert "nan" not in line.attrib["points"]
