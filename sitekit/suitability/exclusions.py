"""Exclusions: what rules a cell out whatever its score, and the code that says why.

A cell may fail several tests; the raster holds one code per cell, the smallest, so the order of the table is the order
of strictness: what law or the lack of data forbids stands before what a plan's own limits forbid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Faults

OUTSIDE = 1
NO_DEPTH = 2
FORBIDDEN = 3
NO_PERMIT = 4
KEEP_CLEAR = 5
EDGE = 6
SUBSTRATE = 7
NO_SUBSTRATE = 8
TOO_SHALLOW = 9
TOO_DEEP = 10
TOO_STEEP = 11
UNKNOWN = 12
UNWORKABLE = 13

LABELS: dict[int, str] = {
    0: "not excluded",
    OUTSIDE: "outside the area of interest",
    NO_DEPTH: "no depth",
    FORBIDDEN: "protected area: forbidden",
    NO_PERMIT: "protected area: permit not held",
    KEEP_CLEAR: "too near what the plan keeps clear of",
    EDGE: "too near an excluded edge",
    SUBSTRATE: "substrate excluded",
    NO_SUBSTRATE: "substrate unknown",
    TOO_SHALLOW: "shallower than the least depth",
    TOO_DEEP: "deeper than the greatest depth",
    TOO_STEEP: "steeper than the greatest slope",
    UNKNOWN: "too much of the weight is unknown",
    UNWORKABLE: "too little water for divers at the lowest tide",
}


@dataclass(frozen=True)
class Limits:
    """A plan's own limits; None or empty = not used.

    Parameters
    ----------
    least_depth_m, greatest_depth_m : float or None
        Depths at exactly the limit are allowed [m, positive down].
    greatest_slope_deg : float or None
        Slope at exactly the limit is allowed [degrees]. A cell of unknown slope is not excluded by it.
    substrate : frozenset of int
        Codes of excluded substrate classes.
    unknown_substrate : bool
        Exclude cells whose substrate is unknown (code 0).

    Raises
    ------
    InputFault
        If the least depth is below the greatest.
    """

    least_depth_m: float | None = None
    greatest_depth_m: float | None = None
    greatest_slope_deg: float | None = None
    substrate: frozenset[int] = frozenset()
    unknown_substrate: bool = False

    def __post_init__(self) -> None:
        if (
            self.least_depth_m is not None
            and self.greatest_depth_m is not None
            and self.least_depth_m > self.greatest_depth_m
        ):
            with Faults() as faults:
                faults.add(
                    "exclusions",
                    f"least_depth_m {self.least_depth_m:g} is deeper than greatest_depth_m {self.greatest_depth_m:g}",
                    "least ≤ greatest",
                    "Swap or correct the two depths (positive down).",
                )


def exclude(
    fields: Mapping[str, NDArray[Any]], limits: Limits, masks: Mapping[int, NDArray[np.bool_]] | None = None
) -> NDArray[np.uint8]:
    """Reason code of each cell.

    Parameters
    ----------
    fields : mapping of field name to array, shape (rows, columns)
        `depth_m` is due; `slope_deg` and `substrate` (uint8 codes) where the limits use them.
    limits : Limits
        The plan's limits.
    masks : mapping of reason code to boolean array, optional
        True where that reason holds, e.g. `{OUTSIDE: ~inside, FORBIDDEN: forbidden}`.

    Returns
    -------
    array of uint8, shape (rows, columns)
        The smallest code that holds (see `LABELS`), 0 = none.

    Raises
    ------
    InputFault
        If a field that a limit needs is missing, or a mask has a code that is not in the table.

    Examples
    --------
    >>> depth = np.array([[1.0, 5.0, np.nan]], dtype=np.float32)
    >>> exclude({"depth_m": depth}, Limits(least_depth_m=2.0)).tolist()
    [[9, 0, 2]]
    """
    tests = exclusion_tests(fields, limits, masks)
    out = np.zeros(fields["depth_m"].shape, np.uint8)
    for code in sorted(tests, reverse=True):
        out[tests[code]] = code
    return out


def exclusion_tests(
    fields: Mapping[str, NDArray[Any]], limits: Limits, masks: Mapping[int, NDArray[np.bool_]] | None = None
) -> dict[int, NDArray[np.bool_]]:
    """Every test that applies, with the cells that fail it: all reasons of a cell, not only the smallest code.

    Parameters, and faults, are those of `exclude`.

    Returns
    -------
    dict of int to boolean array
        Reason code -> True where it holds.
    """
    wanted = ["depth_m"]
    wanted += ["slope_deg"] if limits.greatest_slope_deg is not None else []
    wanted += ["substrate"] if limits.substrate or limits.unknown_substrate else []
    with Faults() as faults:
        for name in wanted:
            if name not in fields:
                faults.add("exclusions", f"no field {name!r}", "a field the limits ask about", "Add the layer.")
        for code in masks or {}:
            if code not in LABELS or code == 0:
                faults.add("exclusions", f"code {code}", f"1 to {max(LABELS)}", "Use a code of the table.")
    depth = fields["depth_m"]
    tests: dict[int, NDArray[np.bool_]] = dict(masks or {})
    _add(tests, NO_DEPTH, np.isnan(depth))
    if limits.least_depth_m is not None:
        _add(tests, TOO_SHALLOW, depth < np.float32(limits.least_depth_m))
    if limits.greatest_depth_m is not None:
        _add(tests, TOO_DEEP, depth > np.float32(limits.greatest_depth_m))
    if limits.greatest_slope_deg is not None:
        _add(tests, TOO_STEEP, fields["slope_deg"] > np.float32(limits.greatest_slope_deg))
    if limits.substrate:
        banned = np.zeros(256, np.bool_)
        banned[list(limits.substrate)] = True
        _add(tests, SUBSTRATE, banned[fields["substrate"]])
    if limits.unknown_substrate:
        _add(tests, NO_SUBSTRATE, fields["substrate"] == 0)
    return tests


def _add(tests: dict[int, NDArray[np.bool_]], code: int, where: NDArray[np.bool_]) -> None:
    tests[code] = tests[code] | where if code in tests else where
