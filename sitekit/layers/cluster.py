"""The same blocks on a cluster of dask workers: they return arrays, the client alone writes, in row order.

One task takes the blocks of a stretch of one row, about four million cells; results equal those of the thread pool bit
for bit. Inputs must be readable by every worker under the same path, which is checked first.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from itertools import groupby
from pathlib import Path
from typing import Any

from sitekit.base.files import package_hash
from sitekit.errors import Fault, Faults, InputFault, MissingExtra
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import Array, Block, Input, Reader

_STRETCH = 16  # blocks of 512² per task: 4.2 million cells
_AHEAD = 2  # tasks per thread of the cluster that may be under way
_RETRIES = 3  # how often a task may lose its worker before the run gives up
_WAIT_S = "10s"  # for the scheduler and its workers to answer

Work = Callable[[dict[str, Array], Block], Mapping[str, Array]]


def blocks_on_cluster(
    address: str, grid: Grid, sources: Mapping[str, Input], function: Work, blocks: Iterator[Block]
) -> Iterator[tuple[Block, Mapping[str, Array]]]:
    """Yield each block with its results, in the order of the blocks.

    Parameters
    ----------
    address : str
        Of the scheduler, such as tcp://127.0.0.1:8786.
    grid : Grid
    sources : mapping of name to Input
        Files, or arrays that travel with each task.
    function : callable (arrays, block) -> mapping of name to array
        As `run_blocks`; it is sent to the workers.
    blocks : iterator of Block

    Raises
    ------
    MissingExtra
        If dask.distributed is not installed.
    InputFault
        If no scheduler answers or it has no worker; if workers run other sources of sitekit, or cannot read an input;
        if workers are lost again and again.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError as error:
        raise MissingExtra(
            Fault(
                "--scheduler",
                "dask.distributed is not installed",
                "the extra 'cluster'",
                "pip install sitekit[cluster]",
            )
        ) from error
    try:
        client: Any = Client(address, timeout=_WAIT_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError) as error:
        raise _fault(
            address, f"no scheduler answers ({error})", "a running dask scheduler", "Check the address."
        ) from error
    with client:
        _check_workers(client, address, sources)
        slots = max(1, sum(client.nthreads().values())) * _AHEAD
        waiting: deque[tuple[list[Block], Any]] = deque()
        try:
            for stretch in _stretches(blocks):
                future = client.submit(_on_worker, function, dict(sources), grid, stretch, pure=False, retries=_RETRIES)
                waiting.append((stretch, future))
                if len(waiting) >= slots:
                    yield from _results(*waiting.popleft())
            while waiting:
                yield from _results(*waiting.popleft())
        except KilledWorker as error:
            raise _fault(
                address,
                f"a worker was lost {_RETRIES} times on the same blocks ({error})",
                "workers that live as long as the run",
                "Look at the workers' logs (memory, mostly). Nothing half-written stays; run again.",
            ) from error
        finally:
            for _, future in waiting:
                future.cancel()


def _stretches(blocks: Iterator[Block]) -> Iterator[list[Block]]:
    for _, row in groupby(blocks, key=lambda b: b.row):
        rest = list(row)
        for first in range(0, len(rest), _STRETCH):
            yield rest[first : first + _STRETCH]


def _results(stretch: list[Block], future: Any) -> Iterator[tuple[Block, Mapping[str, Array]]]:
    results = future.result()
    future.release()
    yield from zip(stretch, results, strict=True)


def _on_worker(
    function: Work, sources: Mapping[str, Input], grid: Grid, stretch: list[Block]
) -> list[dict[str, Array]]:
    """Run on a worker: read, work out, return."""
    with ExitStack() as stack:
        readers = {name: stack.enter_context(Reader(name, source, grid)) for name, source in sources.items()}
        return [dict(function({n: r.read(block) for n, r in readers.items()}, block)) for block in stretch]


def _check_workers(client: Any, address: str, sources: Mapping[str, Input]) -> None:
    """Refuse a cluster without workers, with other sources of sitekit, or without sight of an input."""
    try:
        client.wait_for_workers(1, timeout=_WAIT_S)
    except TimeoutError as error:
        raise _fault(address, "the scheduler has no worker", "at least one", "Start: dask worker ADDRESS") from error
    files = {str(s.source): _size(str(s.source)) for s in sources.values() if isinstance(s.source, Path)}
    try:
        seen = client.run(_seen_by_worker, list(files))
    except (ImportError, AttributeError) as error:
        raise _fault(
            address, f"a worker lacks sitekit ({error})", "sitekit on every worker", "Install it there."
        ) from error
    own = package_hash()
    with Faults() as faults:
        for worker, (version, sizes) in sorted(seen.items()):
            if version != own:
                faults.add(
                    f"worker {worker}", f"runs sources {version}", f"{own}, as here", "Install the same version."
                )
            for name, size in files.items():
                if sizes[name] != size:
                    found = "cannot be read there" if sizes[name] is None else f"has {sizes[name]} bytes there"
                    faults.add(
                        f"worker {worker}, {name}", found, f"{size} bytes", "Put the project on a folder all share."
                    )


def _seen_by_worker(files: list[str]) -> tuple[str, dict[str, int | None]]:
    return package_hash(), {name: _size(name) for name in files}


def _size(name: str) -> int | None:
    return os.stat(name).st_size if os.access(name, os.R_OK) else None


def _fault(address: str, came: str, due: str, do: str) -> InputFault:
    return InputFault(Fault(f"--scheduler {address}", came, due, do))
