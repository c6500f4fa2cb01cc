"""Depth at a time: charted depth plus height of tide, and whether a person can work there.

Charted depths stand below a chart datum; a height of tide stands above the same datum. Nothing here predicts a tide.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults


def depth_at(charted_m: ArrayLike, tide_m: ArrayLike) -> NDArray[np.float64]:
    """Return the depth of water at a height of tide.

    For light at a stated tide, waves at low water, and the two depths on a dive sheet (charted, at the planned time).

    Parameters
    ----------
    charted_m : array
        Depth below chart datum, positive down [m]; NaN where unknown.
    tide_m : float or array
        Height of tide above the same datum [m]; negative below it.

    Returns
    -------
    array
        Depth [m]. Zero or less means dry at that time.

    Raises
    ------
    InputFault
        If the tide is not finite or is beyond ±20 m.

    Notes
    -----
    depth = charted depth + height of tide. The largest tidal ranges known are about 16 m, so 20 m is a slip of unit.

    References
    ----------
    `chart-depth`: chart-work practice, 6.2 m charted + 0.8 m tide = 7.0 m (trade value TV-138).

    Examples
    --------
    >>> depth_at([6.2, -0.5], 0.8)
    array([7. , 0.3])
    """
    tide = np.asarray(tide_m, dtype=np.float64)
    with Faults() as faults:
        if not np.all(np.isfinite(tide)) or np.any(np.abs(tide) > 20.0):
            faults.add(
                "tide_m",
                str(tide_m),
                "finite heights between -20 and 20 m above chart datum",
                "Give the height of tide in metres.",
            )
    return np.asarray(charted_m, dtype=np.float64) + tide


def least_depth(charted_m: ArrayLike, lowest_tide_m: float) -> NDArray[np.float64]:
    """Return the depth at the lowest tide of the season, not less than zero.

    Parameters
    ----------
    charted_m : array
        Depth below chart datum, positive down [m]; NaN where unknown.
    lowest_tide_m : float
        Lowest predicted height of tide in the working period, relative to the same datum [m].

    Returns
    -------
    array
        Depth [m], ≥ 0; 0 = falls dry; NaN stays NaN.

    Raises
    ------
    InputFault
        As `depth_at`.

    Examples
    --------
    >>> least_depth([0.3, 2.0], -0.4)
    array([0. , 1.6])
    """
    return np.maximum(depth_at(charted_m, lowest_tide_m), 0.0)


def workable(charted_m: ArrayLike, lowest_tide_m: float, least_work_depth_m: float) -> NDArray[np.bool_]:
    """Whether divers have enough water over the bottom even at the lowest tide.

    Keeps people out of the surf zone. `least_work_depth_m` is the team's own number: there is no default.

    Parameters
    ----------
    charted_m : array
        Depth below chart datum, positive down [m].
    lowest_tide_m : float
        Lowest predicted height of tide in the working period [m].
    least_work_depth_m : float
        Least depth of water in which the team works [m], ≥ 0.

    Returns
    -------
    array of bool
        False where shallower, and where the depth is unknown.

    Raises
    ------
    InputFault
        If `least_work_depth_m` is negative or not finite.

    Examples
    --------
    >>> workable([1.0, 2.0, float("nan")], -0.4, 1.5)
    array([False,  True, False])
    """
    with Faults() as faults:
        if not (math.isfinite(least_work_depth_m) and least_work_depth_m >= 0):
            faults.add(
                "least_work_depth_m",
                f"{least_work_depth_m} m",
                "a depth of 0 m or more",
                "Ask the dive supervisor for the least depth the team works in.",
            )
    enough: NDArray[np.bool_] = least_depth(charted_m, lowest_tide_m) >= least_work_depth_m  # NaN compares false
    return enough
