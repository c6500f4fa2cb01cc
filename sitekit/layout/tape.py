"""Where a point stands along and beside a tape line.

Positions are map positions (projected metres); along and offset are distances on the bottom. Bearings here are grid
bearings: the caller turns them into true ones. Rounding is `readings`' work.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Fault, InputFault

Floats = NDArray[np.float64]


def direction(bearing_deg: float) -> tuple[float, float]:
    """Return the sine and cosine of a bearing [°], exact at the four quarters."""
    quarter, rest = divmod(bearing_deg % 360.0, 90.0)
    if rest == 0.0:
        return ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0))[int(quarter) % 4]
    return math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))


@dataclass(frozen=True)
class TapeLine:
    """A straight tape between two pins.

    Parameters
    ----------
    pin_x_m, pin_y_m : float
        First pin, easting and northing [m].
    bearing_grid_deg : float
        From the first to the second pin, clockwise from grid north [°].
    length_m : float
        Map distance between the pins [m], > 0.
    along_ratio, offset_ratio : float
        Distance along the bottom per map distance, along and across the line, ≥ 1 (1 on flat bottom).

    Raises
    ------
    InputFault
        If the length is not positive or a ratio is below 1.
    """

    pin_x_m: float
    pin_y_m: float
    bearing_grid_deg: float
    length_m: float
    along_ratio: float = 1.0
    offset_ratio: float = 1.0

    def __post_init__(self) -> None:
        numbers = (
            self.pin_x_m,
            self.pin_y_m,
            self.bearing_grid_deg,
            self.length_m,
            self.along_ratio,
            self.offset_ratio,
        )
        if not (
            all(map(math.isfinite, numbers)) and self.length_m > 0 and min(self.along_ratio, self.offset_ratio) >= 1
        ):
            raise InputFault(
                Fault("tape line", f"{self}", "finite numbers, length above 0 m, ratios from 1", "Check the two pins.")
            )

    @property
    def second_pin(self) -> tuple[float, float]:
        """Easting and northing of the second pin [m]."""
        x, y = self.to_map([self.tape_m], [0.0])
        return float(x[0]), float(y[0])

    @property
    def tape_m(self) -> float:
        """Distance along the bottom between the pins [m]."""
        return self.length_m * self.along_ratio

    def to_readings(self, x_m: ArrayLike, y_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return along and offset [m along the bottom] of map points; offset is negative to the left of the line."""
        dx = np.asarray(x_m, np.float64) - self.pin_x_m
        dy = np.asarray(y_m, np.float64) - self.pin_y_m
        s, c = direction(self.bearing_grid_deg)
        return (dx * s + dy * c) * self.along_ratio, (dx * c - dy * s) * self.offset_ratio

    def to_map(self, along_m: ArrayLike, offset_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return easting and northing [m] of readings [m along the bottom]."""
        u = np.asarray(along_m, np.float64) / self.along_ratio
        v = np.asarray(offset_m, np.float64) / self.offset_ratio
        s, c = direction(self.bearing_grid_deg)
        return self.pin_x_m + u * s + v * c, self.pin_y_m + u * c - v * s


def line_between(x1_m: float, y1_m: float, x2_m: float, y2_m: float) -> TapeLine:
    """Return the flat-bottom tape line from one pin to another (map positions [m]).

    Raises
    ------
    InputFault
        If both pins are the same point.
    """
    bearing = math.degrees(math.atan2(x2_m - x1_m, y2_m - y1_m)) % 360.0
    return TapeLine(x1_m, y1_m, bearing, math.hypot(x2_m - x1_m, y2_m - y1_m))


def bottom_distance(map_distance_m: ArrayLike, slope_deg: ArrayLike) -> Floats:
    """Return the distance along an even slope: map distance / cos(slope).

    Parameters
    ----------
    map_distance_m : array_like
        [m].
    slope_deg : array_like
        Steepness along the line, 0 to below 90 [°].

    Returns
    -------
    ndarray
        [m], never below the map distance: a separation planned on the map is kept, or more, on the bottom.
    """
    slope = np.asarray(slope_deg, np.float64)
    if not ((slope >= 0) & (slope < 90)).all():
        raise InputFault(Fault("slope_deg", f"{slope}", "0 to below 90", "Give degrees from the horizontal."))
    return np.asarray(np.asarray(map_distance_m, np.float64) / np.cos(np.radians(slope)))


def slope_ratios(x_m: ArrayLike, y_m: ArrayLike, depth_m: ArrayLike, *, bearing_grid_deg: float) -> tuple[float, float]:
    """Return bottom distance per map distance along and across a line, from the plane that fits the depths best.

    Parameters
    ----------
    x_m, y_m, depth_m : array_like, shape (n,)
        Points on the bottom [m]; NaN depths are left out.
    bearing_grid_deg : float
        Of the line [°].

    Returns
    -------
    tuple of float
        √(1 + g²) for the two slopes g of the plane; (1, 1) with fewer than three depths.
    """
    x, y, z = (np.asarray(v, np.float64).ravel() for v in (x_m, y_m, depth_m))
    known = np.isfinite(z)
    if int(known.sum()) < 3:
        return 1.0, 1.0
    x, y, z = x[known] - x[known].mean(), y[known] - y[known].mean(), z[known] - z[known].mean()
    gradient = np.linalg.lstsq(np.column_stack([x, y]), z, rcond=None)[0]
    s, c = direction(bearing_grid_deg)
    along, across = gradient[0] * s + gradient[1] * c, gradient[0] * c - gradient[1] * s
    return float(math.hypot(1.0, along)), float(math.hypot(1.0, across))


def two_distances(along_m: ArrayLike, offset_m: ArrayLike, *, baseline_m: float) -> tuple[Floats, Floats]:
    """Return the distances [m] from the first and from the second pin of points beside a tape of `baseline_m`."""
    along, offset = np.asarray(along_m, np.float64), np.asarray(offset_m, np.float64)
    return np.hypot(along, offset), np.hypot(along - baseline_m, offset)


def from_two_distances(
    from_first_m: ArrayLike, from_second_m: ArrayLike, *, baseline_m: float, side: str
) -> tuple[Floats, Floats]:
    """Return along and offset [m] of points measured with two tapes, one from each pin.

    Parameters
    ----------
    from_first_m, from_second_m : array_like
        [m], ≥ 0.
    baseline_m : float
        Distance between the pins [m], > 0.
    side : str
        `"right"` or `"left"` of the line seen from the first pin: two mirror points fit, so it must be said.

    Returns
    -------
    tuple of ndarray
        Along, and offset (negative on the left).

    Raises
    ------
    InputFault
        If the side is not said, or the tapes cannot meet (a + b < L or |a - b| > L).

    Notes
    -----
    along = (a² - b² + L²)/2L, offset = √(a² - along²).
    """
    a, b = np.asarray(from_first_m, np.float64), np.asarray(from_second_m, np.float64)
    if side not in ("left", "right"):
        raise InputFault(
            Fault("side", repr(side), "'left' or 'right'", "Say on which side of the tape the point lies.")
        )
    if not baseline_m > 0:
        raise InputFault(Fault("baseline_m", f"{baseline_m} m", "above 0 m", "Measure between the two pins."))
    slack = 1e-9 * baseline_m
    apart = (a + b < baseline_m - slack) | (np.abs(a - b) > baseline_m + slack)
    if apart.any():
        at = int(np.flatnonzero(np.atleast_1d(apart))[0])
        came = f"tapes of {np.atleast_1d(a)[at]:g} m and {np.atleast_1d(b)[at]:g} m from pins {baseline_m:g} m apart"
        raise InputFault(Fault("two tapes", came, "two lengths that can meet", "Measure this point again."))
    along = (a**2 - b**2 + baseline_m**2) / (2 * baseline_m)
    offset = np.sqrt(np.maximum(a**2 - along**2, 0.0))
    return np.asarray(along), np.asarray(offset if side == "right" else -offset)
