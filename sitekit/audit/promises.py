"""What the audit says: one finding per promise, with the figure that was found and where it was found."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sitekit.errors import SitekitError

SHOWN = 5  # examples named in a finding; the rest is counted


@dataclass(frozen=True)
class Finding:
    """One promise, kept or broken.

    Parameters
    ----------
    promise : str
        What was promised, in words that stay the same from run to run.
    figure : float, int, str or None
        What the written files show; None where the promise could not be looked at.
    unit : str
        Of the figure, empty for plain counts of faults and for text.
    ok : bool
        Whether the promise is kept. A promise that cannot be looked at is broken.
    detail : str
        How it was judged, or what broke it, with examples.
    where : str
        Files it was read from.
    """

    promise: str
    figure: float | int | str | None
    unit: str
    ok: bool
    detail: str
    where: str

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as a JSON-like mapping (numbers that JSON cannot hold become null)."""
        figure = self.figure
        if isinstance(figure, float) and not math.isfinite(figure):
            figure = None
        return {
            "promise": self.promise,
            "figure": figure,
            "unit": self.unit,
            "ok": self.ok,
            "detail": self.detail,
            "where": self.where,
        }

    def __str__(self) -> str:
        figure = "not looked at" if self.figure is None else _shown(self.figure)
        mark = "kept  " if self.ok else "BROKEN"
        unit = f" {self.unit}" if self.unit else ""
        return f"{mark} {self.promise}: {figure}{unit} ({self.detail}; {self.where})"


def _shown(figure: float | int | str) -> str:
    return f"{figure:.6g}" if isinstance(figure, float) else str(figure)


def judged(promise: str, broken: Sequence[str], looked_at: int, where: str, *, kept: str, unit: str = "") -> Finding:
    """Return a finding whose figure is the number of faults found among so many things looked at.

    Parameters
    ----------
    promise : str
        What was promised.
    broken : sequence of str
        One text per fault; empty if the promise is kept.
    looked_at : int
        How many things were looked at.
    where : str
        Files.
    kept : str
        How it was judged, shown when it is kept.
    unit : str
        What is counted, e.g. `"colonies"`.
    """
    if broken:
        more = f" and {len(broken) - SHOWN} more" if len(broken) > SHOWN else ""
        detail = "; ".join(broken[:SHOWN]) + more
    else:
        detail = kept
    return Finding(promise, len(broken), f"faults in {looked_at} {unit}".strip(), not broken, detail, where)


def not_looked_at(promise: str, why: str, where: str) -> Finding:
    """Return the finding of a promise that the files do not let one check: broken."""
    return Finding(promise, None, "", False, why, where)


def asked(promise: str, where: str, check: Callable[[], Finding | None]) -> list[Finding]:
    """Return what a check finds, nothing if there is nothing to judge; what stops it is the reason it was not looked at.

    Parameters
    ----------
    promise : str
        What was promised.
    where : str
        Files that the check reads.
    check : callable
        Reads them and judges.
    """
    try:
        found = check()
    except (SitekitError, OSError, ValueError, KeyError) as error:
        found = not_looked_at(promise, (str(error) or type(error).__name__).splitlines()[0], where)
    return [] if found is None else [found]
