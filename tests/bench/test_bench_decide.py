"""The bench of weight draws: its rivals count what they say, and its short form."""

from __future__ import annotations

import numpy as np
import pytest

from sitekit.suitability.draws import draw_weights
from tests.bench import decide


def test_the_rivals_count_what_a_plain_loop_counts() -> None:
    """A rival that counts something else would be no fair one."""
    stack = decide.place(40, 3)
    weights = draw_weights([0.5, 0.3, 0.2], 32, seed=1).astype(np.float32)
    least = np.full(32, -0.8, np.float32)
    due = np.zeros(stack.shape[1:], int)
    for w, t in zip(weights, least, strict=True):
        due += np.tensordot(w.astype(float), stack.astype(float), axes=1) >= t
    for rival in (decide.pass_per_draw, decide.blocked_blas):
        assert np.abs(rival(stack, weights, least) - due).sum() <= 2  # sums within rounding of the threshold


@pytest.mark.bench
def test_draws_are_counted_faster_than_by_passes_in_the_short_form() -> None:
    """A counter that is no faster than what a user writes would be pointless."""
    ratios, equal = decide.weight_draws(640, 256, decide.REACH[True])
    assert equal
    assert ratios[0] >= decide.REACH[True][0]
    assert ratios[1] >= decide.REACH[True][1]
