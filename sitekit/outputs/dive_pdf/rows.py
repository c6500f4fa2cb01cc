"""The planter's and the recorder's tables of an exact sheet, page by page, the diagram beside the planter's rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sitekit.base.wording import say
from sitekit.outputs.dive_pdf.diagram import LEAST_SCALE, Diagram
from sitekit.outputs.dive_pdf.head import large_head, short_head
from sitekit.outputs.dive_pdf.marks import BIG, FOOT, MARGIN, ROW, foot, side_mark, tick_box
from sitekit.outputs.dive_pdf.scene import About, PlotPages, Unit, offset_text
from sitekit.outputs.paper.fonts import fitted, shrunk, width
from sitekit.outputs.paper.pen import Box, Pen

Draw = Callable[[Pen, int, int], None]
Table = Callable[[Pen, PlotPages, Sequence[Unit], Box], None]
HEAD_ROW = 15.0  # pt
WRITE = 28.0  # pt, line of fields to fill in
FIRST_HEAD, NEXT_HEAD = 31.0 + 91.0 + 52.0 + 49.0, 31.0 + 40.0  # pt, heights of the two heads


def page_size(paper: tuple[float, float]) -> tuple[int, int]:
    """Return how many rows fit a first and a following page."""
    room = paper[1] - 2 * MARGIN - FOOT - HEAD_ROW
    return int((room - FIRST_HEAD) // ROW), int((room - NEXT_HEAD) // ROW)


def parts(units: Sequence[Unit], first: int, following: int) -> list[tuple[Unit, ...]]:
    """Cut units into pages of nearly equal length, so that no last page holds one row only."""
    if len(units) <= first:
        return [tuple(units)]
    if first >= following:  # no head takes room: all pages share alike
        first = -(-len(units) // -(-len(units) // following))
    rest = len(units) - first
    pages = -(-rest // following)
    out, at = [tuple(units[:first])], first
    for k in range(pages):
        n = -(-(len(units) - at) // (pages - k))
        out.append(tuple(units[at : at + n]))
        at += n
    return out


def planter_pages(plot: PlotPages, about: About, paper: tuple[float, float]) -> list[Draw]:
    """Return the planter's pages of a plot: the diagram stands on each."""
    first, following = page_size(paper)
    side = _side_width(paper)
    # a wide plot or a circle: its diagram has the first page to itself
    tall = (MARGIN, MARGIN + FOOT, MARGIN + side, paper[1] - MARGIN - FIRST_HEAD)
    picture = Diagram(plot)
    alone = picture.scale(tall) < LEAST_SCALE
    cut = parts(plot.units, following if alone else first, following)
    if alone:
        cut = [(), *cut]

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            head = large_head if k == 0 else short_head
            top = head(pen, plot, say("head.planter"), say("part_of", number=k + 1, total=len(cut)))
            low = MARGIN + FOOT
            here = {u.number for u in cut[k]}
            if alone and k == 0:
                picture.draw(pen, (MARGIN, low, pen.width - MARGIN, top), {u.number for u in plot.units})
            else:
                picture.draw(pen, (MARGIN, low, MARGIN + side, top), here)
                box = (MARGIN + side + 4, low, pen.width - MARGIN, top)
                _planter_table(pen, plot, cut[k], box)
            foot(pen, about, number, total)

        return draw

    return [page(k) for k in range(len(cut))]


def recorder_pages(
    plot: PlotPages,
    about: About,
    paper: tuple[float, float],
    table: Table | None = None,
    *,
    head: str = "head.recorder",
    second_pin: str = "pin_b",
) -> list[Draw]:
    """Return the recorder's pages of a plot: start and end on the first, then `table`: readings, tags, photos."""
    draw_table = table or _recorder_table
    _, following = page_size(paper)
    cut = parts(plot.units, following - 2, following)

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            top = short_head(pen, plot, say(head), say("part_of", number=k + 1, total=len(cut)))
            if k == 0:
                top = fields(
                    pen,
                    top,
                    [
                        [say(f"fields.{k}") for k in ("start", "end", "date", "pair", "tape")],
                        [say(f"fields.{k}") for k in ("depth", "visibility", "pin_a", second_pin, "photo")],
                    ],
                )
            draw_table(pen, plot, cut[k], (MARGIN, MARGIN + FOOT, pen.width - MARGIN, top))
            foot(pen, about, number, total)

        return draw

    return [page(k) for k in range(len(cut))]


def fields(pen: Pen, top: float, rows: Sequence[Sequence[str]]) -> float:
    """Draw empty boxes to write in, each with its name; return the lower edge [pt]."""
    left, right = MARGIN, pen.width - MARGIN
    for row in rows:
        wide = (right - left) / len(row)
        for k, name in enumerate(row):
            pen.box((left + k * wide, top - WRITE, left + (k + 1) * wide, top), 0.8)
            fit = fitted(name, (wide - 4, 9), sizes=(6.5, 6, 5.5, 5, 4.5), where="field of a sheet")
            pen.lines(left + k * wide + 2, top - 1, fit)
        top -= WRITE
    return top - 3


def _side_width(paper: tuple[float, float]) -> float:
    return max(88.0, 0.24 * paper[0])


def column_edges(box: Box, shares: Sequence[float]) -> list[float]:
    """Return the left edges of columns, and the right edge of the last [pt]."""
    total, edges = sum(shares), [box[0]]
    for share in shares:
        edges.append(edges[-1] + share / total * (box[2] - box[0]))
    return edges


def table_frame(pen: Pen, box: Box, edges: Sequence[float], names: Sequence[str], rows: int) -> float:
    """Draw the headings and lines of a table; return the top of its first row [pt]."""
    top = box[3] - HEAD_ROW
    for k, name in enumerate(names):
        fit = fitted(
            name, (edges[k + 1] - edges[k] - 2, 10), sizes=(7.5, 7, 6.5, 6, 5.5, 5, 4.5), where="heading of a sheet"
        )
        pen.lines((edges[k] + edges[k + 1]) / 2, box[3] - 3, fit, align="centre")
    pen.line([(box[0], top), (box[2], top)], 1.2)
    across = [(box[0], top - k * ROW, box[2], top - k * ROW) for k in range(1, rows + 1)]
    down = [(edge, box[3] - 1, edge, top - rows * ROW) for edge in edges]
    pen.rules([*across, *down])
    return top


def cell(pen: Pen, left: float, right: float, top: float, text: str, *, bold: bool = False, size: float = BIG) -> None:
    """Print a text in the middle of a row's cell; a long one shrinks to fit, never below 10 pt."""
    size = shrunk(text, size, right - left - 2, bold=bold)
    pen.text((left + right) / 2, top - ROW / 2 - 0.36 * size, text, size, bold=bold, align="centre")


def readings(pen: Pen, plot: PlotPages, unit: Unit, edges: Sequence[float], top: float) -> None:
    """Print along and offset (or radius and angle) of a unit in two cells, with the shape of its side.

    Bold: on a page blurred by 1.3 mm thin figures ran out before thick ones (looked at).
    """
    cell(pen, edges[0], edges[1], top, f"{unit.along_m:.1f}", bold=True)
    if plot.circle:
        cell(pen, edges[1], edges[2], top, "—" if unit.angle_deg is None else f"{unit.angle_deg:.0f}°", bold=True)
        return
    side, shown = offset_text(unit.offset_m)
    text = f"{say(f'side.{side}')} {shown}" if side else shown
    middle = top - ROW / 2
    mark = 8.5
    start = (edges[1] + edges[2] - (width(text, BIG, True) + mark + 3)) / 2
    side_mark(pen, start + mark / 2, middle, mark, side, filled=True)
    pen.text(start + mark + 3, middle - 0.36 * BIG, text, BIG, bold=True)


def unit_cells(pen: Pen, plot: PlotPages, unit: Unit, edges: Sequence[float], top: float) -> None:
    """Print the first four cells of a unit's row: number, genet letter and its two readings."""
    cell(pen, edges[0], edges[1], top, str(unit.number), bold=True)
    cell(pen, edges[1], edges[2], top, unit.letter, bold=True)
    readings(pen, plot, unit, edges[2:5], top)


def reading_names(plot: PlotPages) -> list[str]:
    """Return the headings of number, genet and the two readings."""
    along, offset = ("rows.radius", "rows.angle") if plot.circle else ("rows.along", "rows.offset")
    return [say("rows.number"), say("rows.genet"), say(along), say(offset)]


def _planter_table(pen: Pen, plot: PlotPages, units: Sequence[Unit], box: Box) -> None:
    names = [*reading_names(plot), say("rows.done"), say("rows.actual")]
    edges = column_edges(box, [38, 27, 44, 64, 26, 57])
    top = table_frame(pen, box, edges, names, len(units))
    for k, unit in enumerate(units):
        y = top - k * ROW
        unit_cells(pen, plot, unit, edges, y)
        tick_box(pen, (edges[4] + edges[5]) / 2, y - ROW / 2, ticked=bool(unit.planted))
        if unit.planted:
            cell(pen, edges[5], edges[6], y, say("rows.planted_on", date=unit.planted[5:]), size=10.0)


def _recorder_table(pen: Pen, plot: PlotPages, units: Sequence[Unit], box: Box) -> None:
    names = [*reading_names(plot), *(say(f"rows.{k}") for k in ("tag_planned", "tag_set", "photo", "notes"))]
    edges = column_edges(box, [40, 28, 42, 62, 50, 54, 36, 36])
    top = table_frame(pen, box, edges, names, len(units))
    for k, unit in enumerate(units):
        y = top - k * ROW
        unit_cells(pen, plot, unit, edges, y)
        cell(pen, edges[4], edges[5], y, unit.tag or say("rows.no_tag"))
