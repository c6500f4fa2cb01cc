"""The only importer of numba: one decorator with the settings every kernel shares.

No `fastmath` (other bits on another processor) and no `parallel` (threads live in `layers/blocks`, and some thread
layers abort when entered twice).
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from typing import Any, TypeVar, cast

from sitekit.base.compile_cache import cache_folder

F = TypeVar("F", bound=Callable[..., Any])

if "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder())

import numba  # noqa: E402  (the cache folder must be known before numba reads its settings)
from numba.core import event  # noqa: E402


class _Clock(event.Listener):
    """Adds up how long kernels were compiled, each outermost one once."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._here = threading.local()

    def on_start(self, event: Any) -> None:
        depth = getattr(self._here, "depth", 0)
        if depth == 0:
            self._here.begin = time.perf_counter()
        self._here.depth = depth + 1

    def on_end(self, event: Any) -> None:
        self._here.depth -= 1
        if self._here.depth == 0:
            self.seconds += time.perf_counter() - self._here.begin


_clock = _Clock()
event.register("numba:compile", _clock)  # type: ignore[no-untyped-call]


def compiling_seconds() -> float:
    """Return how long this process has compiled kernels [s]; those found in the cache cost nothing here."""
    return _clock.seconds


def compiled(function: F) -> F:
    """Compile a kernel: machine code, no interpreter lock, kept on disk, division by zero as in IEEE 754."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
