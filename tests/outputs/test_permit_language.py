"""The permit packet in other languages and units: nothing left in English, nothing overprinted, areas as offices want them."""

from __future__ import annotations

import dataclasses
import re

import pytest

from sitekit.base.tables import build
from sitekit.base.wording import LANGUAGES, labels, worded
from sitekit.outputs.permit_pdf.packet import Packet
from sitekit.outputs.permit_pdf.write import packet_bytes
from sitekit.pipeline.export import CAUTIONS
from tests.outputs.permit_packet import made_up, page_faults, page_texts
from tests.outputs.translated import english_left

OTHERS = [code for code in LANGUAGES if code != "en"]
FAMILIES = ("paper.", "permit.", "told.")
TYPED = "Arrecife"
VERDICTS = (
    "permit named",
    "FORBIDDEN: move the work area",
    "kept clear: the outline is 14.5 m away, the nearest unit 22.7 m",
    "a unit stands nearer than 5 m",
)
OPEN = (
    "coastline for the vicinity sheet",
    "site S01 is chosen and holds no plot: it has no sheet",
    "number of: Pernos",
)
PLANNED = (
    ("fragments of all species in Parque, 2026-01-01 to any day", "150", "at most 200"),
    ("period of planting", "2026-05-04 to 2026-06-26", "any day to 2026-12-31"),
    ("regions of the genets", "7 of 8 genets; not APAL G1", "norte"),
)
CHANGES = (("S01", "corner 2", "18° 03.0′ N, 050° 17.0′ W", "none"), ("all work areas", "area [m²]", "900", "980"))


def packet() -> Packet:
    """Two sites with every kind of sheet; what a team would type is not English."""
    own = made_up(sites=2, words=TYPED, marks=(), cautions=CAUTIONS, notes=(), stamps=(), small_print=())
    rules = own.rules.copy()
    rules["decides"] = True  # so that each is listed
    rules["verdict"] = [VERDICTS[k % len(VERDICTS)] for k in range(len(rules))]
    permitted = [
        {"permit": TYPED, "what": w, "planned": p, "permitted": m, "kept": k > 0} for k, (w, p, m) in enumerate(PLANNED)
    ]
    changes = [{"work_area": a, "what": w, "old": o, "new": n} for a, w, o, n in CHANGES]
    shape = own.areas.geometry.iloc[0]
    return dataclasses.replace(
        own,
        rules=rules,
        permitted=build("permitted", permitted),
        open_items=build("open_items", [{"item": i, "place": "permit[1]", "kind": "missing fact"} for i in OPEN]),
        amendments=build("amendments", changes),
        amends=TYPED,
        changed=(("S01", shape.buffer(5), shape), ("S02", None, own.areas.geometry.iloc[1])),
        facts=(("contact", TYPED), ("planting", "2026-05-04 to not stated"), ("purpose", "not stated")),
        materials=((TYPED, "32", "yes", "—", ""), (TYPED, "not stated", "no", "not stated", "")),
        counted=(("tags", "550", "500 + 10 % spare"),),
        monitoring=(("1", TYPED),),
    )


@pytest.mark.parametrize("code", OTHERS)
def test_a_translated_packet_overprints_nothing_and_keeps_no_english(code: str) -> None:
    """An office that reads Spanish sends back drawings half in English; longer words must not run into one another."""
    with worded(code) as now:
        data, _ = packet_bytes(packet())
    assert page_faults(data) == []
    text = " ".join(page_texts(data))
    assert english_left(text, code, FAMILIES, typed="cable wild outplant") == []
    for english in CAUTIONS:
        assert f"[{english}]" in text
    headings = {
        w for key, row in labels().items() if key.startswith("permit.col_") for w in row[code].split("{")[0].split()
    }
    never = {"boya", "bouée", "posición", "position", "sitio"}  # no buoy here
    assert headings - set(text.split()) - never == set()
    assert now.untold == []


def test_the_english_packet_says_what_the_translations_stand_for() -> None:
    """The table of labels must not change what offices know in English."""
    text = " ".join(page_texts(packet_bytes(packet())[0]))
    assert len(english_left(text, "es", FAMILIES)) > 100  # what the test above looks for
    for due in (
        "drawing Vicinity", "scale as shown", "Grid north (up, WGS 84 / UTM zone 22N) lies", "GN", "TN", "MN",
        "work area, numbered corners", "acres on the ellipsoid; corners in WGS 84; 120 units, 3 plots",
        "depths below MLLW ± 0.3 m", "m along the cut from its western end", "0 m, MLLW, and low water",
        "a unit stands nearer than 5 m", "keep clear 5 m", "fragments of all species in Parque, 2026-01-01 to any day",
        "missing fact number of: Pernos permit[1]", "all work areas area [m²] 900 980", "Open items", "depth, m",
    ):  # fmt: skip
        assert due in text, due


def test_feet_alone_leave_depths_and_distances_in_feet_and_areas_as_they_are() -> None:
    """A permit office needs m², ha and acres; a depth in two units is read wrong."""
    with worded(units="ft"):
        text = " ".join(page_texts(packet_bytes(packet())[0]))
    assert set(re.findall(r"[\d.]+ m\b", text)) == {"40 m"}  # of the scale bars, which show both
    for due in ("m² = ", " ha = ", "acres", "depth, ft", "13–20", "keep clear 17 ft", "nearer than 17 ft", "± 1.0 ft",
                "ft along the cut", "102 ft", "to harbour, nmi", "2.11"):  # fmt: skip
        assert due in text, due
