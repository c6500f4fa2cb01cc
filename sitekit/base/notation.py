"""Positions as people write them: decimal degrees (DD), decimal minutes (DDM), seconds (DMS).

Writing rounds the *total* first and splits afterwards, so that no text reads 18° 60.000′ and no sign gets lost at −0.5.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, NamedTuple

from sitekit.errors import Fault, InputFault

Style = Literal["DD", "DDM", "DMS"]
Axis = Literal["lat", "lon"]

# Boat receivers show minutes to 3 decimals (0.93 m off at most); corners of areas need 4 of a minute or 6 of a degree.
DECIMALS: dict[str, int] = {"DD": 6, "DDM": 4, "DMS": 2}
_LIMIT = {"lat": 90, "lon": 180}
_LETTERS = {"lat": ("N", "S"), "lon": ("E", "W")}


class Position(NamedTuple):
    """Longitude before latitude, WGS 84 unless stated otherwise [degrees]."""

    lon: float
    lat: float


def angle_text(degrees: float, axis: Axis, style: Style, decimals: int | None = None, *, marks: bool = True) -> str:
    """Return one coordinate as text, with its hemisphere letter; a value that rounds to zero reads N or E.

    Parameters
    ----------
    degrees : float
        −90…90 for `lat`, −180…180 for `lon`.
    axis : {"lat", "lon"}
        Decides width and letters.
    style : {"DD", "DDM", "DMS"}
        Notation.
    decimals : int, optional
        Of the last part; by default 6, 4 and 2.
    marks : bool
        With ° ′ ″, or with spaces only.

    Raises
    ------
    InputFault
        If the value is not a number or beyond its range.

    Examples
    --------
    >>> angle_text(18.99999999, "lat", "DDM", 3)
    '19° 00.000′ N'
    >>> angle_text(-0.5, "lat", "DDM", 3, marks=False)
    '00 30.000 S'
    """
    if not abs(degrees) <= _LIMIT[axis]:
        raise InputFault(
            Fault(axis, str(degrees), f"−{_LIMIT[axis]} to {_LIMIT[axis]} degrees", "Check order and sign.")
        )
    places = DECIMALS[style] if decimals is None else decimals
    per_degree = {"DD": 1, "DDM": 60, "DMS": 3600}[style]
    # repr gives the shortest decimal text of the float: 7.05 stays 7.05 although it is stored as 7.0499999…
    step = Decimal(1).scaleb(-places)
    total = (abs(Decimal(repr(float(degrees)))) * per_degree).quantize(step, rounding=ROUND_HALF_UP)
    letter = _LETTERS[axis][1 if degrees < 0 and total else 0]
    wide = len(str(_LIMIT[axis]))
    tail = 3 + places if places else 2  # two digits, point, decimals
    if style == "DD":
        whole = f"{total:f}"
        parts = [(whole, "°")]
    elif style == "DDM":
        whole_degrees, minutes = divmod(total, 60)
        parts = [(f"{int(whole_degrees):0{wide}d}", "°"), (f"{minutes:0{tail}f}", "′")]
    else:
        whole_degrees, rest = divmod(total, 3600)
        minutes, seconds = divmod(rest, 60)
        parts = [(f"{int(whole_degrees):0{wide}d}", "°"), (f"{int(minutes):02d}", "′"), (f"{seconds:0{tail}f}", "″")]
    return " ".join([*(text + (mark if marks else "") for text, mark in parts), letter])


def position_text(lon: float, lat: float, style: Style, decimals: int | None = None, *, marks: bool = True) -> str:
    """Return a position as text, latitude first as sailors and divers read it: `18° 15.2340′ N, 064° 50.1000′ W`."""
    return ", ".join(
        (angle_text(lat, "lat", style, decimals, marks=marks), angle_text(lon, "lon", style, decimals, marks=marks))
    )
