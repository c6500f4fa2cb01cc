"""The decision record of the demo in other languages and units: nothing of its labels left in English, charts whole."""

from __future__ import annotations

import re
import shutil
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from typing import Any

import pytest

from sitekit.base.sources import sources
from sitekit.base.wording import labels, worded
from sitekit.outputs.paper.fonts import width
from sitekit.pipeline.decision_record import write_decision_files
from sitekit.pipeline.export import CAUTIONS
from sitekit.pipeline.fields import read_ground, species_criteria
from sitekit.pipeline.project import Project
from sitekit.season.settings import Settings, settings_from
from sitekit.sites.cost import published_ranges
from tests.outputs.translated import english_left
from tests.season.conftest import Ran

SVG = "{http://www.w3.org/2000/svg}"


def planned(demo: Ran) -> Settings:
    """The demo's settings."""
    return settings_from(tomllib.loads((demo.folder / "plan.toml").read_text("utf-8")))


def texts(value: Any) -> Iterator[str]:
    """Every text in a nest of mappings and sequences, keys left out."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from texts(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from texts(one)


def cited(settings: Settings) -> str:
    """What is told as it stands: the plan's own texts, sources, notes of criteria, what is published."""
    notes = [c.note for rows in species_criteria(settings).values() for c in rows if c.note]
    parts = [*texts(settings.model_dump(mode="json")), *notes, *texts(published_ranges())]
    return " ; ".join([*parts, *(s.line() for s in sources().values())])


def record(demo: Ran, language: str, units: str) -> tuple[str, dict[str, str], list[str]]:
    """The record as text, its charts, and the sentences that had no translation; the demo is left as it was."""
    project = Project(demo.folder, planned(demo))
    with worded(language, units) as now:
        names = write_decision_files(project, read_ground(project), project.season(), "12345678", CAUTIONS)
    found = {name: project.target(name).read_text("utf-8") for name in names if name.startswith("decision")}
    shutil.rmtree(project.working)
    return found.pop("decision.md"), found, now.untold


@pytest.mark.parametrize("code", ["es", pytest.param("fr", marks=pytest.mark.slow)])
def test_a_translated_record_keeps_no_english_label(demo: Ran, code: str) -> None:
    """Somebody who was not at the meeting reads half of it; what is typed and cited stays. Slow: two records each."""
    text, charts, untold = record(demo, code, "both")
    assert untold == []
    plain = text.replace("\\", "")
    english = record(demo, "en", "both")[0].replace("\\", "")
    rows = [line for line in plain.splitlines() if re.search(r"\[(Planning|Not for|Dive pl|Handling)", line) is None]
    own = [line for line in rows if line in english.splitlines()]  # cited, typed, names: told alike in every language
    typed = cited(planned(demo))
    left = english_left("\n".join(line for line in rows if line not in own), code, ("record.", "told."), typed=typed)
    assert left == []
    assert len(english_left(english, code, ("record.",))) > 150
    for caution in CAUTIONS:
        assert f"[{caution}]" in plain
    assert labels()["unreviewed"][code].capitalize() in plain
    assert [line[:6] for line in plain.splitlines() if line.startswith("## ")] == [
        line[:6] for line in english.splitlines() if line.startswith("## ")
    ]
    for name, chart in charts.items():
        for line in ET.fromstring(chart).iter(f"{SVG}text"):
            x, size, said = float(line.attrib["x"]), float(line.attrib["font-size"]), line.text or ""
            long = width(said, size, line.get("font-weight") == "bold")
            left_edge = x - {"start": 0.0, "middle": long / 2, "end": long}[line.attrib["text-anchor"]]
            assert left_edge >= 0, (name, said)
            assert left_edge + long <= 760, (name, said)
        assert english_left(chart, code, ("record.",), typed=typed) == []


@pytest.mark.slow
def test_feet_alone_leave_no_depth_or_distance_in_metres(demo: Ran) -> None:
    """Depths in two units in one record are mixed up; curves stay in the plan's metres. Slow: two records."""
    feet, metres = (record(demo, "en", units)[0].replace("\\", "") for units in ("ft", "m"))
    heads = [line for line in feet.splitlines() if line.startswith("| ") and "[m]" in line]
    assert heads == []
    assert "| 2.3 to 4.3 |" in metres
    assert "| 7.4 to 14.0 |" in feet
    assert "deeper than 50 ft" in feet
    assert "harbour by sea [ft]" in feet
    assert "| 4 054 |" in metres
    assert "| 13 300 |" in feet
    assert "every depth ± 1.0 ft" in feet
