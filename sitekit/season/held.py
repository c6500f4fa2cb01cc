"""The tables of a run, held in memory between its stages and written to `season.gpkg` when that is due.

Reading and writing forty tables at every stage took longer than most stages; what a stage gets is what it would read.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import pandas as pd
from pyproj import CRS

from sitekit.base.tables import conform, empty, table_names
from sitekit.season.plan_tables import read_table, write_plan

FLUSH_S = 30.0  # a killed run loses at most the stages of this long and the one it was in


class HeldSeason:
    """The season's tables while a run goes on."""

    def __init__(self) -> None:
        self._tables: dict[str, pd.DataFrame] = {}
        self._crs: CRS | None = None
        self._written = time.monotonic()
        self.dirty = False

    def read(self, path: Path, names: Iterable[str] | None = None) -> dict[str, pd.DataFrame]:
        """Return tables by name (all by default), as copies: from memory, or from a season's file.

        Raises
        ------
        FileFault, InputFault
            As in `read_table`.
        """
        wanted = list(names) if names is not None else table_names()
        for name in wanted:
            if name not in self._tables:
                self._tables[name] = read_table(path, name)
        return {name: self._tables[name].copy() for name in wanted}

    def write(self, tables: Mapping[str, pd.DataFrame], crs: CRS) -> None:
        """Take the season's tables; those not given are empty from now on.

        Raises
        ------
        InputFault
            If a table does not match its definition.
        """
        held: dict[str, pd.DataFrame] = {}
        for name in table_names():
            if name not in tables:
                held[name] = empty(name, crs)
            elif name in self._tables and self._tables[name].equals(tables[name]):
                held[name] = self._tables[name]
            else:
                held[name] = conform(tables[name], name)
        self._tables, self._crs, self.dirty = held, crs, True

    def flush(self, target: Callable[[], Path], *, now: bool) -> bool:
        """Write the file if that is due (or `now`); return whether everything held stands in a file."""
        if self.dirty and self._crs is not None and (now or time.monotonic() - self._written > FLUSH_S):
            write_plan(target(), self._tables, self._crs)
            self._written, self.dirty = time.monotonic(), False
        return not self.dirty
