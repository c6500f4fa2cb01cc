"""Run one bench, after measuring how fast this machine copies memory; exit code 1 if it misses what it must reach."""

import argparse
import importlib
import sys
from pathlib import Path
from typing import Any

from tests.bench._machine import COPY_DUE_S, copy_seconds

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
    print(f"copying 1 GB takes {copy_seconds():.2f} s here (the limits in seconds hold where it takes {COPY_DUE_S} s)")
    bench = importlib.import_module(f"tests.bench.{given.name}")
    more: dict[str, Any] = {"billion": True} if given.billion else {}
    if given.picture is not None:
        more["picture"] = given.picture
    result = bench.main(given.short, **more)
    return 0 if result.get("reached", True) else 1


if __name__ == "__main__":
    sys.exit(main())
