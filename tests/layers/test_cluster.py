"""The same bytes from a cluster as from threads; clusters that cannot do the work refused before it begins."""

import hashlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from sitekit.errors import InputFault
from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import Input, Output
from tests.layers.rasters import NORTH, UTM, WEST

pytest.importorskip("distributed")

ROOT = Path(__file__).resolve().parents[2]
GRID = Grid(UTM, WEST, NORTH, 1.0, (1100, 1300))
FIELDS = ("slope_deg", "ruggedness", "position_index_m")


class Cluster:
    """`dask scheduler` and `dask worker` processes on this machine."""

    def __init__(self, folder: Path, workers: int):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        self.folder = folder
        self.environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "DASK_DISTRIBUTED__WORKER__USE_FILE_LOCKING": "false",
        }
        port = self.address.rsplit(":", 1)[1]
        self.scheduler = self._start("scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard")
        self.workers = [self.add_worker() for _ in range(workers)]
        from distributed import Client

        with Client(self.address, timeout="60s", set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=60)

    def _start(self, *words):
        command = [sys.executable, "-m", "dask", *words]
        with (self.folder / f"{words[0]}-{time.monotonic_ns()}.log").open("wb") as log:
            return subprocess.Popen(command, stdout=log, stderr=log, cwd=ROOT, env=self.environment)

    def add_worker(self):
        return self._start(
            "worker", self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny", "--local-directory",
            str(self.folder),
        )  # fmt: skip

    def stop(self):
        for process in (*self.workers, self.scheduler):
            process.terminate()
        for process in (*self.workers, self.scheduler):
            try:
                process.wait(3)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(10)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    found = Cluster(tmp_path_factory.mktemp("cluster"), workers=2)
    yield found
    found.stop()


def score_pass(folder, depth, name, slow_s=0.0, **how):
    """A pass of terrain over blocks; returns the hash of the file."""
    from sitekit.seabed.terrain import terrain, terrain_halo

    sizes = {"inner_m": 2.0, "outer_m": 6.0, "ruggedness_radius_m": 2.0}
    halo = terrain_halo(1.0, outer_m=6.0, ruggedness_radius_m=2.0, fields=FIELDS)

    def block(arrays, part):
        time.sleep(slow_s)
        shape = terrain(arrays["depth"], 1.0, halo=part.halo, fields=FIELDS, **sizes)
        return {"out": np.stack([shape[f] for f in FIELDS])}

    output = Output(folder / name, "float32", tuple((f, "") for f in FIELDS), float("nan"))
    run_blocks(GRID, {"depth": Input(depth)}, {"out": output}, block, halo=halo, **how)
    return hashlib.sha256((folder / name).read_bytes()).hexdigest()


@pytest.fixture(scope="module")
def depth(tmp_path_factory):
    path = tmp_path_factory.mktemp("depth") / "depth.tif"
    draw = np.random.default_rng(3)
    values = (np.linspace(1, 20, GRID.shape[1])[None, :] + draw.random(GRID.shape)).round(3).astype(np.float32)

    def block(arrays, part):
        return {"d": arrays["v"]}

    run_blocks(GRID, {"v": values}, {"d": Output(path, "float32", (("depth", "m"),), float("nan"))}, block)
    return path


@pytest.mark.slow
def test_two_workers_and_two_threads_write_the_same_bytes(tmp_path, cluster, depth):
    """Starts a scheduler and two workers, each of which loads and compiles: half a minute.

    Another order of writing, or a halo lost on the way, would change the file.
    """
    one = score_pass(tmp_path, depth, "one.tif", threads=1)
    two = score_pass(tmp_path, depth, "two.tif", threads=2)
    far = score_pass(tmp_path, depth, "far.tif", scheduler=cluster.address)
    assert one == two == far


@pytest.mark.slow
def test_an_input_that_a_worker_cannot_read_is_named_before_the_work(tmp_path, cluster, depth, monkeypatch):
    """Needs the running cluster. The first task would fail an hour later, or read another file of that name."""
    from sitekit.layers import cluster as module

    monkeypatch.setattr(module, "_size", lambda name: 12345)
    with pytest.raises(InputFault, match=r"worker tcp://.*depth.tif: has \d+ bytes there; due: 12345 bytes"):
        score_pass(tmp_path, depth, "far.tif", scheduler=cluster.address)
    assert os.listdir(tmp_path) == []


@pytest.mark.slow
def test_a_worker_of_another_version_is_refused(tmp_path, cluster, depth, monkeypatch):
    """Needs the running cluster. Half of the blocks would be scored by other formulas."""
    from sitekit.layers import cluster as module

    monkeypatch.setattr(module, "package_hash", lambda: "0" * 16)
    with pytest.raises(InputFault, match=r"runs sources .*; due: 0000000000000000, as here"):
        score_pass(tmp_path, depth, "far.tif", scheduler=cluster.address)


@pytest.mark.slow
def test_a_worker_killed_in_mid_run_changes_nothing(tmp_path, depth):
    """Starts a cluster of its own. Its blocks would be missing, or the file torn."""
    own = Cluster(tmp_path, workers=2)
    folder = tmp_path / "out"
    folder.mkdir()
    killer = threading.Timer(3.0, lambda: own.workers[0].send_signal(signal.SIGKILL))
    try:
        score_pass(folder, depth, "first.tif", scheduler=own.address)  # both are up and have compiled
        killer.start()
        far = score_pass(folder, depth, "far.tif", slow_s=1.5, scheduler=own.address)
        assert own.workers[0].poll() is not None
    finally:
        killer.cancel()
        own.stop()
    assert far == score_pass(folder, depth, "here.tif", threads=1)


def test_no_scheduler_is_told_with_its_address(tmp_path, depth, monkeypatch):
    """A run would hang, or fall back to this machine without a word."""
    from sitekit.layers import cluster as module

    monkeypatch.setattr(module, "_WAIT_S", "1s")
    with pytest.raises(InputFault, match=r"--scheduler tcp://127\.0\.0\.1:9: no scheduler answers"):
        score_pass(tmp_path, depth, "far.tif", scheduler="tcp://127.0.0.1:9")
    assert os.listdir(tmp_path) == []
