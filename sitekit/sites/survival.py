"""What share of planted units lives, by a curve that the user brings with its source; no curve comes with the package."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults


def share_alive(points: Sequence[Sequence[float]], value: ArrayLike) -> NDArray[np.float64]:
    """Return the share of units alive at values of what the curve is a function of.

    Parameters
    ----------
    points : sequence of (value, share)
        At least two, rising in value; shares 0-1. Straight lines between them, level outside.
    value : array_like
        In the unit of the points.

    Returns
    -------
    ndarray, shape of `value`
        0-1; NaN where the value is NaN.

    Raises
    ------
    InputFault
        If there are fewer than two points, values do not rise, or a share is not from 0 to 1.

    Examples
    --------
    >>> share_alive([(0.7, 0.3), (0.9, 0.7)], [0.5, 0.8, 1.0]).round(2).tolist()
    [0.3, 0.5, 0.7]
    """
    with Faults() as faults:
        if len(points) < 2:
            faults.add("points", f"{len(points)} points", "two or more", "Add points.")
        elif any(not b[0] > a[0] for a, b in itertools.pairwise(points)):
            faults.add("points", f"values {[p[0] for p in points]}", "values that rise", "Sort the points by value.")
        if any(not 0 <= p[1] <= 1 for p in points):
            faults.add("points", f"shares {[p[1] for p in points]}", "numbers from 0 to 1", "Correct the shares.")
    at = np.asarray(value, np.float64)
    found = np.interp(at, [p[0] for p in points], [p[1] for p in points])
    return np.asarray(np.where(np.isnan(at), np.nan, found), np.float64)


def beyond(points: Sequence[Sequence[float]], value: ArrayLike) -> NDArray[np.bool_]:
    """Return where values lie outside the points of a curve, so that its answer there is a guess.

    Parameters
    ----------
    points : sequence of (value, share)
        Rising in value.
    value : array_like
        In the unit of the points; NaN lies outside.
    """
    at = np.asarray(value, np.float64)
    return np.asarray(~((at >= points[0][0]) & (at <= points[-1][0])), np.bool_)
