"""Plots keep their gap to outlines that stand already, whatever share of bottom they may hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from sitekit.layout.circles import find_circles
from sitekit.layout.keep_off import Standing
from sitekit.layout.plots import PlotSearch
from sitekit.layout.shelves import Bottom

OPEN = Bottom(np.ones((40, 40), bool), np.ones((40, 40), np.float32), 500.0, 900.0, 1.0)
BOX = shapely.box(517.3, 876.2, 523.3, 879.2)
STANDING = {
    "a box": [Standing(BOX, 2.0)],
    "a turned box": [Standing(shapely.affinity.rotate(BOX, 20.2), 3.5)],
    "a round one": [Standing(shapely.Point(520.0, 880.0).buffer(4.0), 1.0)],
    "two at the rim": [Standing(shapely.box(495, 880, 501, 883), 2.0), Standing(shapely.box(530, 893, 536, 903), 0.0)],
}


def outlines(found) -> list[shapely.Polygon]:
    return [shapely.Polygon(np.column_stack(found.outline(k))) for k in range(len(found))]


@pytest.mark.parametrize("kind", STANDING)
@pytest.mark.parametrize("wanted", [None, 3])
def test_rectangles_keep_their_gap(kind: str, wanted: int | None) -> None:
    """A quarter of a plot may be bad bottom: taking the bottom around an outline away did not keep it clear."""
    search = PlotSearch(OPEN, length_m=6.0, width_m=3.0, gap_m=2.0, least_allowed_share=0.6, pin_error_m=0.0,
                        standing=STANDING[kind])  # fmt: skip
    found = outlines(search.find(wanted))
    assert len(found) >= 3
    for one in STANDING[kind]:
        assert min(shape.distance(one.outline) for shape in found) >= one.gap_m - 1e-9
        assert not any(shape.intersects(one.outline) for shape in found)


@pytest.mark.parametrize("kind", STANDING)
def test_circles_keep_their_gap(kind: str) -> None:
    """The same for a pin in the middle."""
    found = outlines(find_circles(OPEN, radius_m=3.0, gap_m=1.0, least_allowed_share=0.6, pin_error_m=0.0,
                                  standing=STANDING[kind]))  # fmt: skip
    assert len(found) >= 3
    for one in STANDING[kind]:
        assert min(shape.distance(one.outline) for shape in found) >= one.gap_m - 1e-9


def test_no_start_is_closed_needlessly() -> None:
    """Room beside an outline is reef: the nearest plot found stands within one sample of the gap."""
    wall = [Standing(shapely.box(500.0, 880.0, 540.0, 882.0), 2.0)]
    search = PlotSearch(
        OPEN, length_m=6.0, width_m=4.0, gap_m=0.0, bearings_deg=(90.0,), pin_error_m=0.0, standing=wall
    )
    found = outlines(search.find(None))
    free = math.floor((878.0 - 860.0) / 4.0) + math.floor((900.0 - 884.0) / 4.0)
    assert len(found) == free * (40 // 6)
