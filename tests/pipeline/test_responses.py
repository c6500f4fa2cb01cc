"""Responses of single criteria: the same in 32 bits by the score's kernel and in 64 bits by the curve."""

from __future__ import annotations

import numpy as np
import pytest

from sitekit.pipeline.responses import _alone, shared
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import Curve, bell, classes, fall, response, table, trapezoid

CURVES = [
    trapezoid(1.0, 3.0, 9.0, 14.0),
    fall(5.0, 5.0),
    bell(6.0, 2.0),
    table([(0.0, 0.2), (4.0, 1.0), (4.0, 0.5)]),
    classes({"rock": 1.0, "sand": 0.0}, {"rock": 3, "sand": 7}),
]


@pytest.mark.parametrize("curve", CURVES, ids=["trapezoid", "step", "bell", "jump", "classes"])
def test_a_response_alone_is_the_curve(curve: Curve) -> None:
    """The map would show another response than the score is made of."""
    values = np.array([[0.0, 1.0, 3.0, 4.0, 5.0, 7.0], [9.0, 13.9, 14.0, 200.0, np.nan, 6.0]], np.float32)
    assert np.allclose(_alone(curve, values), response(curve, values), atol=1e-7, equal_nan=True)


def test_species_that_judge_alike_share_a_plane() -> None:
    """The map would list one layer twice; classes not judged hold NaN, which equals nothing."""
    rock = [classes({"rock": 1.0}, {"rock": 3}) for _ in range(2)]
    one = Criterion("bottom", "substrate", rock[0], 0.4, "made up")
    other = Criterion("floor", "substrate", rock[1], 0.2, "made up")
    deep = Criterion("depth", "depth_m", fall(5.0, 9.0), 0.2, "made up")
    found = shared({"A": [one, deep], "B": [other]})
    assert [(p.field, p.users) for p in found] == [
        ("substrate", (("A", "bottom"), ("B", "floor"))),
        ("depth_m", (("A", "depth"),)),
    ]
