"""`day_plan.pdf`: a sheet per day for the leader, the pull list, crate labels, what to bring, what is left."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.base.wording import caution, depth_texts, length_text, retell, say
from sitekit.outputs.dive_pdf.marks import FOOT, MARGIN, foot
from sitekit.outputs.dive_pdf.rows import Draw
from sitekit.outputs.dive_pdf.scene import DayPack
from sitekit.outputs.paper.book import PAPERS, write_book
from sitekit.outputs.paper.fonts import check_scripts, fitted
from sitekit.outputs.paper.listing import Block, Column, Listing, Words, paginate
from sitekit.outputs.paper.pen import Align, Box, Pen

_SIZE = 9.0
_LEE = re.compile(r"(?P<site>\S+) is not in the lee of wind from (?P<places>\d{3}.*)")
_FIELDS = ("morning.wind", "morning.from", "morning.swell", "morning.visibility", "morning.go", "morning.by")  # labels


def write_day_plan(path: Path, pack: DayPack) -> int:
    """Write the leader's day plan, whole or not at all; return its number of pages.

    Parameters
    ----------
    path : Path
        The `day_plan.pdf`.
    pack : DayPack
        Tables of the day's work.

    Raises
    ------
    InputFault
        If a name is in a script the font lacks.
    FileFault
        If the file cannot be written.
    """
    names = [("plan.name", pack.about.name)]
    names += [(f"genet {g!r}", g) for g in pack.pull_list["genet"].astype(str).unique()]
    names += [(f"structure {s!r}", s) for s in pack.pull_list["structure"].astype(str).unique()]
    check_scripts(names)
    pages = day_pages(pack)
    write_book(path, pages, PAPERS[pack.paper], title=f"Day plan, {pack.about.name}", subject=pack.about.line)
    return len(pages)


def day_pages(pack: DayPack) -> list[Draw]:
    """Return every page of the day plan: an overview, the days, season's materials and leftovers, crate labels."""
    size = PAPERS[pack.paper]
    body = (MARGIN, MARGIN + FOOT + 4, size[0] - MARGIN, size[1] - MARGIN)
    pages = _sheets(pack, _first(pack, body), body)
    for day in pack.days.to_dict("records"):
        pages += _sheets(pack, _day(pack, day, body), body)
    pages += _sheets(pack, _last(pack, body), body)
    return pages + _labels(pack, body)


def _sheets(pack: DayPack, blocks: Sequence[Block], body: Box) -> list[Draw]:
    placed = paginate(blocks, body)

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            for block, start, stop, top in placed[k]:
                block.draw(pen, body[0], top, start, stop)
            foot(pen, pack.about, number, total)

        return draw

    return [page(k) for k in range(len(placed))]


def _column(label: str, share: float, align: Align = "left") -> Column:
    return Column(say(f"column.{label}"), share, align)


class _Fields:
    """Empty boxes for the morning's decision."""

    def __init__(self, room: float) -> None:
        self.room = room

    def pieces(self) -> int:
        """One."""
        return 1

    def height(self, start: int, stop: int) -> float:
        """Height [pt]."""
        return 44.0

    def draw(self, pen: Pen, x: float, top: float, start: int, stop: int) -> None:
        """Draw the boxes below `top`."""
        wide = self.room / len(_FIELDS)
        for k, name in enumerate(_FIELDS):
            pen.box((x + k * wide, top - 36, x + (k + 1) * wide, top), 0.8)
            pen.text(x + k * wide + 3, top - 9, say(name), 7.0)


def _first(pack: DayPack, body: Box) -> list[Block]:
    room = body[2] - body[0]
    days = pack.days
    blocks: list[Block] = [
        Words(f"{say('days.queue')} · {pack.about.name}", room, 15.0, True),
        Words(say("days.order"), room, _SIZE),
    ]
    columns = [
        _column("day", 6, "right"),
        _column("date", 17),
        _column("sites", 10),
        _column("plots", 26),
        _column("dives", 8, "right"),
        _column("divers", 9, "right"),
        _column("cylinders", 9, "right"),
        _column("units", 8, "right"),
        _column("fragments_spares", 11, "right"),
        _column("leave", 8, "right"),
        _column("back", 8, "right"),
        _column("clock", 10, "right"),
    ]
    rows = [
        [
            d["day"],
            f"{d['date']} {_weekday(str(d['date']))}",
            d["sites"],
            d["plots"],
            d["dives"],
            d["divers"],
            d["cylinders"],
            d["units"],
            f"{d['fragments']} + {d['spares']}",
            d["leave"],
            d["back"],
            _hours(d["clock_min"]),
        ]
        for d in days.to_dict("records")
    ]
    blocks.append(Listing(columns, rows, room, 8.5))
    if pack.rest:
        blocks.append(Words(say("days.rest"), room, 11.0, True))
        blocks += [Words("• " + line, room, _SIZE) for line in pack.rest]
    if len(days):
        blocks.append(Words(say("days.limits"), room, 11.0, True))
        blocks.append(Words(_each(days["limits"].iloc[0]) + ".", room, _SIZE))
    blocks.append(Words(say("days.cautions"), room, 11.0, True))
    blocks += [Words("• " + line, room, 8.5) for line in (*(caution(c) for c in pack.about.cautions), *pack.notes)]
    return blocks


def _day(pack: DayPack, day: dict[Any, Any], body: Box) -> list[Block]:
    room = body[2] - body[0]
    number = day["day"]
    title = say("days.title", day=number, date=day["date"], weekday=_weekday(str(day["date"])), sites=day["sites"])
    clock = ""
    if isinstance(day["first_out"], str):
        clock = say("days.clock", first=day["first_out"], last=day["last_attached"], clock=_hours(day["clock_min"]))
    tide = say("days.no_tide")
    if not pd.isna(day["tide_low_m"]):
        low, high = (length_text(day[f"tide_{k}_m"], signed=True) for k in ("low", "high"))
        tide = say("days.tide", low=low, high=high)
        if isinstance(day["tide_window"], str):
            tide += say("days.window", window=retell(day["tide_window"]))
    blocks: list[Block] = [
        Words(title, room, 15.0, True),
        Words(
            say(
                "days.facts", **{k: day[k] for k in ("units", "plots", "dives", "divers", "cylinders", "leave", "back")}
            )
            + f"{clock} {tide}",
            room,
            10.0,
        ),
        Words(say("days.go_if", limits=_each(day["limits"])), room, 10.0),
        Words(say("days.leeward", places=_leeward(day["alternates"])), room, _SIZE),
    ]
    if isinstance(day["note"], str):
        blocks.append(Words(_sentences(day["note"]), room, _SIZE))
    blocks.append(_Fields(room))
    blocks += [Words(say("days.dives"), room, 11.0, True), _dives(pack.dives[pack.dives["day"] == number], room)]
    pulls, crates = pack.pull_list[pack.pull_list["day"] == number], pack.crates[pack.crates["day"] == number]
    blocks += [Words(say("days.pull_list"), room, 11.0, True), _pulls(pulls, room)]
    blocks += [Words(say("days.crates"), room, 11.0, True), _crates(crates, room)]
    materials = pack.materials[pack.materials["day"] == number]
    blocks += [Words(say("days.bring"), room, 11.0, True), _materials(materials, room)]
    return blocks


def _dives(dives: pd.DataFrame, room: float) -> Listing:
    columns = [
        _column("dive", 10),
        _column("pair", 6),
        _column("where", 9),
        _column("numbers", 13),
        _column("down_up", 15),
        _column("depth", 16, "right"),
        _column("allowed", 20),
        _column("bottom", 10, "right"),
        _column("gas_diver", 9, "right"),
        _column("leave_at", 10, "right"),
        _column("note", 21),
    ]
    rows = []
    for d in dives.to_dict("records"):
        depth = ", ".join(text.split("–")[-1] for text in depth_texts(d["depth_m"], d["depth_m"]))
        table = ""
        if d["first_of_day"] and not pd.isna(d["table_row_ft"]):
            minutes = d["table_min"]
            shown = say("days.unlimited") if minutes is None or pd.isna(minutes) else f"{minutes:g}"
            table = say("days.table_row", row=f"{d['table_row_ft']:g}", minutes=shown)
        harvest = say("days.harvest", number=d["fragments"])
        rows.append(
            [
                d["dive"],
                d["pair"],
                d["plot"] if isinstance(d["plot"], str) else say("days.nursery"),
                d["numbers"] if isinstance(d["numbers"], str) else harvest,
                f"{d['start']}–{d['end']}",
                depth,
                say(
                    "days.allowed",
                    minutes=f"{d['allowed_min']:g}",
                    by=say(f"days.by_{d['limited_by']}"),
                    gas=f"{d['gas_min']:.0f}",
                    table=table,
                ),
                f"{d['bottom_min']:.0f}",
                f"{d['gas_used']:.0f} {d['gas_unit']}",
                f"{d['turn_pressure']:.0f} {d['pressure_unit']}",
                _each(d["note"]) if isinstance(d["note"], str) else "",
            ]
        )
    return Listing(columns, rows, room, 8.0)


def _pulls(pulls: pd.DataFrame, room: float) -> Listing:
    """One line per structure and genet, the crates of its fragments behind it."""
    columns = [
        _column("structure", 16),
        _column("species", 9),
        _column("genet", 12),
        _column("letter", 8),
        _column("take", 7, "right"),
        _column("spare", 7, "right"),
        _column("crates", 44),
        _column("taken", 9),
    ]
    lines: dict[tuple[str, ...], list[Any]] = {}
    for r in pulls.to_dict("records"):
        key = (str(r["structure"]), str(r["species"]), str(r["genet"]), str(r["letter"]))
        line = lines.setdefault(key, [0, 0, []])
        line[0] += r["take"]
        line[1] += r["spare"]
        line[2].append(f"{_crate(r['crate'])}: {r['take'] + r['spare']}")
    rows: list[list[object]] = [
        [*key, take, spare or "", " · ".join(where), ""] for key, (take, spare, where) in lines.items()
    ]
    rows.append([say("days.all"), "", "", "", int(pulls["take"].sum()), int(pulls["spare"].sum()), "", ""])
    return Listing(columns, rows, room, _SIZE)


def _crates(crates: pd.DataFrame, room: float) -> Listing:
    columns = [_column("crate", 16), _column("plot", 16), _column("numbers", 40), _column("fragments", 12, "right")]
    rows = [[_crate(r["crate"]), r["plot"], r["numbers"], r["fragments"]] for r in crates.to_dict("records")]
    return Listing(columns, rows, room, _SIZE)


def _materials(materials: pd.DataFrame, room: float) -> Listing:
    columns = [_column("item", 26), _column("number", 12, "right"), _column("how", 70)]
    rows = []
    for r in materials.to_dict("records"):
        unit = f" {r['unit']}" if isinstance(r["unit"], str) else ""
        note = _each(r["note"]) if isinstance(r["note"], str) else ""
        rows.append([retell(r["item"]), f"{r['number']:g}{unit}", note])
    return Listing(columns, rows, room, _SIZE)


def _last(pack: DayPack, body: Box) -> list[Block]:
    room = body[2] - body[0]
    season = pack.materials[pack.materials["day"].isna()]
    columns = [
        _column("structure", 20),
        _column("species", 10),
        _column("genet", 14),
        _column("ready", 10, "right"),
        _column("planted", 10, "right"),
        _column("spares", 10, "right"),
        _column("never", 12, "right"),
        _column("after", 14),
    ]
    rows = [
        [r["structure"], r["species"], r["genet"], r["ready"], r["planted"] + r["pulled"], r["spare"], r["left"], ""]
        for r in pack.leftovers.to_dict("records")
    ]
    return [
        Words(say("days.season"), room, 13.0, True),
        _materials(season, room),
        Words(say("days.left"), room, 13.0, True),
        Words(say("days.left_note"), room, _SIZE),
        Listing(columns, rows, room, _SIZE),
    ]


def _labels(pack: DayPack, body: Box) -> list[Draw]:
    """Crate labels to cut out, ten on a sheet."""
    rows = []
    for day in pack.days.to_dict("records"):
        rows += pack.crates[pack.crates["day"] == day["day"]].to_dict("records")
        if day["spares"]:
            rows.append(
                {"crate": "SPARE", "fragments": day["spares"], "numbers": "", "day": day["day"], "date": day["date"]}
            )
    across, down = 2, 5
    wide, high = (body[2] - body[0]) / across, (body[3] - body[1] - 20) / down
    pages = [rows[k : k + across * down] for k in range(0, len(rows), across * down)]

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            pen.text(body[0], body[3] - 12, say("days.labels"), 10.0, bold=True)
            for i, row in enumerate(pages[k]):
                line, column = divmod(i, across)
                x, top = body[0] + column * wide, body[3] - 20 - line * high
                pen.box((x, top - high, x + wide, top), 0.6, style="dashed")
                fit = fitted(
                    _crate(row["crate"]),
                    (wide - 20, high * 0.42),
                    sizes=(40, 34, 28, 22, 16, 12),
                    bold=True,
                    where="crate label",
                )
                pen.lines(x + wide / 2, top - 8, fit, align="centre")
                text = say("days.fragment" if row["fragments"] == 1 else "days.fragments", number=row["fragments"])
                if row["numbers"]:
                    text += say("days.label_numbers", numbers=row["numbers"])
                fit = fitted(text, (wide - 20, 30), sizes=(13, 11, 9, 8, 7, 6, 5), where="crate label")
                pen.lines(x + wide / 2, top - high + 50, fit, align="centre")
                day = say("days.label_day", day=row["day"], date=row["date"])
                pen.text(x + wide / 2, top - high + 8, day, 10.0, align="centre")
            foot(pen, pack.about, number, total)

        return draw

    return [page(k) for k in range(len(pages))]


def _weekday(date: str) -> str:
    return say(f"weekday.{pd.Timestamp(date).weekday()}")


def _crate(name: str) -> str:
    return say("days.spare") if name == "SPARE" else name


def _each(text: str) -> str:
    """Facts set apart by semicolons, each in the language in force."""
    return "; ".join(retell(part) for part in text.split("; "))


def _sentences(text: str) -> str:
    """Sentences of a note, each in the language in force."""
    return " ".join(retell(part) for part in re.split(r"(?<=\.) (?=[A-Z])", text))


def _leeward(text: str) -> str:
    """Places in the lee, site by site, each `SITE is not in the lee of wind from 000–112°: go to …, 135°: …`."""
    out = []
    for part in text.split("; "):
        found = _LEE.fullmatch(part)
        if found is None:
            out.append(retell(part))
            continue
        sectors = re.findall(r"(\d{3}(?:–\d{3})?°): (.+?)(?=, \d{3}|$)", found["places"])
        places = ", ".join(f"{sector}: {retell(word)}" for sector, word in sectors)
        out.append(say("days.not_in_lee", site=found["site"], places=places))
    return "; ".join(out)


def _hours(minutes: Any) -> str:
    if minutes is None or pd.isna(minutes):
        return "—"
    whole = round(float(minutes))
    return f"{whole // 60} h {whole % 60:02d}"
