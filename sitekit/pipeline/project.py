"""A project: a folder with `plan.toml`, its results in `out/`, and the machine it runs on."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sitekit.base.files import inside
from sitekit.errors import Fault, FileFault
from sitekit.season.settings import Settings, read_settings

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

    from sitekit.season.held import HeldSeason

SEASON = "season.gpkg"


def _silent(_: str) -> None:
    return None


def _no_progress(_done: int, _total: int) -> None:
    return None


@dataclass(frozen=True)
class Machine:
    """How this machine works; never part of a plan or of its run id.

    Parameters
    ----------
    threads : int
        Worker threads, at least 1.
    memory_gb : float
        Upper limit for raster blocks in flight [GB].
    talk : callable
        Takes one line for people.
    progress : callable
        Takes work done and work in all.
    scheduler : str, optional
        Address of a dask scheduler for the score pass.
    """

    threads: int = field(default_factory=lambda: os.cpu_count() or 1)
    memory_gb: float = 0.8
    talk: Callable[[str], None] = _silent
    progress: Callable[[int, int], None] = _no_progress
    scheduler: str | None = None


@dataclass(frozen=True)
class Project:
    """A project folder, its checked settings, and where its results stand.

    While a run goes on, its results stand in `out/.working/`; they are moved to `out/` together at its end, so that a
    run that stops on bad input leaves earlier results as they were.
    """

    folder: Path
    settings: Settings
    machine: Machine = field(default_factory=Machine)
    results: Path | None = None
    _held: list[HeldSeason] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def held(self) -> HeldSeason:
        """The season's tables while a run goes on."""
        if not self._held:
            from sitekit.season.held import HeldSeason

            self._held.append(HeldSeason())
        return self._held[0]

    def season(self, *names: str) -> dict[str, pd.DataFrame]:
        """Return the season's tables by name, all by default: what the stages before left."""
        return self.held.read(self.result(SEASON), names or None)

    def write_season(self, tables: Mapping[str, pd.DataFrame], crs: CRS) -> None:
        """Take the season's tables of a stage; the file is written by the run."""
        self.held.write(tables, crs)

    @property
    def out(self) -> Path:
        """Folder of results; belongs to sitekit."""
        return self.results or self.folder / "out"

    @property
    def working(self) -> Path:
        """Folder of results of a run that is still going on."""
        return self.out / ".working"

    def input(self, name: str, key: str) -> Path:
        """Return the path of a file of the team, named by settings key `key`.

        Raises
        ------
        FileFault
            If it is missing or leads out of the project folder.
        """
        path = inside(self.folder, name)
        if not path.exists():
            raise FileFault(
                Fault(f"plan.toml, {key}", f"file {name!r} is missing", f"a file in {self.folder.name}/", "Correct it.")
            )
        return path

    def result(self, name: str) -> Path:
        """Return the newest version of a result: of the run that goes on, else of the last one."""
        working = self.working / name
        return working if working.exists() else self.out / name

    def target(self, name: str) -> Path:
        """Return where a stage writes a result."""
        path = self.working / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise FileFault(
                Fault(
                    str(self.out),
                    f"cannot be written ({error.strerror or error})",
                    "a folder that you may write to",
                    "Move what stands there, or change the rights of the folder.",
                )
            ) from error
        return path


def open_project(plan: Path, machine: Machine | None = None) -> Project:
    """Open the project of a `plan.toml` (or of the folder that holds one).

    Raises
    ------
    InputFault
        With every fault of the settings.
    """
    path = Path(plan)
    if path.is_dir():
        path = path / "plan.toml"
    return Project(path.resolve().parent, read_settings(path), machine or Machine())


@dataclass(frozen=True)
class Done:
    """What a stage did.

    Parameters
    ----------
    files : list of str
        Results written, named relative to `out/`.
    figures : dict
        Numbers for people and for the manifest, JSON-like.
    shortfalls : list of Fault
        What was asked for and could not be done; the run ends with exit code 4 after writing.
    """

    files: list[str]
    figures: dict[str, Any] = field(default_factory=dict)
    shortfalls: list[Fault] = field(default_factory=list)
