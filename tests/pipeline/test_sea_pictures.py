"""Words and layers of the sea on the map."""

import numpy as np
import pandas as pd
import pytest

from sitekit.pipeline.sea_pictures import point, shelter_words


@pytest.mark.parametrize(
    ("direction", "name"), [(0.0, "N"), (11.2, "N"), (11.3, "NNE"), (225.0, "SW"), (348.7, "NNW"), (348.8, "N")]
)
def test_a_direction_has_the_nearest_of_sixteen_points(direction, name):
    """A diver would read the wind one point off."""
    assert point(direction) == name


def test_shelter_is_said_for_each_site_and_the_unknown_named():
    """Unknown would read as sheltered, or one site's words stand on another."""
    table = pd.DataFrame(
        {
            "site": ["A", "A", "A", "B", "B"],
            "direction_deg": [0.0, 90.0, 270.0, 0.0, 90.0],
            "shelter": ["sheltered", "unknown", "sheltered", "exposed", "exposed"],
            "wind_ms": np.full(5, 8.0),
        }
    )
    assert shelter_words(table) == {
        "A": "wind of 8 m/s: sheltered from N, W; unknown from E",
        "B": "wind of 8 m/s: sheltered from nowhere",
    }
