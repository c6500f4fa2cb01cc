"""What sitekit says when it cannot go on: what came, what was due, what to do.

Every fault of one input is collected first and told at once (`Faults`). The exit codes are those of the command line:
1 a run failed, 2 bad usage, 3 bad input or a fault found by a check, 4 more was asked for than can be done.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType


@dataclass(frozen=True)
class Fault:
    """One fault, in four parts.

    Parameters
    ----------
    where : str
        The place: a key path of the settings, a file with line, a layer or a table row.
    came : str
        What was found there.
    due : str
        What was expected, with unit or allowed values.
    do : str
        The next step for the reader.
    """

    where: str
    came: str
    due: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.came}; due: {self.due}. {self.do}"

    def as_dict(self) -> dict[str, str]:
        """Return the four parts as a mapping (for `--json`)."""
        return asdict(self)


class SitekitError(Exception):
    """Root of all errors that sitekit raises on purpose."""

    exit_code = 1

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("\n".join(str(f) for f in faults))


class InputFault(SitekitError, ValueError):
    """A user's file, value or setting cannot be used as it is."""

    exit_code = 3


class FileFault(InputFault, OSError):
    """A file is missing, unreadable, unwritable, or was changed where only sitekit writes."""

    def __str__(self) -> str:
        return "\n".join(str(f) for f in self.faults)


class AuditFault(SitekitError):
    """The written files break a promise."""

    exit_code = 3


class Shortfall(SitekitError):
    """More was asked for than can be done; what could be done is written."""

    exit_code = 4


class MissingExtra(SitekitError, ImportError):
    """An optional package is needed for this command."""

    exit_code = 2


@dataclass
class Faults:
    """A collector: faults are added as they are seen and raised together.

    Used as a context manager it raises `kind` on leaving, unless another error is already on its way.
    """

    kind: type[SitekitError] = InputFault
    found: list[Fault] = field(default_factory=list)

    def add(self, where: str | Path, came: str, due: str, do: str) -> None:
        """Note one fault."""
        self.found.append(Fault(str(where), came, due, do))

    def take(self, error: SitekitError) -> None:
        """Note the faults of an error that was caught, each once."""
        self.found += [f for f in error.faults if f not in self.found]

    def stop_if_any(self) -> None:
        """Raise everything found so far, if anything was."""
        if self.found:
            raise self.kind(*self.found)

    def __enter__(self) -> Faults:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.stop_if_any()
