"""Run one bench, after measuring how fast this machine copies memory; exit code 1 if it misses what it must reach."""

import argparse
import importlib
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

NAMES = sorted(p.stem for p in Path(__file__).parent.glob("*.py") if not p.stem.startswith("_"))
BILLION = "raster"
PICTURE = "layout"


def main() -> int:
    """Print the machine's speed and run the bench that is named."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("name", choices=NAMES)
    parser.add_argument("--short", action="store_true", help="small scenes, for continuous checks")
    parser.add_argument(
        "--billion", action="store_true", help=f"{BILLION}: also 10⁸ and 10⁹ cells (takes minutes, 12 GB)"
    )
    parser.add_argument("--picture", type=Path, metavar="FILE", help=f"{PICTURE}: draw both layouts as PNG")
    given = parser.parse_args()
    if given.picture is not None and given.name != PICTURE:
        parser.error(f"--picture belongs to {PICTURE}")
    if given.billion and given.name != BILLION:
        parser.error(f"--billion belongs to {BILLION}")
    print(f"copying 1 GB takes {copy_seconds():.2f} s here (the limits in seconds hold where it takes 0.07 s)")
    bench = importlib.import_module(f"tests.bench.{given.name}")
    more: dict[str, Any] = {"billion": True} if given.billion else {}
    if given.picture is not None:
        more["picture"] = given.picture
    result = bench.main(given.short, **more)
    return 0 if result.get("reached", True) else 1


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


if __name__ == "__main__":
    sys.exit(main())
