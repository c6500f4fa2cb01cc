"""What a click on the map tells, in words."""

import json

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import Point

from sitekit.pipeline.map_facts import site_facts, stamps
from sitekit.pipeline.map_scene import _depth_layer

ASKED = {"first": "Was it here before?", "second": "Is the cause gone?"}


def _sites() -> dict[str, pd.DataFrame]:
    answers = {
        "second": {"answer": "unknown", "note": "", "who": "", "when": ""},
        "first": {"answer": "yes", "note": "seen on photographs", "who": "A. N.", "when": "2026-02-10"},
    }
    rows = {
        "site": ["WS", "C02", "C03"],
        "coded": [True, False, False],
        "chosen": [False, False, True],
        "scouted": [True, False, False],
        "answers": [json.dumps(answers), None, None],
    }
    return {"sites": gpd.GeoDataFrame(rows, geometry=[Point(0, 0)] * 3, crs="EPSG:32622")}


def test_answers_are_told_as_questions_and_words() -> None:
    """A permit officer would read braces and keys of the program."""
    told = site_facts(_sites(), ASKED)["answers"].tolist()
    assert told[0] == (
        "Was it here before? yes (seen on photographs, A. N., 2026-02-10). Is the cause gone? unknown (not answered)."
    )


def test_a_candidate_without_code_that_is_not_chosen_is_no_site() -> None:
    """Each of hundreds of candidates would bear a second mark; a chosen one without a code must keep it."""
    sites = site_facts(_sites(), ASKED)
    assert dict(zip(sites["site"], sites["mark"], strict=True)) == {"WS": "not chosen", "C03": "chosen, not scouted"}
    assert stamps(sites) == ("NOT SCOUTED: C03",)


def test_depth_bins_hold_every_depth_and_nothing_known_gives_no_layer() -> None:
    """The legend would say 'and above' of depths that it could list, or a flat plan would fail."""
    depth = np.array([[-3.2, 0.0], [24.9, np.nan]], np.float32)
    (layer,) = _depth_layer(depth, "MLLW")
    assert layer.edges == tuple(-5 + 2.5 * k for k in range(13))
    assert _depth_layer(np.full((2, 2), np.nan, np.float32), "MLLW") == []
    assert _depth_layer(np.full((2, 2), 4.0, np.float32), "MLLW") == []
