"""A disk that fills up while a run writes: told as such, nothing half-written taken for whole."""

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sitekit.base.files import write_text
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.pipeline.disk import disk_fault

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EFBIG])
def test_a_full_disk_is_told_and_the_older_text_stays(tmp_path, monkeypatch, code):
    """Half a manifest would be taken for the whole one."""
    target = tmp_path / "manifest.json"
    write_text(target, "old")

    def full(self, data):
        with self.open("wb") as file:
            file.write(data[:2])
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(FileFault, match="cannot be written"):
        write_text(target, "new")
    assert target.read_text("utf-8") == "old"
    assert os.listdir(tmp_path) == ["manifest.json"]


def test_errors_behind_an_error_are_looked_at(tmp_path):
    """A library wraps what the disk said."""
    try:
        try:
            raise OSError(errno.ENOSPC, "No space left on device")
        except OSError as inner:
            raise RuntimeError("layer not written") from inner
    except RuntimeError as error:
        fault = disk_fault(error, tmp_path / "out")
    assert fault is not None
    assert "the disk is full" in str(fault)
    assert disk_fault(RuntimeError("database or disk is full"), tmp_path) is not None


def test_other_errors_are_left_alone(tmp_path):
    """A wrong formula would be told as a full disk."""
    assert disk_fault(ValueError("shapes differ"), tmp_path) is None
    assert disk_fault(OSError(errno.EACCES, "denied"), tmp_path) is None
    assert disk_fault(InputFault(Fault("a", "no space left", "c", "d")), tmp_path) is None


@pytest.mark.skipif(sys.platform == "win32", reason="a limit on the size of files is a Unix thing")
@pytest.mark.parametrize("most_bytes", [3_000, 60_000])
def test_a_raster_that_does_not_fit_leaves_no_half_file(tmp_path, most_bytes):
    """The next run would take up a torn raster; the limit on file size stands for the disk's end."""
    script = f"""
import resource, signal
import numpy as np
from pathlib import Path
from pyproj import CRS
from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import Output
from sitekit.errors import FileFault
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes}, {most_bytes}))
grid = Grid(CRS.from_epsg(32622), 0.0, 6000.0, 1.0, (600, 700))
noise = np.random.default_rng(1).random(grid.shape).astype(np.float32)
def block(arrays, part):
    return {{"a": arrays["n"]}}
try:
    run_blocks(grid, {{"n": noise}}, {{"a": Output(Path({str(tmp_path / "a.tif")!r}), "float32", (("a", ""),))}}, block)
except FileFault as fault:
    print("told:", fault)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=False, timeout=60
    )
    assert "told:" in done.stdout, done.stderr
    assert "cannot be written" in done.stdout
    assert os.listdir(tmp_path) == []
