"""The layout bench in its short form."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import layout


@pytest.mark.bench
def test_no_script_finds_more_points_or_plots_than_the_layout_in_the_short_form() -> None:
    """A script that finds more points on any texture, or a layout above its bound, would make the layout pointless."""
    assert layout.main(short=True)["reached"]


def test_the_scripts_keep_the_separation_too() -> None:
    """A script that cheats on the separation would be no fair rival."""
    for allowed, score in layout.scenes(10).values():
        for find in (layout.plain_script, layout.good_script):
            layout.check(find(allowed, score, 1.2), allowed, 1.2)


def test_the_check_refuses_a_pair_too_close() -> None:
    """A check that passes everything checks nothing."""
    allowed, _ = layout.scenes(10)["open"]
    with pytest.raises(AssertionError, match="apart"):
        layout.check(np.array([[1.0, 1.0], [1.0, 2.0]]), allowed, 1.2)
