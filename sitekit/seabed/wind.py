"""What the weather brings: a table of winds, a table of sea from outside, an hourly series made into a table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults

SHARE_TOLERANCE = 0.005  # shares are printed with two or three decimals; ours, no source
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class WindTable:
    """Winds and the share of time each blows.

    Parameters
    ----------
    direction_deg : array, shape (n,)
        Where the wind comes from, degrees clockwise from true north, 0 to 360.
    speed_ms : array, shape (n,)
        Speed at 10 m [m/s]; 0 = calm (its direction does not count).
    share : array, shape (n,)
        Share of time, 0 to 1; they sum to 1 within 0.005 and are then scaled to exactly 1.

    Raises
    ------
    InputFault
        With every fault of the table at once.
    """

    direction_deg: FloatArray
    speed_ms: FloatArray
    share: FloatArray

    def __post_init__(self) -> None:
        _settle(self, "wind table", ("direction_deg", "speed_ms"), {"speed_ms": (0.0, 90.0, "m/s")})


@dataclass(frozen=True)
class SwellTable:
    """Sea that arrives at the open edge of the grid from outside (swell with the wind sea it carries).

    Parameters
    ----------
    direction_deg : array, shape (n,)
        Where it comes from, degrees clockwise from true north, 0 to 360.
    height_m : array, shape (n,)
        Significant height in deep water [m]; 0 = none.
    period_s : array, shape (n,)
        Peak period [s], above 0.
    share : array, shape (n,)
        Share of time, 0 to 1, summing to 1 as in `WindTable`.

    Raises
    ------
    InputFault
        With every fault of the table at once.
    """

    direction_deg: FloatArray
    height_m: FloatArray
    period_s: FloatArray
    share: FloatArray

    def __post_init__(self) -> None:
        bounds = {"height_m": (0.0, 30.0, "m"), "period_s": (0.5, 30.0, "s")}
        _settle(self, "swell table", ("direction_deg", "height_m", "period_s"), bounds)


@dataclass(frozen=True)
class Summary:
    """What an hourly series held.

    Parameters
    ----------
    hours : int
        Rows given.
    missing : int
        Rows without speed, or without direction while it blew; left out of the table.
    calm_share : float
        Share of the used rows with no wind.
    """

    hours: int
    missing: int
    calm_share: float


def table_from_hours(
    direction_deg: ArrayLike,
    speed_ms: ArrayLike,
    *,
    sectors: int = 16,
    speed_edges_ms: ArrayLike = (0.0, 3.0, 6.0, 9.0, 12.0, 16.0, 90.0),
    most_missing: float = 0.25,
) -> tuple[WindTable, Summary]:
    """Return the wind table of an hourly series.

    Parameters
    ----------
    direction_deg, speed_ms : array, shape (hours,)
        Direction the wind comes from [deg], speed at 10 m [m/s]; NaN where missing.
    sectors : int
        Equal sectors, the first centred on north, 8 to 36.
    speed_edges_ms : array
        Rising edges of the speed classes [m/s]; a class holds its lower edge.
    most_missing : float
        Largest share of hours that may be missing; default as `max_unknown_weight` of the plan, ours.

    Returns
    -------
    table : WindTable
        One row per sector and class that occurs, at the mean speed of its hours; one row for calms.
    summary : Summary
        Gaps and calms. Rule for gaps: missing hours are left out, as if they were like the others.

    Raises
    ------
    InputFault
        If the two differ in length, values are out of range, or too many hours are missing.

    Examples
    --------
    >>> table, summary = table_from_hours([90, 91, 0, float("nan")], [5, 5, 0, 4], most_missing=0.5)
    >>> table.direction_deg, table.speed_ms, table.share, summary.missing
    (array([ 0., 90.]), array([0., 5.]), array([0.33333333, 0.66666667]), 1)
    """
    direction, speed = np.asarray(direction_deg, np.float64), np.asarray(speed_ms, np.float64)
    edges = np.asarray(speed_edges_ms, np.float64)
    with Faults() as faults:
        if direction.shape != speed.shape or direction.ndim != 1 or direction.size == 0:
            faults.add(
                "wind series", f"{direction.shape} and {speed.shape}", "two columns of equal length", "Check the file."
            )
        bad = direction[(direction < 0) | (direction > 360)]
        if bad.size:
            faults.add(
                "direction_deg",
                f"{bad.size} values such as {bad[0]}",
                "0 to 360 degrees",
                "Set missing values to empty.",
            )
        fast = speed[(speed < 0) | (speed > 90)]
        if fast.size:
            faults.add(
                "speed_ms", f"{fast.size} values such as {fast[0]}", "0 to 90 m/s", "Set missing values to empty."
            )
        if not 8 <= sectors <= 36:
            faults.add("sectors", f"{sectors}", "8 to 36", "16 suits most tables.")
        if edges.size < 2 or np.any(np.diff(edges) <= 0) or edges[0] != 0:
            faults.add("speed_edges_ms", f"{edges.tolist()}", "rising edges from 0", "List the edges in m/s.")
        elif speed.size and np.nanmax(speed, initial=0.0) >= edges[-1]:
            faults.add("speed_edges_ms", f"last edge {edges[-1]} m/s", f"above {np.nanmax(speed)}", "Add a class.")
    usable = ~np.isnan(speed) & (~np.isnan(direction) | (speed == 0))
    missing = int(speed.size - usable.sum())
    with Faults() as faults:
        if missing > most_missing * speed.size:
            faults.add(
                "wind series",
                f"{missing} of {speed.size} hours missing",
                f"at most {most_missing:.0%}",
                "Use a fuller series, or raise the limit and say so.",
            )
    direction, speed = direction[usable], speed[usable]
    calm = speed == 0
    sector = (np.floor(np.where(calm, 0.0, direction) / (360.0 / sectors) + 0.5).astype(np.int64)) % sectors
    classes = np.searchsorted(edges, speed, side="right") - 1
    key = np.where(calm, -1, sector * (edges.size - 1) + classes)
    found, place, count = np.unique(key, return_inverse=True, return_counts=True)
    mean = np.bincount(place, weights=speed) / count
    centre = np.where(found < 0, 0.0, (found // (edges.size - 1)) * (360.0 / sectors))
    table = WindTable(centre, mean, count / count.sum())
    return table, Summary(int(usable.size), missing, float(calm.mean()))


def _settle(table: object, name: str, columns: tuple[str, ...], bounds: dict[str, tuple[float, float, str]]) -> None:
    """Check all columns, raise every fault, then store plain float64 copies that cannot be written to."""
    held = {c: np.array(getattr(table, c), dtype=np.float64, ndmin=1) for c in (*columns, "share")}
    size = held["share"].size
    with Faults() as faults:
        for column, values in held.items():
            if values.ndim != 1 or values.size != size or size == 0:
                faults.add(
                    f"{name}: {column}", f"{values.shape} values", f"{size} rows (at least 1)", "Fill every row."
                )
            low, high, unit = {"direction_deg": (0.0, 360.0, "degrees"), "share": (0.0, 1.0, "")}.get(column) or bounds[
                column
            ]
            wrong = values[~((values >= low) & (values <= high))]
            if wrong.size:
                advice = "Divide percent by 100." if column == "share" else "Correct the rows, or leave them out."
                faults.add(
                    f"{name}: {column}",
                    f"{wrong.size} values such as {wrong[0]:g}",
                    f"{low:g} to {high:g} {unit}".strip(),
                    advice,
                )
        total = float(held["share"].sum())
        if not abs(total - 1) <= SHARE_TOLERANCE:
            faults.add(
                f"{name}: share", f"the shares sum to {total:g}", "1 (within 0.005)", "Add a row for calms, or rescale."
            )
    held["share"] = held["share"] / held["share"].sum()
    held["direction_deg"] = held["direction_deg"] % 360.0
    for column, values in held.items():
        values.flags.writeable = False
        object.__setattr__(table, column, values)
