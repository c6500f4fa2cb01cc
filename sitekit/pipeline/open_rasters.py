"""Rasters of earlier stages kept open while windows of them are read, so that a tile is decoded once, not per window."""

from __future__ import annotations

import threading
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window


class OpenRasters:
    """Windows of rasters, read from any thread: each has handles of its own, all closed at the end of the `with`."""

    def __init__(self) -> None:
        self._own = threading.local()
        self._all: list[Any] = []

    def read(self, path: Path, window: Window, band: int = 1) -> NDArray[Any]:
        """Return one band inside a window."""
        handles = self._own.__dict__
        if str(path) not in handles:
            handles[str(path)] = rasterio.open(path)
            self._all.append(handles[str(path)])
        values: NDArray[Any] = handles[str(path)].read(band, window=window)
        return values

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for file in self._all:
            file.close()
