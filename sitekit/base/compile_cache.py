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
    user = os.getuid() if hasattr(os, "getuid") else ""
    wanted.append(Path(tempfile.gettempdir()) / f"sitekit-cache-{user}")
    for folder in wanted:
        target = folder / package_hash((".py",))
        try:
            target.mkdir(mode=0o700, parents=True, exist_ok=True)
            mine = user == "" or target.stat().st_uid == user  # kernels that others left must not be loaded
        except OSError:
            continue
        if mine and os.access(target, os.W_OK):
            return target
    return Path(tempfile.mkdtemp(prefix="sitekit-cache-"))


def cache_note() -> str:
    """Return a sentence where compiled kernels cannot be kept in a folder of the user's own, else an empty text."""
    folder = cache_folder()
    own = [os.environ.get(n) for n in ("SITEKIT_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA", "HOME")]
    if any(o and folder.is_relative_to(o) for o in own):
        return ""
    return (
        f"no home folder to write to: compiled kernels are kept in {folder}; where that is emptied they are compiled again"
        " (about half a minute). Set SITEKIT_CACHE to a folder of your own"
    )
