import hashlib
import os
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
import rasterio
from pyproj import CRS

from sitekit.errors import FileFault, InputFault
from sitekit.layers.blocks import Input, Output, in_order, memory_need, over_blocks, run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import TILE, Block
from sitekit.seabed.terrain import terrain, terrain_halo

SIZES = {"inner_m": 2.0, "outer_m": 6.0, "ruggedness_radius_m": 3.0}
HALO = terrain_halo(1.0, outer_m=6.0, ruggedness_radius_m=3.0)
BANDS = (("slope_deg", "degrees"), ("aspect_deg", "degrees"), ("ruggedness", "0-1"), ("position_index_m", "m"))


def make_grid(rows, cols):
    return Grid(CRS.from_epsg(32620), 400_000.0, 2_000_000.0, 1.0, (rows, cols))


def make_depth(rows, cols):
    depth = np.random.default_rng(1).normal(10, 2, (rows, cols)).astype(np.float32)
    depth[rows // 3, cols // 2] = np.nan
    return depth


def shape_of_bottom(arrays, block):
    out = terrain(arrays["depth"], 1.0, halo=block.halo, **SIZES)
    return {"terrain": np.stack([out[name] for name, _ in BANDS])}


def run(tmp_path, depth, threads=2, **more):
    target = tmp_path / f"terrain_{threads}.tif"
    run_blocks(
        make_grid(*depth.shape),
        {"depth": depth},
        {"terrain": Output(target, "float32", BANDS, float("nan"), {"run_id": "x"})},
        shape_of_bottom,
        halo=HALO,
        threads=threads,
        **more,
    )
    return target


def test_blocks_written_to_a_file_equal_the_whole_array(tmp_path):
    """A seam at a tile's border."""
    depth = make_depth(TILE + 90, 2 * TILE + 30)
    with rasterio.open(run(tmp_path, depth)) as file:
        written = file.read()
    whole = terrain(depth, 1.0, **SIZES)
    for k, (name, _) in enumerate(BANDS):
        np.testing.assert_array_equal(written[k], whole[name], err_msg=name)


def test_bytes_do_not_depend_on_the_number_of_threads(tmp_path):
    """Tiles in the order in which threads happen to end."""
    depth = make_depth(2 * TILE + 5, 2 * TILE + 5)
    hashes = {hashlib.sha256(run(tmp_path, depth, threads).read_bytes()).hexdigest() for threads in (1, 2, 5)}
    assert len(hashes) == 1


def test_reading_a_tiled_file_equals_reading_the_array(tmp_path):
    """A window read from the wrong corner, or a border that is not NaN."""
    depth = make_depth(TILE + 40, TILE + 70)
    grid = make_grid(*depth.shape)
    source, from_file, from_array = (tmp_path / f"{n}.tif" for n in ("depth", "a", "b"))
    run_blocks(
        grid, {"z": depth}, {"out": Output(source, "float32", (("depth_m", "m"),))}, lambda a, _: {"out": a["z"]}
    )
    for path, given in ((from_file, source), (from_array, depth)):
        run_blocks(
            grid, {"depth": given}, {"terrain": Output(path, "float32", BANDS)}, shape_of_bottom, halo=HALO, threads=2
        )
    assert from_file.read_bytes() == from_array.read_bytes()


def test_written_bands_carry_name_unit_nodata_and_tags(tmp_path):
    """A number without a unit."""
    with rasterio.open(run(tmp_path, make_depth(600, 40))) as file:
        assert file.descriptions == tuple(name for name, _ in BANDS)
        assert file.units == tuple(unit for _, unit in BANDS)
        assert np.isnan(file.nodata)
        assert file.tags()["run_id"] == "x"
        assert file.block_shapes == [(TILE, TILE)] * 4
        assert file.overviews(1) == [2]
        assert file.crs.to_epsg() == 32620


def test_beyond_the_border_measurements_are_unknown_and_marks_absent(tmp_path):
    """A border taken for depth 0."""
    seen = {}

    def look(arrays, block):
        seen.update({k: v.copy() for k, v in arrays.items()})
        return {"out": arrays["depth"][block.core]}

    inputs = {
        "depth": np.ones((4, 5), np.float32),
        "mark": np.ones((4, 5), np.uint8),
        "own": Input(np.ones((4, 5)), 7.0),
    }
    run_blocks(
        make_grid(4, 5), inputs, {"out": Output(tmp_path / "o.tif", "float32", (("x", ""),))}, look, halo=2, threads=1
    )
    assert seen["depth"].shape == (8, 9)
    assert np.isnan(seen["depth"]).sum() == 72 - 20
    assert (seen["mark"] == 0).sum() == 72 - 20
    assert (seen["own"] == 7.0).sum() == 72 - 20


def test_progress_counts_every_block(tmp_path):
    """A bar that stops at 90 %."""
    told = []
    run(tmp_path, make_depth(TILE + 1, TILE + 1), progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_failing_block_leaves_the_older_file_and_nothing_beside_it(tmp_path):
    """Half a raster taken for a whole one."""
    target = run(tmp_path, make_depth(30, 30))
    before = target.read_bytes()

    def fail(arrays, block):
        raise ZeroDivisionError(block.row)

    with pytest.raises(ZeroDivisionError):
        run_blocks(
            make_grid(30, 30), {"d": make_depth(30, 30)}, {"terrain": Output(target, "float32", BANDS)}, fail, threads=2
        )
    assert target.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [target.name]


@pytest.mark.slow
def test_killed_run_leaves_the_older_file_and_can_be_repeated(tmp_path):
    """A target torn by a kill (slow: starts two Python processes)."""
    target = tmp_path / "out.tif"
    script = f"""
import sys, time, numpy as np
from pathlib import Path
from pyproj import CRS
from sitekit.layers.grid import Grid
from sitekit.layers.blocks import Output, run_blocks
def work(arrays, block):
    print("block", flush=True)
    time.sleep(float(sys.argv[1]))
    return {{"o": arrays["z"]}}
grid = Grid(CRS.from_epsg(32620), 4e5, 2e6, 1.0, (1100, 1100))
run_blocks(grid, {{"z": np.ones((1100, 1100), np.float32)}},
           {{"o": Output(Path({str(target)!r}), "float32", (("z", "m"),))}}, work, threads=1)
"""
    target.write_bytes(b"older")
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with subprocess.Popen([sys.executable, "-c", script, "0.5"], stdout=subprocess.PIPE, env=env, text=True) as process:
        for _ in range(3):
            process.stdout.readline()
        process.kill()
    assert target.read_bytes() == b"older"
    subprocess.run([sys.executable, "-c", script, "0"], check=True, env=env, stdout=subprocess.DEVNULL)
    with rasterio.open(target) as file:
        assert (file.read(1) == 1).all()
    assert [p.name for p in tmp_path.iterdir()] == ["out.tif"]


def test_results_come_in_order_and_few_wait(monkeypatch):
    """Memory that grows with the raster because a slow writer is overtaken."""
    running, most, lock = 0, 0, threading.Lock()

    def slow(k):
        nonlocal running, most
        with lock:
            running += 1
            most = max(most, running)
        time.sleep(0.001 * (5 - k % 5))
        return k

    got = []
    for k in in_order(slow, iter(range(60)), 3):
        got.append(k)
        with lock:
            running -= 1
    assert got == list(range(60))
    assert most <= 6


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"memory_gb": 0.001}, "--memory-gb: 0.001 GB; due: at least"),
        ({"inputs": {"depth": np.zeros((3, 3), np.float32)}}, r"layer 'depth': shape \(3, 3\)"),
        ({"outputs": {}}, "outputs: none"),
    ],
)
def test_passes_that_cannot_run_are_refused_before_a_file_is_touched(tmp_path, change, said):
    """Memory that runs out in the middle of the night."""
    settings = {
        "inputs": {"depth": make_depth(600, 600)},
        "outputs": {"terrain": Output(tmp_path / "t.tif", "float32", BANDS)},
        "memory_gb": 1.0,
        **change,
    }
    with pytest.raises(InputFault, match=said):
        run_blocks(
            make_grid(600, 600),
            settings["inputs"],
            settings["outputs"],
            shape_of_bottom,
            halo=HALO,
            threads=2,
            memory_gb=settings["memory_gb"],
        )
    assert list(tmp_path.iterdir()) == []


def test_file_of_another_grid_and_missing_file_are_named(tmp_path):
    """A raster stretched over a grid it was not made for."""
    depth = make_depth(20, 30)
    source = run(tmp_path, depth)
    output = {"o": Output(tmp_path / "o.tif", "float32", (("z", "m"),))}
    with pytest.raises(FileFault, match=r"\(20, 30\) cells(.|\n)*\(21, 30\)"):
        run_blocks(make_grid(21, 30), {"z": source}, output, lambda a, b: {"o": a["z"]})
    with pytest.raises(FileFault, match="cannot be read"):
        run_blocks(make_grid(20, 30), {"z": tmp_path / "none.tif"}, output, lambda a, b: {"o": a["z"]})


def test_damaged_tile_is_named_with_its_place(tmp_path):
    """A torn file read as zeros."""
    depth = make_depth(700, 700)
    grid = make_grid(700, 700)
    source = tmp_path / "z.tif"
    bands = (("depth_m", "m"),)
    run_blocks(grid, {"z": depth}, {"o": Output(source, "float32", bands)}, lambda a, b: {"o": a["z"]}, overviews=False)
    data = bytearray(source.read_bytes())
    data[len(data) // 2 :] = bytes(len(data) - len(data) // 2)
    source.write_bytes(bytes(data))
    with pytest.raises(FileFault, match=r"z\.tif: (is damaged near row|cannot be read)"):
        run_blocks(
            grid,
            {"z": source},
            {"o": Output(tmp_path / "o.tif", "float32", bands)},
            lambda a, b: {"o": a["z"]},
            threads=1,
        )


def test_core_of_a_block_is_the_block_without_its_halo():
    """A result shifted by the halo."""
    block = Block(512, 1024, 30, 40, 6)
    assert np.zeros((42, 52))[block.core].shape == (30, 40)
    assert memory_need(make_grid(5000, 5000), 2, 7, 6, 2) == 2 * memory_need(make_grid(5000, 5000), 2, 7, 6, 1)


@pytest.mark.parametrize("threads", [1, 3])
def test_looking_at_blocks_gives_what_the_function_returns_in_row_order(threads):
    """Blocks in the order in which threads finish, or a halo that is cut off."""
    grid = make_grid(TILE + 5, 2 * TILE + 1)
    depth = make_depth(*grid.shape)

    def look(arrays, block):
        assert arrays["depth"].shape == (block.rows + 4, block.cols + 4)
        return block.row, block.col, arrays["depth"][block.core]

    found = list(over_blocks(grid, {"depth": depth}, look, halo=2, threads=threads))
    assert [(r, c) for r, c, _ in found] == [(r, c) for r in (0, TILE) for c in (0, TILE, 2 * TILE)]
    whole = np.block([[part for r, _, part in found if r == row] for row in (0, TILE)])
    np.testing.assert_array_equal(whole, depth)


def test_looking_at_blocks_refuses_too_little_memory():
    """A pass that starts and dies."""
    grid = make_grid(2 * TILE, 2 * TILE)
    with pytest.raises(InputFault, match="--memory-gb"):
        list(over_blocks(grid, {"depth": make_depth(*grid.shape)}, lambda a, b: 0, threads=2, memory_gb=0.001))
