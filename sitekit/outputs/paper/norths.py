"""True, grid and magnetic north in one figure, drawn at their angles on a map whose grid north is up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sitekit.base.wording import say
from sitekit.outputs.paper.fonts import fitted
from sitekit.outputs.paper.pen import Pen

WIDE, HIGH = 150.0, 92.0  # the figure with its text [pt]


@dataclass(frozen=True)
class Norths:
    """The three norths at one place.

    Parameters
    ----------
    convergence_deg : float
        From true to grid north, clockwise positive [degrees].
    declination_deg : float or None
        From true to magnetic north, east positive [degrees]; None where no model holds: no needle is drawn.
    change_deg_per_year : float
        Of the declination [degrees].
    uncertainty_deg : float
        Of the declination [degrees].
    model, date : str
        Model and day of the declination.
    grid : str
        Name of the working system.
    """

    convergence_deg: float
    declination_deg: float | None
    change_deg_per_year: float
    uncertainty_deg: float
    model: str
    date: str
    grid: str

    def sentences(self) -> list[str]:
        """Return the figure's text, one fact a sentence."""
        tilt = self.convergence_deg
        found = [say("paper.grid", grid=self.grid, degrees=f"{abs(tilt):.2f}°", side=_side(tilt))]
        if self.declination_deg is None:
            return [*found, say("paper.no_needle", date=self.date)]
        needle = say(
            "paper.needle",
            degrees=f"{abs(self.declination_deg):.1f}°",
            side=_side(self.declination_deg),
            error=f"{self.uncertainty_deg:.1f}°",
            model=self.model,
            date=self.date,
            change=f"{abs(self.change_deg_per_year):.2f}°",
            way=_side(self.change_deg_per_year),
        )
        return [*found, needle]


def _side(degrees: float) -> str:
    return say("paper.east" if degrees >= 0 else "paper.west")


def draw_norths(pen: Pen, x: float, y: float, norths: Norths, room: tuple[float, float] = (WIDE, HIGH)) -> None:
    """Draw the figure in a box whose lower left corner is (x, y).

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    x, y : float
        Lower left corner [pt].
    norths : Norths
        Angles; lengths of the needles differ so that their letters never meet.
    room : tuple of float
        Width and height [pt].
    """
    base = (x + 30.0, y + 6.0)
    tall = room[1] - 26.0
    true = -norths.convergence_deg
    needles = [("true", true, tall, 1.2), ("grid", 0.0, tall * 0.72, 0.6)]
    if norths.declination_deg is not None:
        needles.append(("magnetic", true + norths.declination_deg, tall * 0.46, 0.6))
    for name, degrees, length, weight in needles:
        _needle(pen, base, degrees, length, weight, name)
    fit = fitted(
        " ".join(norths.sentences()), (room[0] - 64.0, room[1] - 4), sizes=(6.5, 6, 5.5, 5), where="text of the norths"
    )
    pen.lines(x + 62.0, y + room[1] - 2, fit)


def _needle(pen: Pen, base: tuple[float, float], degrees: float, length: float, weight: float, name: str) -> None:
    turn = math.radians(degrees)
    ahead, side = (math.sin(turn), math.cos(turn)), (math.cos(turn), -math.sin(turn))
    tip = (base[0] + length * ahead[0], base[1] + length * ahead[1])
    pen.line([base, tip], weight)
    for hand in (1, -1) if name != "magnetic" else (1,):  # half a barb for the needle, as charts draw it
        barb = (tip[0] - 7 * ahead[0] + hand * 2.6 * side[0], tip[1] - 7 * ahead[1] + hand * 2.6 * side[1])
        pen.line([tip, barb], weight)
    # letters stand beyond the tip; the grid's and the needle's beside it, so that no other needle runs through them
    letters = say(f"paper.{name}_north")
    if name == "true":
        pen.text(tip[0], tip[1] + 3, letters, 7, bold=True, align="centre")
    elif name == "grid":
        pen.text(tip[0] + 4, tip[1] - 5, letters, 6.5)
    else:
        pen.text(
            tip[0] + (-4 if degrees < 0 else 4), tip[1] - 2, letters, 6.5, align="right" if degrees < 0 else "left"
        )
