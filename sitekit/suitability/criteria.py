"""Criteria: what a place is judged by, and the sets that ship for two species.

The sets are data (`shared/criteria_sets.json`). Each line names its source; values that nobody has read in a source are
marked `verified: false` and print so. Weights are house choices: no source read so far publishes any.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from sitekit.base.sources import shared_file
from sitekit.errors import Fault, Faults, InputFault
from sitekit.suitability.curves import Curve, bell, classes, fall, rise, table, trapezoid

TERRAIN_FIELDS = ("slope_deg", "aspect_deg", "ruggedness", "position_index_m")
FIELDS: dict[str, str] = {
    "depth_m": "m, positive down",
    "slope_deg": "degrees",
    "aspect_deg": "degrees, direction of descent",
    "ruggedness": "0-1",
    "position_index_m": "m, positive on crests",
    "distance_colonies_m": "m",
    "distance_edge_m": "m",
    "substrate": "class",
}


@dataclass(frozen=True)
class Criterion:
    """One thing a place is judged by.

    Parameters
    ----------
    name : str
        How people call it.
    field : str
        The field it reads: a key of `FIELDS` or the name of a user's raster.
    curve : Curve
        Value to response.
    weight : float
        ≥ 0; only ratios count.
    source : str
        A key of `shared/sources.json`, or the user's own words.
    verified : bool
        Whether someone read the values of the curve in that source.
    note : str
        Limits, may be empty.
    """

    name: str
    field: str
    curve: Curve
    weight: float
    source: str
    verified: bool = False
    note: str = ""


def make_curve(
    shape: str,
    *,
    at: Sequence[float] = (),
    points: Sequence[tuple[float, float]] = (),
    class_responses: Mapping[str, float] | None = None,
    codes: Mapping[str, int] | None = None,
) -> Curve:
    """Curve from the words of a settings file.

    Parameters
    ----------
    shape : str
        `trapezoid` at (a, b, c, d); `rise`, `fall` at (a, b); `bell` at (centre, deviation); `table` with points;
        `classes` with class responses.
    at, points, class_responses
        The numbers of the shape.
    codes : mapping of class name to raster code
        Needed by `classes`. A class without a response takes that of the nearest class above it in the standard.

    Returns
    -------
    Curve
        Ready for `curves.response` and `score.combine`.

    Raises
    ------
    InputFault
        If the shape or the count of numbers is not one of these.
    """
    makers = {"trapezoid": (trapezoid, 4), "rise": (rise, 2), "fall": (fall, 2), "bell": (bell, 2)}
    if shape in makers:
        maker, count = makers[shape]
        if len(at) != count:
            raise InputFault(Fault(f"curve {shape}", f"{len(at)} numbers", f"{count}", "Correct `at`."))
        return maker(*at)  # type: ignore[operator, no-any-return]
    if shape == "table":
        return table(points)
    if shape == "classes":
        return classes(_inherited(class_responses or {}, codes or {}), codes or {})
    raise InputFault(Fault("curve", repr(shape), ", ".join([*makers, "table", "classes"]), "Use one of these shapes."))


def set_names() -> list[str]:
    """Return the names of the sets that ship, sorted."""
    return sorted(_sets())


def criteria_set(name: str, codes: Mapping[str, int]) -> list[Criterion]:
    """Return the criteria of a set that ships.

    Parameters
    ----------
    name : str
        `elkhorn` or `staghorn`.
    codes : mapping of substrate class name to raster code
        The class table of the plan's substrate raster.

    Returns
    -------
    list of Criterion
        In the order of the file.

    Raises
    ------
    InputFault
        If there is no such set.
    """
    if name not in _sets():
        raise InputFault(
            Fault("criteria", repr(name), ", ".join(set_names()), "Name a set, or give [[criteria]] of your own.")
        )
    return [
        Criterion(
            row["name"],
            row["field"],
            make_curve(
                row["curve"]["shape"],
                at=row["curve"].get("at", ()),
                points=[(p[0], p[1]) for p in row["curve"].get("points", ())],
                class_responses=row["curve"].get("classes"),
                codes=codes,
            ),
            row["weight"],
            row["source"],
            row["verified"],
            row.get("note", ""),
        )
        for row in _sets()[name]["criteria"]
    ]


def set_classes(name: str) -> list[str]:
    """Return the substrate classes that a set judges, sorted."""
    found: set[str] = set()
    for row in _sets()[name]["criteria"]:
        found.update(row["curve"].get("classes", {}))
    return sorted(found)


def judged_classes(curve: Curve, names: Mapping[int, str]) -> list[tuple[float, list[str]]]:
    """Return the responses of a class curve, highest first, each with the classes that have it.

    A class that has the response of the class above it in the standard is left out: the one above stands for it.

    Parameters
    ----------
    curve : Curve
        Of kind `CLASSES`.
    names : mapping of class code to name
        Classes of the raster.
    """
    codes = {name: code for code, name in names.items()}
    found: dict[float, list[str]] = {}
    for code, name in sorted(names.items()):
        level = curve.y[code]
        above = _parents().get(name)
        if math.isnan(level) or (above in codes and curve.y[codes[above]] == level):
            continue
        found.setdefault(level, []).append(name)
    return sorted(found.items(), reverse=True)


def merged(base: Sequence[Criterion], own: Sequence[tuple[Criterion, str | None]]) -> list[Criterion]:
    """Join a set with a plan's own criteria.

    Parameters
    ----------
    base : sequence of Criterion
        The set.
    own : sequence of (Criterion, name it replaces or None)
        A weight of 0 switches the replaced criterion off.

    Returns
    -------
    list of Criterion
        The set with replacements in place, additions at the end.

    Raises
    ------
    InputFault
        If a replaced name is not in the set, or a name stands twice; all are named.
    """
    out = list(base)
    with Faults() as faults:
        for one, replaces in own:
            names = [c.name for c in out]
            if replaces is None and one.name in names:
                faults.add(
                    f"criterion {one.name!r}", "stands twice", "one of each name", "Rename it, or say `replaces`."
                )
            elif replaces is None:
                out.append(one)
            elif replaces in names:
                out[names.index(replaces)] = replace(one)
            else:
                faults.add(
                    f"criterion {one.name!r}",
                    f"replaces {replaces!r}",
                    ", ".join(names) or "no criterion stands before it",
                    "Correct the name.",
                )
    return out


def _inherited(responses: Mapping[str, float], codes: Mapping[str, int]) -> dict[str, float]:
    found = dict(responses)
    for name in codes:
        above: str | None = name
        while above is not None and above not in responses:
            above = _parents().get(above)
        if above is not None:
            found[name] = responses[above]
    return found


@cache
def _parents() -> dict[str, str | None]:
    standard = json.loads(shared_file("cmecs_substrate.json").read_text("utf-8"))
    return {row["name"]: row["parent"] for row in standard["classes"]}


@cache
def _sets() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(shared_file("criteria_sets.json").read_text("utf-8"))
    return loaded
