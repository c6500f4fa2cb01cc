"""Curves: how the value of a criterion becomes a response from 0 to 1.

A curve is numbers only (knots joined by straight lines, a bell, or a response per class), evaluated by one compiled
function: another plan needs no recompiling.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.base.compiled import compiled
from sitekit.base.elementary import exp2
from sitekit.errors import Faults

KNOTS, BELL, CLASSES = 0, 1, 2
_CLASS_COUNT = 256  # class rasters are uint8


@dataclass(frozen=True)
class Curve:
    """A curve as numbers.

    Parameters
    ----------
    kind : int
        `KNOTS`: straight lines between (x, y), level outside; `BELL`: exp(−((v − x₀) / x₁)² / 2);
        `CLASSES`: y[code].
    x, y : tuple of float
        Values, in the criterion's unit, not falling; responses 0–1 (NaN = class not judged, unknown).

    Raises
    ------
    InputFault
        If values fall, a response is outside 0–1, or a number is not finite.
    """

    kind: int
    x: tuple[float, ...]
    y: tuple[float, ...]

    def __post_init__(self) -> None:
        with Faults() as faults:
            if not all(math.isfinite(v) for v in self.x):
                faults.add("curve", f"values {self.x}", "finite numbers", "Correct the curve.")
            elif self.kind == KNOTS and (len(self.x) < 2 or len(self.x) != len(self.y)):
                faults.add("curve", f"{len(self.x)} values, {len(self.y)} responses", "two pairs or more", "Add pairs.")
            elif self.kind == KNOTS and any(b < a for a, b in zip(self.x, self.x[1:], strict=False)):
                faults.add("curve", f"values {self.x}", "values that do not fall", "Sort the pairs by value.")
            elif self.kind == BELL and (len(self.x) != 2 or self.x[1] <= 0):
                faults.add("curve", f"bell {self.x}", "centre, standard deviation > 0", "Correct the bell.")
            if any(not (0 <= v <= 1 or (self.kind == CLASSES and math.isnan(v))) for v in self.y):
                faults.add("curve", f"responses {self.y}", "numbers from 0 to 1", "Correct the responses.")


def trapezoid(a: float, b: float, c: float, d: float) -> Curve:
    """Curve that is 0 up to `a`, 1 from `b` to `c`, 0 from `d` on.

    With a = b (or c = d) the response jumps, and is 1 at the jump itself. The numbers must not fall.
    """
    return table([(a, 0.0), (b, 1.0), (c, 1.0), (d, 0.0)])


def rise(a: float, b: float) -> Curve:
    """Curve that is 0 up to `a` and 1 from `b` on; with a = b a step that is 1 at the value itself."""
    return table([(a, 0.0), (b, 1.0)])


def fall(a: float, b: float) -> Curve:
    """Curve that is 1 up to `a` and 0 from `b` on; with a = b a step that is 1 at the value itself."""
    return table([(a, 1.0), (b, 0.0)])


def bell(centre: float, deviation: float) -> Curve:
    """Curve exp(−((v − centre) / deviation)² / 2), which never quite reaches 0; `deviation` > 0."""
    return Curve(BELL, (float(centre), float(deviation)), ())


def table(points: Sequence[tuple[float, float]]) -> Curve:
    """Curve through points (value, response), level before the first and after the last.

    Two points with one value make a jump; the value itself has the higher of the two responses.
    """
    x = [float(p[0]) for p in points]
    y = [float(p[1]) for p in points]
    for k in range(len(x) - 1):
        if x[k] == x[k + 1] and y[k] > y[k + 1]:
            x[k + 1] = math.nextafter(x[k], math.inf)
    return Curve(KNOTS, tuple(x), tuple(y))


def classes(responses: Mapping[str, float], codes: Mapping[str, int]) -> Curve:
    """Curve of a class raster.

    Parameters
    ----------
    responses : mapping of class name to response
        Classes that are not named have no response: unknown.
    codes : mapping of class name to code
        Codes of the raster, 0–255.

    Raises
    ------
    InputFault
        If a class has no code; all such classes are named.
    """
    y = [math.nan] * _CLASS_COUNT
    with Faults() as faults:
        for name, response in responses.items():
            if name in codes:
                y[codes[name]] = float(response)
            else:
                faults.add("curve.classes", repr(name), f"one of {', '.join(sorted(codes))}", "Correct the class name.")
    return Curve(CLASSES, (), tuple(y))


def response(curve: Curve, values: ArrayLike) -> NDArray[np.float64]:
    """Responses of a curve.

    Parameters
    ----------
    curve : Curve
        The curve.
    values : array of float, any shape
        Values of the criterion in its unit, or class codes; NaN = unknown.

    Returns
    -------
    array of float64, same shape
        0–1; NaN where the value is unknown, infinite or a class is not judged.

    Examples
    --------
    >>> response(trapezoid(3, 5, 12, 15), [3.0, 4.0, 13.5, float("nan")]).tolist()
    [0.0, 0.5, 0.5, nan]
    """
    given = np.asarray(values, dtype=np.float64)
    flat = np.ascontiguousarray(given).ravel()
    out = np.empty(flat.shape)
    packed = pack([curve])
    respond(flat, packed[0][0], packed[1][0], packed[2][0], out)
    return out.reshape(given.shape)


Packed = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]


def pack(curves: Sequence[Curve]) -> Packed:
    """Lay curves out for the kernels.

    Returns
    -------
    kinds : array of int64, shape (curves,)
        Kind of each curve.
    x, y : array of float64, shape (curves, widest)
        Knots; shorter ones are filled up with +inf and the last response, which changes nothing.
    """
    widest = max((max(len(c.x), len(c.y)) for c in curves), default=1)
    x = np.full((len(curves), widest), np.inf)
    y = np.full((len(curves), widest), np.nan)
    for k, curve in enumerate(curves):
        x[k, : len(curve.x)] = curve.x
        y[k, : len(curve.y)] = curve.y
        if curve.kind == KNOTS:
            y[k, len(curve.y) :] = curve.y[-1]
    return np.array([c.kind for c in curves], dtype=np.int64), x, y


@compiled
def respond(
    values: NDArray[np.float64],
    kind: int,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    """Fill `out` with the responses of one packed curve to a row of values (float32 or float64)."""
    count = values.size
    if kind == CLASSES:
        for j in range(count):
            v = values[j]
            out[j] = y[np.int64(v)] if 0.0 <= v <= 255.0 else np.nan
    elif kind == BELL:
        centre, deviation = x[0], x[1]
        for j in range(count):
            t = (np.float64(values[j]) - centre) / deviation
            out[j] = exp2(-0.7213475204444817 * (t * t))  # log2(e) / 2
    else:
        _straight(values, x, y, out)
        return
    for j in range(count):
        out[j] = out[j] if abs(np.float64(values[j])) < np.inf else np.nan


@compiled
def _straight(
    values: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64], out: NDArray[np.float64]
) -> None:
    """Fill `out` from knots joined by straight lines, level outside, one line at a time over the whole row."""
    knots = 1
    while knots < x.size and x[knots] < np.inf:
        knots += 1
    out[:] = y[0]
    for k in range(max(knots - 1, 1)):
        left, base = x[k], y[k]
        right, end = (x[k + 1], y[k + 1]) if knots > 1 else (left, base)
        change = end - base
        per_unit = 1.0 / (right - left) if right - left > 1.0e-300 else 0.0
        for j in range(values.size):
            v = np.float64(values[j])
            here = end if v >= right else base + change * min((v - left) * per_unit, 1.0)
            so_far = here if v >= left else out[j]
            out[j] = so_far if abs(v) < np.inf else np.nan
