"""Compiles the layout's kernels in a second process while the first one reads layers and scores cells.

Compiling is kept on disk, so this happens once per version and mode; on two cores it takes a third off a first run.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from sitekit.base.compile_cache import cache_folder

_running: list[tuple[subprocess.Popen[bytes], Path]] = []


def start(mode: str) -> None:
    """Start compiling what a mode of the layout needs, unless that was done before or goes on already."""
    mark = cache_folder() / f"layout-compiled-{mode}"
    if _running or mark.exists():
        return
    home = str(Path(__file__).resolve().parents[2])
    command = f"import sys; sys.path.insert(0, {home!r}); from sitekit.pipeline.warm import warm; warm({mode!r})"
    quiet = subprocess.DEVNULL
    try:
        process = subprocess.Popen([sys.executable, "-c", command], stdin=quiet, stdout=quiet, stderr=quiet)
    except OSError:  # no second process to be had: kernels are compiled when they are called
        return
    _running.append((process, mark))


def wait() -> float | None:
    """Wait for the second process; return how long it compiled [s], None if there was none or it failed."""
    if not _running:
        return None
    process, mark = _running.pop()
    process.wait()
    try:
        return float(mark.read_text("ascii"))
    except (OSError, ValueError):
        return None


def warm(mode: str) -> None:
    """Run every kernel that a mode of the layout needs once, on a bottom of a few cells, and leave a mark."""
    import numpy as np

    from sitekit.base.compiled import compiling_seconds
    from sitekit.layout.bound import bound
    from sitekit.layout.genets import assign_genets
    from sitekit.layout.plots import PlotSearch
    from sitekit.layout.shelves import Bottom
    from sitekit.layout.spacing import place
    from sitekit.suitability.candidates import PatchFinder

    allowed = np.ones((40, 40), bool)
    allowed[:4] = False
    allowed[:, 20] = False  # two patches
    score = np.linspace(0.5, 1.0, allowed.size, dtype=np.float32).reshape(allowed.shape)
    finder = PatchFinder()
    finder.add(allowed, 0)
    finder.patches()
    if mode == "plots":
        bottom = Bottom(allowed, score, 0.0, 40.0, 1.0)
        search = PlotSearch(bottom, length_m=6.0, width_m=3.0, gap_m=2.0, bearings_deg=(0.0, 45.0))
        search.find(effort=1)
        search.find(1)
    else:
        for wanted in (None, 1):
            place(
                allowed,
                score,
                west_m=0.0,
                north_m=40.0,
                cell_m=1.0,
                separation_m=2.0,
                wanted=wanted,
                clear_points=[[20.0, 20.0]],
                clear_radii_m=[1.0],
            )
    even = np.ones(allowed.shape, np.float32)
    bound(allowed, even, cell_m=1.0, separation_m=2.0, along_edges=mode != "plots")  # plots are counted without it
    x, y = (v.ravel() for v in np.meshgrid(np.arange(1.0, 21.0, 2.0), np.arange(1.0, 21.0, 2.0)))
    assign_genets(x, y, [x.size // 2, x.size - x.size // 2], separation_m=2.0)
    (cache_folder() / f"layout-compiled-{mode}").write_text(f"{compiling_seconds():.1f}", "ascii")
