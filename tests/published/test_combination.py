"""Weighted means, geometric means and lowest values of the reference rows."""

import json

import numpy as np
import pytest

from sitekit.base.sources import shared_file
from sitekit.suitability.curves import rise
from sitekit.suitability.score import combine

ROW = json.loads(shared_file("reference/combination.json").read_text("utf-8"))[0]


@pytest.mark.parametrize(
    ("method", "key"), [("geometric mean", "weighted_geometric"), ("mean", "weighted_linear"), ("lowest", "minimum")]
)
def test_combined_scores_equal_their_definitions(method, key):
    """A weight on the wrong criterion, or a zero that is bought back."""
    stack = np.array(ROW["inputs"]["scores"], np.float32).T[:, None, :]
    out = combine(
        stack,
        [rise(0, 1)] * 3,
        ROW["inputs"]["weights"],
        exclusion=np.zeros((1, 4), np.uint8),
        method=method,
    )
    # responses and scores are float32: 6e-8 of a number below 1, wider than the row's 1e-12
    np.testing.assert_allclose(out.score[0], ROW["expected"][key], rtol=0, atol=1.2e-7)
    if "best_geometric" in ROW["expected"] and method == "geometric mean":
        assert int(np.argmax(out.score[0])) == ROW["expected"]["best_geometric"]
        assert out.score[0, 2] == 0.0
