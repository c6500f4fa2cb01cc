"""Why one cell has the score it has: every criterion's value, response and weight, what limits, what excludes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.base.wording import say
from sitekit.errors import Faults
from sitekit.suitability.criteria import Criterion, judged_classes
from sitekit.suitability.curves import BELL, CLASSES, KNOTS, Curve
from sitekit.suitability.exclusions import LABELS, UNKNOWN
from sitekit.suitability.score import NO_LIMIT, score_cells
from sitekit.suitability.terms import responses


@dataclass(frozen=True)
class Answer:
    """One criterion at one place.

    Parameters
    ----------
    name, field, unit : str
        What is judged, the field it reads, and the unit of its value.
    value : float or None
        Value in that unit, or class code; None where it is unknown.
    shown : str
        The value for people: a number with its unit, a class name, or "unknown".
    curve : str
        The curve in words.
    response : float or None
        0–1; None where it is unknown.
    weight : float
        Share of all weights [0–1].
    source : str
        A key of `shared/sources.json`, or the team's own words.
    verified : bool
        Whether someone read the curve's values in that source.
    note : str
        Limits, may be empty.
    """

    name: str
    field: str
    unit: str
    value: float | None
    shown: str
    curve: str
    response: float | None
    weight: float
    source: str
    verified: bool
    note: str


@dataclass(frozen=True)
class Explanation:
    """One species at one place.

    Parameters
    ----------
    score : float or None
        0–1 as written in the raster; None where the cell is excluded.
    without_exclusions : float or None
        The score that the criteria alone would give; None where too much is unknown.
    limiting : str or None
        Criterion whose rise to a response of 1 would raise that score most.
    best_possible : float or None
        The score after that rise.
    reasons : tuple of str
        Every exclusion that holds here, strictest first.
    unknown_share : float
        Share of the weight whose criteria are unknown [0–1].
    answers : tuple of Answer
        One per criterion, in the order of the set.
    """

    score: float | None
    without_exclusions: float | None
    limiting: str | None
    best_possible: float | None
    reasons: tuple[str, ...]
    unknown_share: float
    answers: tuple[Answer, ...]


def explain_cell(
    criteria: Sequence[Criterion],
    fields: Mapping[str, NDArray[Any]],
    tests: Mapping[int, NDArray[np.bool_]],
    *,
    units: Mapping[str, str],
    class_names: Mapping[int, str],
    caps: Mapping[str, float] | None = None,
    method: str = "geometric mean",
    max_unknown_weight: float = 0.25,
) -> Explanation:
    """Explain the score of one cell for one species.

    Parameters
    ----------
    criteria : sequence of Criterion
        What counts.
    fields : mapping of field name to array, shape (1, 1)
        Values of the cell; NaN = unknown.
    tests : mapping of exclusion code to boolean array, shape (1, 1)
        As `exclusions.exclusion_tests` gives them.
    units : mapping of field name to unit
        For people.
    class_names : mapping of class code to name
        For class rasters.
    caps : mapping of field name to value, optional
        Largest value that a field can take: it stands for all larger ones.
    method, max_unknown_weight
        As in `score.combine`.

    Returns
    -------
    Explanation
        `score` is the float32 that `score.score_cells` gives for the cell.

    Raises
    ------
    InputFault
        If a field is missing, or holds more than one cell.
    """
    with Faults() as faults:
        for one in criteria:
            if one.field in fields and fields[one.field].size != 1:
                faults.add(f"field {one.field!r}", f"{fields[one.field].size} cells", "one cell", "Pick one cell.")
    answered = responses(criteria, fields)[:, 0, 0]
    total = sum(c.weight for c in criteria)
    answers = tuple(
        _answer(one, fields[one.field], float(answered[k]), one.weight / total, units, class_names, caps or {})
        for k, one in enumerate(criteria)
    )
    scored = score_cells(
        criteria, fields, np.zeros((1, 1), np.uint8), method=method, max_unknown_weight=max_unknown_weight
    )
    reasons = [LABELS[code] for code in sorted(tests) if bool(tests[code].any())]
    if scored.reason[0, 0] == UNKNOWN:
        reasons.append(LABELS[UNKNOWN])
    alone = float(scored.score[0, 0])
    plain = None if np.isnan(alone) else alone
    index = int(scored.limiting[0, 0])
    limiting = None if index == NO_LIMIT else criteria[index].name
    best = None
    if plain is not None and limiting is not None:
        raised = [1.0 if k == index else answered[k] for k in range(len(criteria))]
        best = _combined(raised, [c.weight for c in criteria], method)
    return Explanation(
        plain if not reasons else None,
        plain,
        limiting,
        best,
        tuple(reasons),
        sum(a.weight for a in answers if a.response is None),
        answers,
    )


def curve_words(curve: Curve, unit: str, class_names: Mapping[int, str] | None = None) -> str:
    """Return a curve in words; a curve of classes names them where `class_names` (code -> name) is given.

    Examples
    --------
    >>> from sitekit.suitability.curves import trapezoid
    >>> curve_words(trapezoid(0.3, 0.91, 4.57, 9.1), "m")
    '0 at 0.3, 1 at 0.91, 1 at 4.57, 0 at 9.1 m'
    """
    tail = f" {unit}" if unit else ""
    if curve.kind == KNOTS:
        return (
            ", ".join(
                say("record.at", response=f"{y:.3g}", value=f"{x:.4g}") for x, y in zip(curve.x, curve.y, strict=True)
            )
            + tail
        )
    if curve.kind == BELL:
        return say("record.bell", middle=f"{curve.x[0]:g}", spread=f"{curve.x[1]:g}") + tail
    if class_names:
        return "; ".join(
            say("record.for_classes", response=f"{y:g}", classes=", ".join(held))
            for y, held in judged_classes(curve, class_names)
        )
    levels = sorted({y for y in curve.y if not np.isnan(y)}, reverse=True)
    return say("record.by_class", levels=", ".join(f"{y:g}" for y in levels))


def _answer(
    one: Criterion,
    field: NDArray[Any],
    response: float,
    weight: float,
    units: Mapping[str, str],
    class_names: Mapping[int, str],
    caps: Mapping[str, float],
) -> Answer:
    value = float(field[0, 0])
    unit = units.get(one.field, "")
    known = not np.isnan(response)
    if one.curve.kind == CLASSES:
        name = class_names.get(int(value), f"class {value:g}") if not np.isnan(value) else "unknown"
        shown = name if known or name == "unknown" else f"{name} (not judged)"
        unit = "class"
    else:
        more = "≥ " if value >= caps.get(one.field, np.inf) else ""
        shown = f"{more}{value:.4g} {unit}".strip() if known else "unknown"
    return Answer(
        one.name,
        one.field,
        unit,
        None if np.isnan(value) or np.isinf(value) else value,
        shown,
        curve_words(one.curve, "" if one.curve.kind == CLASSES else unit, class_names),
        response if known else None,
        weight,
        one.source,
        one.verified,
        one.note,
    )


def _combined(answered: Sequence[float], weights: Sequence[float], method: str) -> float:
    """Return the score of known responses; the unknown ones are left out."""
    known = [(float(r), w) for r, w in zip(answered, weights, strict=True) if not np.isnan(r) and w > 0]
    total = sum(w for _, w in known)
    if method == "mean":
        return sum(r * w for r, w in known) / total
    if method == "lowest":
        return min(r for r, _ in known)
    return float(np.prod([r ** (w / total) for r, w in known]))
