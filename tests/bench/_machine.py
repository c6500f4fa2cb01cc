"""How fast this machine copies memory: limits in seconds hold on one of stated speed."""

import time

import numpy as np

COPY_DUE_S = 0.07


def copy_seconds() -> float:
    """Seconds to copy 1 GB, the best of three; in eight parts, so that the peak memory of a bench stays its own."""
    source = np.ones(15_625_000)
    target = np.empty_like(source)
    best = np.inf
    for _ in range(3):
        begin = time.perf_counter()
        for _ in range(8):
            np.copyto(target, source)
        best = min(best, time.perf_counter() - begin)
    return best


def best_of(function, times=3):
    """Least seconds of some calls, and what the last one returned: other work on the machine only ever adds time."""
    least, result = np.inf, None
    for _ in range(times):
        begin = time.perf_counter()
        result = function()
        least = min(least, time.perf_counter() - begin)
    return least, result
