import os
from pathlib import Path

import numpy as np

from sitekit.base import compiled as room
from sitekit.base.compile_cache import cache_folder
from sitekit.base.files import package_hash


def test_cache_folder_is_named_after_the_sources(monkeypatch, tmp_path):
    """A changed callee that leaves its caller stale."""
    monkeypatch.setenv("SITEKIT_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path / package_hash((".py",))


def test_hash_follows_every_source_file(tmp_path):
    """A hash that misses a room."""
    package = tmp_path / "sitekit"
    (package / "base").mkdir(parents=True)
    (package / "seabed").mkdir()
    (package / "base" / "compiled.py").write_text("a = 1\n")
    other = package / "seabed" / "terrain.py"
    other.write_text("b = 1\n")
    before = package_hash((".py",), package)
    other.write_text("b = 2\n")
    assert package_hash((".py",), package) != before


def test_the_clock_counts_compiling_and_nothing_else():
    """A run that says it compiled while it worked, or the reverse, sends its reader after the wrong cause."""

    def triple(a: float) -> float:
        return 3.0 * a

    kernel = room.compiled(triple)
    begin = room.compiling_seconds()
    assert kernel(2.0) == 6.0
    after = room.compiling_seconds()
    assert kernel(3.0) == 9.0
    assert after >= begin
    assert room.compiling_seconds() == after


def test_folder_that_cannot_be_written_is_passed_over(monkeypatch, tmp_path):
    """A crash on a machine with a read-only home."""
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    monkeypatch.setenv("SITEKIT_CACHE", str(blocked))
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    monkeypatch.setenv("HOME", str(blocked))
    folder = cache_folder()
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
