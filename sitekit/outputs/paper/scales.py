"""Round map scales, and scale bars in metres and feet."""

from __future__ import annotations

import math

from sitekit.base.units import METRES_PER
from sitekit.outputs.paper.pen import Pen

# One inch has 72 points and 25.4 mm exactly.
POINTS_PER_METRE = 72.0 / 0.0254
_STEPS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0)  # as on rulers of draughtsmen
_BAR_STEPS = (1.0, 2.0, 5.0, 10.0)
MOST_FEET = 20_000.0  # house choice: longer distances are read in nautical miles


def map_scale(wide_m: float, high_m: float, room: tuple[float, float]) -> int:
    """Return the denominator of the largest round scale (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 7.5 × 10ⁿ) at which an area fits.

    Parameters
    ----------
    wide_m, high_m : float
        Size of the area [m], ≥ 0.
    room : tuple of float
        Width and height of the box [pt].

    Examples
    --------
    >>> map_scale(100.0, 50.0, (500.0, 500.0))
    1000
    """
    need = max(wide_m / room[0], high_m / room[1], 1e-6) * POINTS_PER_METRE
    power = 10.0 ** math.floor(math.log10(need))
    for step in _STEPS:
        if step * power >= need * (1 - 1e-9) and step * power >= 10 and step * power % 1 == 0:
            return round(step * power)
    return 10


def points_per_metre(denominator: int) -> float:
    """Return how many points one metre takes at a scale of 1 : `denominator`."""
    return POINTS_PER_METRE / denominator


def scale_text(denominator: int) -> str:
    """Return a scale as text: `1 : 2 500`, thousands set apart."""
    return f"1 : {denominator:,}".replace(",", " ")


def bar_step(metres: float) -> float:
    """Return the largest of 1, 2, 5 × 10ⁿ that is not above a length."""
    power = 10.0 ** math.floor(math.log10(metres))
    return max(s * power for s in _BAR_STEPS if s * power <= metres * (1 + 1e-9))


def scale_bars(pen: Pen, x: float, y: float, denominator: int, room: float) -> None:
    """Draw two scale bars, metres above feet (nautical miles where a bar is over 20,000 ft), `room` wide, 40 pt high.

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    x, y : float
        Lower left corner [pt].
    denominator : int
        Of the map's scale.
    room : float
        Width [pt].
    """
    feet = (room - 44.0) / (points_per_metre(denominator) * METRES_PER["ft"])
    lower = "ft" if 4 * bar_step(feet / 4) <= MOST_FEET else "nmi"
    for k, (unit, big, per) in enumerate(((lower, lower, METRES_PER[lower]), ("m", "km", 1.0))):
        point = points_per_metre(denominator) * per
        step = bar_step((room - 44.0) / point / 4)
        factor, name = (1000.0, big) if unit == "m" and 4 * step >= 2000 else (1.0, unit)
        low = y + 4 + k * 20
        for i in range(4):
            box = (x + 4 + i * step * point, low, x + 4 + (i + 1) * step * point, low + 4)
            pen.box(box, 0.5, fill=0.0 if i % 2 == 0 else 1.0)
        for i in (0, 2, 4):
            pen.text(x + 4 + i * step * point, low + 6, f"{i * step / factor:g}", 6.5, align="centre")
        pen.text(x + 8 + 4 * step * point, low - 1, name, 6.5)
