"""The only importer of numba: one decorator with the settings every kernel shares.

No `fastmath` (other bits on another processor) and no `parallel` (threads live in `layers/blocks`, and some thread
layers abort when entered twice). Compiled code is kept in a folder named after a hash of all of sitekit's sources,
because numba's own index does not notice that a *called* function changed.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])


def source_hash() -> str:
    """Return the first 16 hex digits of the SHA-256 over all Python files of the package, in name order."""
    root = Path(__file__).resolve().parents[1]
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


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
        target = folder / source_hash()
        try:
            target.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(target, os.W_OK):
            return target
    return Path(tempfile.mkdtemp(prefix="sitekit-cache-"))


if "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder())

import numba  # noqa: E402  (the cache folder must be known before numba reads its settings)


def compiled(function: F) -> F:
    """Compile a kernel: machine code, no interpreter lock, kept on disk, division by zero as in IEEE 754."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
