"""`survey_sheets.pdf`: what a diver takes along to find planted units again and to note how each is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sitekit.base.wording import say
from sitekit.outputs.dive_pdf.boat import waypoint_pages
from sitekit.outputs.dive_pdf.front import cover, how_to, letter_pages
from sitekit.outputs.dive_pdf.marks import ROW, tick_box
from sitekit.outputs.dive_pdf.rows import (
    Draw,
    cell,
    column_edges,
    reading_names,
    recorder_pages,
    table_frame,
    unit_cells,
)
from sitekit.outputs.dive_pdf.scene import DivePack, PlotPages, Unit
from sitekit.outputs.dive_pdf.sheets import site_by_site
from sitekit.outputs.paper.book import PAPERS, write_book
from sitekit.outputs.paper.fonts import check_scripts
from sitekit.outputs.paper.pen import Box, Pen


def write_survey_sheets(path: Path, pack: DivePack) -> int:
    """Write the survey sheets, whole or not at all; return their number of pages.

    Parameters
    ----------
    path : Path
        The `survey_sheets.pdf`.
    pack : DivePack
        Plots with the units that are to be looked at.

    Raises
    ------
    InputFault
        If a name is in a script the font lacks, or too long for its place.
    FileFault
        If the file cannot be written.
    """
    check_scripts(
        [
            ("plan.name", pack.about.name),
            *((f"site {s.site}", s.name) for s in pack.sites),
            *((f"tag {u.tag!r}", u.tag) for p in pack.plots for u in p.units),
        ]
    )
    paper = PAPERS[pack.paper]
    pages: list[Draw] = [
        cover(pack, "front.survey_title"),
        how_to(pack),
        *letter_pages(pack, paper),
        *waypoint_pages(pack, paper),
        *site_by_site(
            pack,
            lambda plot: recorder_pages(plot, pack.about, paper, _table, head="head.survey", second_pin="pin_b_found"),
        ),
    ]
    write_book(path, pages, paper, title=f"Survey sheets, {pack.about.name}", subject=pack.about.line)
    return len(pages)


def _table(pen: Pen, plot: PlotPages, units: Sequence[Unit], box: Box) -> None:
    names = [*reading_names(plot), *(say(f"rows.{k}") for k in ("tag", "alive", "dead", "missing", "live", "cause"))]
    edges = column_edges(box, [36, 26, 42, 70, 44, 25, 25, 28, 33, 50])
    top = table_frame(pen, box, edges, names, len(units))
    for k, unit in enumerate(units):
        y = top - k * ROW
        unit_cells(pen, plot, unit, edges, y)
        cell(pen, edges[4], edges[5], y, unit.tag or say("rows.no_tag"))
        for column in (5, 6, 7):
            tick_box(pen, (edges[column] + edges[column + 1]) / 2, y - ROW / 2)
