"""Rasters of any size, block by block: the one place with threads.

A pass reads each block with a halo, calls one function on its arrays, and writes the results of the blocks in row
order, so that the bytes of the output do not depend on the number of threads. Memory holds a few blocks per thread and
a share for GDAL's cache; it does not grow with the grid. Outputs are written beside their targets and renamed, so a
killed pass leaves the older files whole.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

import numpy as np
import rasterio

from sitekit.base.files import atomic_path
from sitekit.errors import Faults
from sitekit.layers.cluster import blocks_on_cluster
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import (
    TILE,
    WRITE_ERRORS,
    Array,
    Block,
    Input,
    Output,
    Reader,
    add_overviews,
    as_input,
    open_output,
    write_block,
    write_fault,
)

_CACHE_SHARE = 0.3  # of the memory, for tiles that neighbouring blocks read again and for tiles to be written
_GDAL_SHARE = 0.25  # of that, for GDAL whatever the layers take
_READY = 2  # results per thread that may wait for the writer

T = TypeVar("T")
R = TypeVar("R")


def run_blocks(
    grid: Grid,
    inputs: Mapping[str, Input | Path | Array],
    outputs: Mapping[str, Output],
    function: Callable[[dict[str, Array], Block], Mapping[str, Array]],
    *,
    halo: int = 0,
    threads: int | None = None,
    memory_gb: float = 1.0,
    overviews: bool = True,
    progress: Callable[[int, int], None] | None = None,
    scheduler: str | None = None,
) -> None:
    """Compute rasters block by block.

    Parameters
    ----------
    grid : Grid
        The grid of all inputs and outputs.
    inputs : mapping of name to Input, path or array
        What the function sees; a bare path or array means `Input` with NaN beyond the border for floats, 0 else.
    outputs : mapping of name to Output
        What is written.
    function : callable (arrays, block) -> mapping of name to array
        `arrays[name]` has shape (rows + 2 halo, cols + 2 halo); each result has shape (rows, cols), or
        (bands, rows, cols) for several bands. It must not depend on other blocks, and it runs in several threads.
    halo : int
        Cells each block sees beyond its border.
    threads : int, optional
        Workers; all processors if not given.
    memory_gb : float
        Upper bound for what the pass itself takes [GB]; refused if too small for one block per thread.
    overviews : bool
        Add smaller versions for drawing.
    progress : callable (done, total), optional
        Called after each block.
    scheduler : str, optional
        Address of a dask scheduler whose workers run the function; this process alone writes. The function must be one
        that can be sent.

    Raises
    ------
    InputFault
        If the memory is too small or shapes differ.
    FileFault
        If a file is not on the grid, cannot be read, or cannot be written (disk full, for instance).
    """
    workers = max(1, threads or os.cpu_count() or 1)
    sources = {name: as_input(source) for name, source in inputs.items()}
    _check(grid, sources, outputs, memory_gb, need_gb=_need_gb(grid, sources, outputs, halo, workers))
    total = -(-grid.shape[0] // TILE) * -(-grid.shape[1] // TILE)
    with ExitStack() as stack:
        readers = _open(stack, grid, sources, halo, memory_gb * 1e9 * _CACHE_SHARE)
        beside = {name: stack.enter_context(atomic_path(output.path)) for name, output in outputs.items()}
        with ExitStack() as writing:
            writers = {name: writing.enter_context(open_output(beside[name], outputs[name], grid)) for name in outputs}

            def work(block: Block) -> tuple[Block, Mapping[str, Array]]:
                return block, function({name: reader.read(block) for name, reader in readers.items()}, block)

            blocks = (Block(*tile, halo) for tile in grid.tiles(TILE))
            if scheduler is None:
                made = in_order(work, blocks, workers)
            else:
                made = blocks_on_cluster(scheduler, grid, sources, function, blocks)
            for done, (block, results) in enumerate(made, start=1):
                for name, output in outputs.items():
                    write_block(writers[name], output, results[name], block)
                if progress is not None:
                    progress(done, total)
            try:
                writing.close()
            except WRITE_ERRORS as error:
                raise write_fault(outputs, error) from error
        if overviews:
            for name, output in outputs.items():
                add_overviews(beside[name], output, grid)


def over_blocks(
    grid: Grid,
    inputs: Mapping[str, Input | Path | Array],
    function: Callable[[dict[str, Array], Block], R],
    *,
    halo: int = 0,
    threads: int | None = None,
    memory_gb: float = 1.0,
    progress: Callable[[int, int], None] | None = None,
) -> Iterator[R]:
    """Look at rasters block by block without writing any; yield what the function returns, in row order.

    Parameters are those of `run_blocks`.

    Raises
    ------
    InputFault
        If the memory is too small or shapes differ.
    FileFault
        If a file is not on the grid or cannot be read.
    """
    workers = max(1, threads or os.cpu_count() or 1)
    sources = {name: as_input(source) for name, source in inputs.items()}
    _check(grid, sources, None, memory_gb, need_gb=_need_gb(grid, sources, {}, halo, workers))
    total = -(-grid.shape[0] // TILE) * -(-grid.shape[1] // TILE)
    with ExitStack() as stack:
        readers = _open(stack, grid, sources, halo, memory_gb * 1e9 * _CACHE_SHARE)

        def work(block: Block) -> R:
            return function({name: reader.read(block) for name, reader in readers.items()}, block)

        blocks = (Block(*tile, halo) for tile in grid.tiles(TILE))
        for done, result in enumerate(in_order(work, blocks, workers), start=1):
            yield result
            if progress is not None:
                progress(done, total)


def _open(
    stack: ExitStack, grid: Grid, sources: Mapping[str, Input], halo: int, cache_bytes: float
) -> dict[str, Reader]:
    """Open the inputs and share the memory for tiles among them and GDAL."""
    readers = {name: stack.enter_context(Reader(name, source, grid)) for name, source in sources.items()}
    left = cache_bytes
    for reader in readers.values():
        left -= reader.keep(halo, left - cache_bytes * _GDAL_SHARE)
    stack.enter_context(rasterio.Env(GDAL_CACHEMAX=max(int(left), 1_000_000)))  # below 100,000 it would mean megabytes
    return readers


def in_order(function: Callable[[T], R], items: Iterator[T], threads: int) -> Iterator[R]:
    """Apply a function in a pool of threads and yield the results in the order of the items.

    At most `_READY` results per thread wait, however many items there are. An error stops the pool and is raised.
    """
    if threads <= 1:
        yield from map(function, items)
        return
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[R]] = deque()
        try:
            for item in items:
                waiting.append(pool.submit(function, item))
                if len(waiting) >= _READY * threads:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


def memory_need(grid: Grid, inputs: int, output_bytes: int, halo: int, threads: int) -> float:
    """Bytes that blocks in flight take at most: `inputs` float32 arrays with halo, as many again in the function."""
    side = min(TILE, max(grid.shape)) + 2 * halo
    per_block = side * side * 4 * max(inputs, 1) * 2 + TILE * TILE * output_bytes
    return float(per_block * (_READY + 1) * threads)


def blocks_need_gb(grid: Grid, inputs: int, output_bytes: int, halo: int, threads: int) -> float:
    """What a pass needs to be given as `memory_gb`: its blocks in flight and GDAL's share [GB].

    Parameters
    ----------
    grid : Grid
    inputs : int
        Rasters read.
    output_bytes : int
        Bytes written per cell.
    halo, threads : int
        As `run_blocks`.
    """
    return memory_need(grid, inputs, output_bytes, halo, threads) / (1e9 * (1.0 - _CACHE_SHARE))


def _need_gb(grid: Grid, inputs: Mapping[str, Input], outputs: Mapping[str, Output], halo: int, threads: int) -> float:
    output_bytes = sum(np.dtype(o.dtype).itemsize * len(o.bands) for o in outputs.values())
    return blocks_need_gb(grid, len(inputs), output_bytes, halo, threads)


def _check(
    grid: Grid, inputs: Mapping[str, Input], outputs: Mapping[str, Output] | None, memory_gb: float, *, need_gb: float
) -> None:
    with Faults() as faults:
        if need_gb > memory_gb:
            faults.add(
                "--memory-gb",
                f"{memory_gb:g} GB",
                f"at least {need_gb:.2f} GB for these threads, {len(inputs)} layers and the halo",
                "Give more memory, fewer threads, or smaller windows in [terrain].",
            )
        for name, source in inputs.items():
            if not isinstance(source.source, Path) and source.source.shape != grid.shape:
                faults.add(f"layer {name!r}", f"shape {source.source.shape}", f"{grid.shape}", "Use one grid.")
        if outputs is not None and not outputs:
            faults.add("outputs", "none", "one or more", "Name an output.")
