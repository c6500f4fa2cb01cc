import os
from pathlib import Path

import numpy as np

from sitekit.base import compiled as room


def test_cache_folder_is_named_after_the_sources(monkeypatch, tmp_path):
    """A changed callee that leaves its caller stale."""
    monkeypatch.setenv("SITEKIT_CACHE", str(tmp_path))
    assert room.cache_folder() == tmp_path / room.source_hash()


def test_hash_follows_every_source_file(monkeypatch, tmp_path):
    """A hash that misses a room."""
    package = tmp_path / "sitekit"
    (package / "base").mkdir(parents=True)
    (package / "seabed").mkdir()
    (package / "base" / "compiled.py").write_text("a = 1\n")
    other = package / "seabed" / "terrain.py"
    other.write_text("b = 1\n")
    monkeypatch.setattr(room, "__file__", str(package / "base" / "compiled.py"))
    before = room.source_hash()
    other.write_text("b = 2\n")
    assert room.source_hash() != before


def test_folder_that_cannot_be_written_is_passed_over(monkeypatch, tmp_path):
    """A crash on a machine with a read-only home."""
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    monkeypatch.setenv("SITEKIT_CACHE", str(blocked))
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    monkeypatch.setenv("HOME", str(blocked))
    folder = room.cache_folder()
    assert os.access(folder, os.W_OK)
    assert not folder.is_relative_to(blocked)


def test_compiled_kernels_divide_by_zero_as_ieee_does():
    """An exception in the middle of a raster."""

    def ratio(a: float, b: float) -> float:
        return a / b

    kernel = room.compiled(ratio)
    assert kernel(1.0, 0.0) == np.inf
    assert np.isnan(kernel(0.0, 0.0))
    assert Path(os.environ["NUMBA_CACHE_DIR"]).is_dir()
