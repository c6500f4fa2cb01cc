"""The scout's form: one page per site, to be filled in by pencil on the boat, and the same questions as a CSV to type.

Black ink, nothing smaller than 8 pt but the foot, boxes at least 9 mm high to write in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sitekit.base.notation import angle_text
from sitekit.base.wording import caution, length_text, retell, say, wording
from sitekit.outputs.gpx import Waypoint, write_gpx
from sitekit.outputs.paper.book import PAPERS, Draw, write_book
from sitekit.outputs.paper.fonts import check_scripts, fitted, width
from sitekit.outputs.paper.pen import Pen
from sitekit.outputs.tables import write_csv

MARGIN = 36.0  # half an inch [pt]
HIGH = 30.0  # of a row to write in: 10.6 mm [pt]
BOAT_DECIMALS = 3  # of a minute


@dataclass(frozen=True)
class ScoutSite:
    """One site to look at.

    Parameters
    ----------
    code, name : str
        Code, and the name for people.
    waypoint : str
        Name in a receiver: A–Z and 0–9.
    longitude_deg, latitude_deg : float
        WGS 84.
    known : tuple of str
        What the layers say about it, to be confirmed or corrected.
    open_questions : tuple of str
        Go/no-go questions without a yes.
    """

    code: str
    name: str
    waypoint: str
    longitude_deg: float
    latitude_deg: float
    known: tuple[str, ...]
    open_questions: tuple[str, ...]


@dataclass(frozen=True)
class ScoutBook:
    """What stands on every form.

    Parameters
    ----------
    plan, run_id, date, datum : str
        Printed in the head and the foot.
    paper : str
        `letter` or `A4`.
    fictional : bool
        Stamps FICTIONAL.
    points_m : float
        Distance of the outer four looks at the bottom from the middle one [m].
    points : tuple of str
        Names of the five looks.
    classes : tuple of str
        Bottom classes of the plan to tick.
    answers : tuple of str
        Go, no-go, unsure.
    cautions : tuple of str
        In the foot.
    """

    plan: str
    run_id: str
    date: str
    datum: str
    paper: str
    fictional: bool
    points_m: float
    points: tuple[str, ...]
    classes: tuple[str, ...]
    answers: tuple[str, ...]
    cautions: tuple[str, ...]


def write_forms(path: Path, sites: Sequence[ScoutSite], book: ScoutBook) -> None:
    """Write the forms as a PDF, one page per site.

    Raises
    ------
    InputFault
        If a name is in a script the font lacks, or too long for its box; nothing is written then.
    """
    check_scripts([("plan.name", book.plan), *((f"site {s.code}", f"{s.name} {' '.join(s.known)}") for s in sites)])
    sheets = [_sheet(site, book) for site in sites]
    write_book(path, sheets, PAPERS[book.paper], title=f"Scout forms, {book.plan}", subject=f"run {book.run_id}")


def write_scout_tables(
    folder: Path, sites: Sequence[ScoutSite], book: ScoutBook, *, columns: Sequence[str]
) -> list[str]:
    """Write waypoints as CSV and GPX, and the form as a CSV to type into; return the names of the files.

    Parameters
    ----------
    folder : Path
        Where they go.
    sites, book
        As for the forms.
    columns : sequence of str
        Of the form's CSV, in order; site and position are filled in.
    """
    rows = [
        {
            "waypoint": s.waypoint,
            "site": s.code,
            "name": s.name,
            "latitude_ddm": angle_text(s.latitude_deg, "lat", "DDM", BOAT_DECIMALS),
            "longitude_ddm": angle_text(s.longitude_deg, "lon", "DDM", BOAT_DECIMALS),
            "latitude_deg": s.latitude_deg,
            "longitude_deg": s.longitude_deg,
            "note": ("FICTIONAL. " if book.fictional else "") + "WGS 84; not for navigation",
        }
        for s in sites
    ]
    write_csv(folder / "scout_waypoints.csv", pd.DataFrame(rows), decimals={"latitude_deg": 6, "longitude_deg": 6})
    pins = [
        Waypoint(s.waypoint, s.longitude_deg, s.latitude_deg, f"{r['note']}. Site {s.code}, {s.name}: to scout.")
        for s, r in zip(sites, rows, strict=True)
    ]
    about = f"{'FICTIONAL. ' if book.fictional else ''}Sites to scout, run {book.run_id}. Not for navigation."
    write_gpx(folder / "scout_waypoints.gpx", pins, name=f"{book.plan}: scout", description=about)
    blank = pd.DataFrame([{**dict.fromkeys(columns, ""), "site": s.code} for s in sites], columns=list(columns))
    blank["longitude_deg"] = [s.longitude_deg for s in sites]
    blank["latitude_deg"] = [s.latitude_deg for s in sites]
    write_csv(folder / "scout_form.csv", blank, decimals={"latitude_deg": 6, "longitude_deg": 6})
    return ["scout_form.csv", "scout_waypoints.csv", "scout_waypoints.gpx"]


def _sheet(site: ScoutSite, book: ScoutBook) -> Draw:
    def draw(pen: Pen, number: int, total: int) -> None:
        left, right = MARGIN, pen.width - MARGIN
        y = _head(pen, site, book, left, right)
        y = _known(pen, site, left, right, y)
        y = _fields(
            pen,
            [(say("scout.date"), 0.22), (say("scout.observer"), 0.48), (say("scout.visibility"), 0.30)],
            left,
            right,
            y,
        )
        y = _fields(
            pen,
            [(say("scout.depth_read"), 0.36), (say("scout.time"), 0.28), (say("scout.tide"), 0.36)],
            left,
            right,
            y,
        )
        y = _bottom(pen, book, left, right, y)
        y = _fields(
            pen,
            [(say("scout.macroalgae"), 0.34), (say("scout.predators"), 0.66)],
            left,
            right,
            y,
        )
        y = _fields(pen, [(say("scout.disease"), 1.0)], left, right, y)
        force = [say(f"scout.{k}") for k in ("none", "light", "strong")]
        y = _ticks(pen, [(say("scout.current"), force), (say("scout.surge"), force)], left, right, y)
        anchoring = [say(f"scout.{k}") for k in ("sand", "mooring", "no_place")]
        y = _ticks(pen, [(say("scout.anchoring"), anchoring)], left, right, y)
        y = _fields(pen, [(say("scout.photos"), 0.5), (say("scout.camera"), 0.5)], left, right, y)
        y = _questions(pen, site, left, right, y)
        y = _ticks(pen, [(say("scout.plant"), [say(f"scout.answer_{a}") for a in book.answers])], left, right, y)
        foot = MARGIN + 34
        _note(pen, left, right, y, foot + 8)
        _foot(pen, book, left, right, foot, number, total)

    return draw


def _head(pen: Pen, site: ScoutSite, book: ScoutBook, left: float, right: float) -> float:
    top = pen.height - MARGIN
    edge = right
    if book.fictional:
        stamp = say("fictional")
        wide = width(stamp, 10, True) + 8
        pen.box((edge - wide, top - 16, edge, top), 1.2)
        pen.text(edge - wide + 4, top - 12, stamp, 10, bold=True)
        edge -= wide + 6
    fit = fitted(
        say("scout.title", site=site.code, name=site.name),
        (edge - left, 34),
        sizes=(16, 14, 12, 10),
        bold=True,
        where=f"site {site.code}, name",
    )
    y = pen.lines(left, top, fit) - 6
    lat = angle_text(site.latitude_deg, "lat", "DDM", BOAT_DECIMALS)
    lon = angle_text(site.longitude_deg, "lon", "DDM", BOAT_DECIMALS)
    pen.text(left, y - 11, f"{lat}   {lon}", 13, bold=True)
    pen.text(right, y - 11, say("scout.waypoint", name=site.waypoint), 9, align="right")
    return y - 19


def _known(pen: Pen, site: ScoutSite, left: float, right: float, y: float) -> float:
    fit = fitted(
        say("scout.maps", facts="; ".join(site.known)),
        (right - left, 46),
        sizes=(9, 8, 7.5, 7),
        where=f"site {site.code}, facts",
    )
    return pen.lines(left, y, fit) - 5


def _fields(pen: Pen, cells: Sequence[tuple[str, float]], left: float, right: float, y: float) -> float:
    """Draw boxes to write in with their label on top; shares of the width."""
    x = left
    for label, share in cells:
        wide = (right - left) * share
        pen.box((x, y - HIGH - 10, x + wide, y), 0.7)
        pen.text(x + 3, y - 10, label, 8.5)
        x += wide
    return y - HIGH - 10


def _bottom(pen: Pen, book: ScoutBook, left: float, right: float, y: float) -> float:
    classes = [*book.classes[:5], say("scout.other")]
    first = 108.0
    wide = (right - left - first) / len(classes)
    pen.box((left, y - 28, right, y), 0.7)
    for k, text in enumerate((say("scout.bottom"), say("scout.outer", distance=length_text(book.points_m)))):
        fit = fitted(text, (first - 6, 12), sizes=(8, 7.5, 7, 6.5, 6), where="heading of the bottom")
        pen.text(left + 3, y - 10 - 12 * k, text, fit.size)
    for k, name in enumerate(classes):
        fit = fitted(name, (wide - 4, 26), sizes=(8, 7.5, 7, 6.5), where="bottom class")
        pen.lines(left + first + k * wide + 2, y - 2, fit)
    y -= 28
    for point in book.points:
        pen.box((left, y - HIGH * 0.8, right, y), 0.5)
        pen.text(left + 3, y - HIGH * 0.5 - 2, say(f"scout.point_{point}"), 9, bold=True)
        for k in range(len(classes)):
            x = left + first + k * wide
            pen.line([(x, y), (x, y - HIGH * 0.8)], 0.4)
            if k < len(classes) - 1:
                pen.box((x + wide / 2 - 5, y - HIGH * 0.4 - 5, x + wide / 2 + 5, y - HIGH * 0.4 + 5), 0.7)
        y -= HIGH * 0.8
    return y


def _ticks(pen: Pen, groups: Sequence[tuple[str, Sequence[str]]], left: float, right: float, y: float) -> float:
    pen.box((left, y - HIGH, right, y), 0.7)
    x, middle = left + 3, y - HIGH / 2
    for label, words in groups:
        pen.text(x, middle - 3, label, 8)
        x += width(label, 8) + 14
        for word in words:
            pen.box((x, middle - 5, x + 10, middle + 5), 0.7)
            pen.text(x + 14, middle - 3, word, 9)
            x += 14 + width(word, 9) + 18
        x += 12
    return y - HIGH


def _questions(pen: Pen, site: ScoutSite, left: float, right: float, y: float) -> float:
    """Draw the go/no-go questions that are still open, with room for an answer."""
    for question in site.open_questions[:4]:
        pen.box((left, y - HIGH * 0.8, right, y), 0.5)
        middle = y - HIGH * 0.4
        fit = fitted(
            say("scout.open", question=retell(question)),
            (right - left - 190, HIGH * 0.8),
            sizes=(8, 7.5, 7, 6.5),
            where=f"site {site.code}, question",
        )
        pen.lines(left + 3, middle + fit.height / 2, fit)
        x = right - 180
        for word in (say("scout.yes"), say("scout.no"), say("scout.unknown")):
            pen.box((x, middle - 5, x + 10, middle + 5), 0.7)
            pen.text(x + 14, middle - 3, word, 9)
            x += 60
        y -= HIGH * 0.8
    return y


def _note(pen: Pen, left: float, right: float, y: float, bottom: float) -> None:
    pen.box((left, bottom, right, y), 0.7)
    pen.text(left + 3, y - 10, say("scout.why"), 8)


def _foot(pen: Pen, book: ScoutBook, left: float, right: float, top: float, number: int, total: int) -> None:
    said = " ".join((say("scout.foot", datum=book.datum), *(caution(c) for c in book.cautions)))
    if not wording().reviewed:
        said = f"{say('unreviewed')} · {said}"
    high = 36 if wording().reviewed else 46  # the English stands beside each caution
    fit = fitted(said, (right - left - 130, high), sizes=(6.5, 6, 5.5, 5, 4.5), where="foot of the form")
    pen.lines(left, top, fit)
    pen.text(right, top - 7, say("page_of", number=number, total=total), 8, align="right", bold=True)
    fit = fitted(book.plan, (124, 16), sizes=(6.5, 6, 5.5, 5), where="plan.name")
    for k, line in enumerate((*fit.lines, f"{book.date}, {say('run', run=book.run_id)}")):
        pen.text(right, top - 16 - 7.5 * k, line, fit.size, align="right")
