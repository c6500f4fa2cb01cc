"""`dive_sheets.pdf`: front pages, boat list, then site by site the overview and each plot's planter and recorder pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from sitekit.outputs.dive_pdf.boat import overview, waypoint_pages
from sitekit.outputs.dive_pdf.front import cover, how_to, letter_pages
from sitekit.outputs.dive_pdf.guided import guided_planter_pages, guided_recorder_pages
from sitekit.outputs.dive_pdf.rows import Draw, planter_pages, recorder_pages
from sitekit.outputs.dive_pdf.scene import DivePack, PlotPages
from sitekit.outputs.paper.book import PAPERS, write_book
from sitekit.outputs.paper.fonts import check_scripts


def write_dive_sheets(path: Path, pack: DivePack) -> int:
    """Write the diver's pack, whole or not at all; return its number of pages.

    Parameters
    ----------
    path : Path
        The `dive_sheets.pdf`.
    pack : DivePack
        Finished figures.

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
            *((f"genet {genet!r}", genet) for _, _, genet in pack.letters),
        ]
    )
    pages = dive_pages(pack)
    write_book(path, pages, PAPERS[pack.paper], title=f"Dive sheets, {pack.about.name}", subject=pack.about.line)
    return len(pages)


def dive_pages(pack: DivePack) -> list[Draw]:
    """Return every page of the pack in order."""
    paper = PAPERS[pack.paper]
    pages: list[Draw] = [cover(pack), how_to(pack), *letter_pages(pack, paper), *waypoint_pages(pack, paper)]

    def of_plot(plot: PlotPages) -> list[Draw]:
        guided = plot.facts["kind"] == "guided" and not plot.circle
        return [
            *(guided_planter_pages if guided else planter_pages)(plot, pack.about, paper),
            *(guided_recorder_pages if guided else recorder_pages)(plot, pack.about, paper),
        ]

    return [*pages, *site_by_site(pack, of_plot)]


def site_by_site(pack: DivePack, pages_of: Callable[[PlotPages], list[Draw]]) -> list[Draw]:
    """Return the pages of every plot in order, the overview of a site before those of its first plot."""
    pages: list[Draw] = []
    shown: set[str] = set()
    sites = {s.site: s for s in pack.sites}
    for plot in pack.plots:
        site = str(plot.facts["site"])
        if site not in shown and site in sites:
            pages.append(overview(pack, sites[site]))
            shown.add(site)
        pages += pages_of(plot)
    return pages
