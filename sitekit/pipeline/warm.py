"""Compiles the layout's kernels in a second process while the first one reads layers and scores cells.

Compiling is kept on disk, so this happens once per version; on two cores it takes a third off a first run.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from sitekit.base.compile_cache import cache_folder

MARK = "layout-compiled"
_running: list[subprocess.Popen[bytes]] = []


def start() -> None:
    """Start compiling in a second process, unless that was done before or goes on already."""
    if _running or (cache_folder() / MARK).exists():
        return
    home = str(Path(__file__).resolve().parents[2])
    command = f"import sys; sys.path.insert(0, {home!r}); from sitekit.pipeline.warm import warm; warm()"
    quiet = subprocess.DEVNULL
    try:
        _running.append(subprocess.Popen([sys.executable, "-c", command], stdin=quiet, stdout=quiet, stderr=quiet))
    except OSError:  # no second process to be had: kernels are compiled when they are called
        return


def wait() -> float | None:
    """Wait for the second process; return how long it compiled [s], None if there was none or it failed."""
    if not _running:
        return None
    _running.pop().wait()
    try:
        return float((cache_folder() / MARK).read_text("ascii"))
    except (OSError, ValueError):
        return None


def warm() -> None:
    """Run every kernel of the layout once, on a bottom of a few cells."""
    import numpy as np

    from sitekit.base.compiled import compiling_seconds
    from sitekit.layout.bound import bound
    from sitekit.layout.genets import assign_genets
    from sitekit.layout.plots import find_plots
    from sitekit.layout.shelves import Bottom
    from sitekit.layout.spacing import place
    from sitekit.seabed.distance import distance
    from sitekit.suitability.candidates import PatchFinder

    allowed = np.ones((40, 40), bool)
    allowed[:4] = False
    allowed[:, 20] = False  # two patches
    score = np.linspace(0.5, 1.0, allowed.size, dtype=np.float32).reshape(allowed.shape)
    finder = PatchFinder()
    finder.add(allowed, 0)
    finder.patches()
    distance(~allowed, 1.0, greatest_m=5.0)
    bottom = Bottom(allowed, score, 0.0, 40.0, 1.0)
    for wanted in (None, 1):
        find_plots(bottom, length_m=6.0, width_m=3.0, gap_m=2.0, wanted=wanted, bearings_deg=(0.0, 45.0), effort=1)
    found = place(
        allowed,
        score,
        west_m=0.0,
        north_m=40.0,
        cell_m=1.0,
        separation_m=2.0,
        clear_points=[[20.0, 20.0]],
        clear_radii_m=[1.0],
    )
    bound(allowed, np.ones(allowed.shape, np.float32), cell_m=1.0, separation_m=2.0, along_edges=False)
    half = found.easting.size // 2
    assign_genets(found.easting, found.northing, [half, found.easting.size - half], separation_m=2.0)
    (cache_folder() / MARK).write_text(f"{compiling_seconds():.1f}", "ascii")
