"""Where compiled kernels are kept, and how long compiling took; knows nothing of numba, so that it loads at once.

The folder is named after a hash of all of sitekit's Python sources, because numba's own index does not notice that a *called*
function changed.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from sitekit.base.files import package_hash


def cache_folder() -> Path:
    """Return the folder for compiled kernels.

    `SITEKIT_CACHE` names it; else the user's cache folder; else, with no home folder or a read-only one, the
    temporary folder.
    """
    given = os.environ.get("SITEKIT_CACHE")
    wanted: list[Path] = [Path(given)] if given else []
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    if home:
        wanted.append(Path(home) / "sitekit")
    elif os.environ.get("HOME"):
        wanted.append(Path(os.environ["HOME"]) / ".cache" / "sitekit")
    wanted.append(Path(tempfile.gettempdir()) / "sitekit-cache")
    for folder in wanted:
        target = folder / package_hash((".py",))
        try:
            target.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(target, os.W_OK):
            return target
    return Path(tempfile.mkdtemp(prefix="sitekit-cache-"))
