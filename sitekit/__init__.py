"""sitekit: from a reef team's files to planting sites, spaced colonies, maps and dive sheets.

The public list is loaded on demand, so that `import sitekit` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# public name -> module that defines it
_PUBLIC: dict[str, str] = {
    "Grid": "sitekit.layers.grid",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"sitekit has no public name {name!r}; the list is sitekit.__all__")


def __dir__() -> list[str]:
    return sorted(__all__)
