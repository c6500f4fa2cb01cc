"""Two charts of the decision record as SVG: black and grey, text as text, nothing that needs a script or a network."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from sitekit.base.wording import say
from sitekit.outputs.paper.fonts import shrunk, width

_FONT = 'font-family="DejaVu Sans, Verdana, sans-serif"'
_ROW = 20
_LEFT, _RIGHT, _TOP, _BOTTOM = 230, 20, 46, 44


@dataclass(frozen=True)
class RankRange:
    """One bar: a candidate's rank under the chosen weights, and its range under others.

    Parameters
    ----------
    label : str
        Candidate, site, name.
    rank, low, high : int
        1 is the best.
    fragile : bool
        Drawn hollow and said in the label.
    chosen : bool
        Printed bold.
    """

    label: str
    rank: int
    low: int
    high: int
    fragile: bool
    chosen: bool


@dataclass(frozen=True)
class GainPoint:
    """One point: a share of the budget, what the best choice gives there, and what is planted."""

    share_pct: float
    gain: float
    units: int
    sites: int


def rank_chart(title: str, ranges: Sequence[RankRange], caption: str) -> str:
    """Return a chart of rank ranges, best first, as SVG text.

    Parameters
    ----------
    title, caption : str
        Above and below.
    ranges : sequence of RankRange
        In the order to draw.
    """
    wide_px = 760
    height = _TOP + _ROW * len(ranges) + _BOTTOM
    most = max((r.high for r in ranges), default=1)
    room = wide_px - _LEFT - _RIGHT

    def x(rank: float) -> float:
        return round(_LEFT + room * (rank - 1) / max(most - 1, 1), 1)

    parts = _open(wide_px, height, title, caption)
    for tick in _ticks(1, most):
        parts.append(f'<line x1="{x(tick)}" y1="{_TOP - 4}" x2="{x(tick)}" y2="{height - _BOTTOM}" stroke="#ddd"/>')
        parts.append(_text(x(tick), _TOP - 8, f"{tick:g}", 11, "middle"))
    for i, one in enumerate(ranges):
        y = _TOP + _ROW * i + _ROW / 2
        label = say("record.chart_fragile", label=one.label) if one.fragile else one.label
        size = shrunk(label, 11.0, _LEFT - 18.0, bold=one.chosen, least=6.0)
        parts.append(_text(_LEFT - 14, y + 4, label, size, "end", bold=one.chosen))
        wide = max(x(one.high) - x(one.low), 3)
        fill = "#fff" if one.fragile else "#bbb"
        parts.append(
            f'<rect x="{x(one.low)}" y="{y - 5}" width="{wide:.1f}" height="10" fill="{fill}" stroke="#000" '
            f'stroke-width="{1.2 if one.fragile else 0.6}"/>'
        )
        parts.append(f'<circle cx="{x(one.rank)}" cy="{y}" r="4" fill="#000"/>')
    parts.append(_text(*_fitting(_LEFT, height - 26, say("record.chart_ranks"), wide_px)))
    parts.append(_text(*_fitting(_LEFT, height - 10, caption, wide_px)))
    return "\n".join([*parts, "</svg>", ""])


def gain_chart(title: str, points: Sequence[GainPoint], caption: str, *, measure: str = "") -> str:
    """Return a chart of gain against budget as SVG text; the plan's own budget is at 100 %.

    Parameters
    ----------
    title, caption : str
        Above and below.
    points : sequence of GainPoint
        Rising in share.
    measure : str
        What is gained; summed suitability where empty.
    """
    wide_px, height, left, bottom, top = 760, 360, 80, 92, 46
    most_x = max((p.share_pct for p in points), default=100.0)
    most_y = max((p.gain for p in points), default=0.0) or 1.0
    ticks_y = _ticks(0, most_y)
    peak = ticks_y[-1] if ticks_y[-1] >= most_y else most_y

    def at(p: GainPoint) -> tuple[float, float]:
        return _x(p.share_pct), _y(p.gain)

    def _x(share: float) -> float:
        return round(left + (wide_px - left - 40) * share / most_x, 1)

    def _y(value: float) -> float:
        return round(height - bottom - (height - bottom - top) * value / peak, 1)

    parts = _open(wide_px, height, title, caption)
    for tick in ticks_y:
        parts.append(f'<line x1="{left}" y1="{_y(tick)}" x2="{wide_px - 40}" y2="{_y(tick)}" stroke="#ddd"/>')
        parts.append(_text(left - 8, _y(tick) + 4, f"{tick:g}", 11, "end"))
    for p in points:
        parts.append(_text(_x(p.share_pct), height - bottom + 46, f"{p.share_pct:g} %", 11, "middle"))
    line = " ".join(f"{x},{y}" for x, y in map(at, points))
    parts.append(f'<polyline points="{line}" fill="none" stroke="#000" stroke-width="1.5"/>')
    for p in points:
        x, y = at(p)
        own = math.isclose(p.share_pct, 100.0)
        parts.append(
            f'<circle cx="{x}" cy="{y}" r="{6 if own else 4}" fill="{"#fff" if own else "#000"}" stroke="#000" stroke-width="2"/>'
        )
        side, anchor = (x + 7, "start") if x < wide_px - 110 else (x - 2, "end")
        parts.append(_text(side, y + 15, say("record.chart_units", number=p.units), 10, anchor))
        parts.append(
            _text(
                side,
                y + 27,
                say("record.chart_sites", number=p.sites) if p.sites else say("record.nothing_fits"),
                10,
                anchor,
            )
        )
    parts.append(
        _text(
            *_fitting(
                left, height - 32, say("record.chart_gain", measure=measure or say("record.suitability_sum")), wide_px
            )
        )
    )
    parts.append(_text(left, height - 14, caption, 11))
    return "\n".join([*parts, "</svg>", ""])


def _open(width: int, height: int, title: str, caption: str) -> list[str]:
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(caption)}</desc>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        _text(12, 20, title, 14, bold=True),
    ]


def _text(x: float, y: float, text: str, size: float, anchor: str = "start", *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}" {_FONT}{weight}>{escape(text)}</text>'


def _fitting(x: float, y: float, text: str, room: int) -> tuple[float, float, str, float]:
    """Place and size of a line that starts at x; farther left, then smaller, where it would leave the chart."""
    size = shrunk(text, 11.0, room - 16.0, least=6.0)
    need = width(text, size)
    return (x if x + need <= room - 4 else round(max(12.0, room - 4 - need), 1)), y, text, size


def _ticks(low: float, high: float) -> list[float]:
    """Return round numbers from low to high, at most ten, low among them."""
    span = max(high - low, 1e-9)
    step = 10.0 ** math.floor(math.log10(span / 5))
    step = next(step * k for k in (1, 2, 5, 10) if span / (step * k) <= 8)
    step = max(step, 1.0) if low == 1 else step
    first = [low] if low == 1 else [0.0]
    found = [t for t in (round(k * step, 10) for k in range(1, 60)) if low < t <= high + 0.5 * step * (low == 0)]
    return [*first, *found]
