"""`day_plan.pdf`: a sheet per day for the leader, the pull list, crate labels, what to bring, what is left."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.outputs.dive_pdf.marks import FOOT, MARGIN, foot
from sitekit.outputs.dive_pdf.rows import Draw
from sitekit.outputs.dive_pdf.scene import DayPack, metres_and_feet
from sitekit.outputs.paper.book import PAPERS, write_book
from sitekit.outputs.paper.fonts import check_scripts, fitted
from sitekit.outputs.paper.listing import Block, Column, Listing, Words, paginate
from sitekit.outputs.paper.pen import Box, Pen

_SIZE = 9.0
_FIELDS = (("WIND", "FROM", "SWELL", "VISIBILITY", "GO / NO-GO", "DECIDED BY"),)


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
        for row in _FIELDS:
            wide = self.room / len(row)
            for k, name in enumerate(row):
                pen.box((x + k * wide, top - 36, x + (k + 1) * wide, top), 0.8)
                pen.text(x + k * wide + 3, top - 9, name, 7.0)


def _first(pack: DayPack, body: Box) -> list[Block]:
    room = body[2] - body[0]
    days = pack.days
    blocks: list[Block] = [
        Words(f"DAY QUEUE · {pack.about.name}", room, 15.0, True),
        Words(
            "Days in the order of the work. A day that is lost moves the rest: add it to fieldwork.lost_days and run "
            "again. Weather is judged on the morning by the leader, by the team's own limits.",
            room,
            _SIZE,
        ),
    ]
    columns = [
        Column("day", 6, "right"),
        Column("date", 17),
        Column("sites", 10),
        Column("plots", 26),
        Column("dives", 8, "right"),
        Column("divers", 9, "right"),
        Column("cylin- ders", 9, "right"),
        Column("units", 8, "right"),
        Column("fragm. + spares", 11, "right"),
        Column("leave", 8, "right"),
        Column("back", 8, "right"),
        Column("clock on deck", 10, "right"),
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
        blocks.append(Words("LEFT OVER: the days do not hold this", room, 11.0, True))
        blocks += [Words("• " + line, room, _SIZE) for line in pack.rest]
    if len(days):
        blocks.append(Words("WEATHER LIMITS OF THE TEAM", room, 11.0, True))
        blocks.append(Words(str(days["limits"].iloc[0]) + ".", room, _SIZE))
    blocks.append(Words("CAUTIONS, GAS AND TABLE", room, 11.0, True))
    blocks += [Words("• " + line, room, 8.5) for line in (*pack.about.cautions, *pack.notes)]
    return blocks


def _day(pack: DayPack, day: dict[Any, Any], body: Box) -> list[Block]:
    room = body[2] - body[0]
    number = day["day"]
    title = f"DAY {number} · {day['date']} {_weekday(str(day['date']))} · {day['sites']}"
    clock = ""
    if isinstance(day["first_out"], str):
        clock = (
            f" First fragment out {day['first_out']}, last attached {day['last_attached']}: {_hours(day['clock_min'])} "
            "of less than 4 h."
        )
    tide = "Tide not given."
    if not pd.isna(day["tide_low_m"]):
        tide = f"Tide {day['tide_low_m']:+.2f} to {day['tide_high_m']:+.2f} m while the boat is out."
        if isinstance(day["tide_window"], str):
            tide += f" Within the team's limits: {day['tide_window']}."
    blocks: list[Block] = [
        Words(title, room, 15.0, True),
        Words(
            f"{day['units']} units in {day['plots']}; {day['dives']} dives of pairs, {day['divers']} divers, "
            f"{day['cylinders']} cylinders. Leave {day['leave']}, back {day['back']}.{clock} {tide}",
            room,
            10.0,
        ),
        Words(f"Go only if: {day['limits']}.", room, 10.0),
        Words(f"Leeward: {day['alternates']}.", room, _SIZE),
    ]
    if isinstance(day["note"], str):
        blocks.append(Words(day["note"], room, _SIZE))
    blocks.append(_Fields(room))
    blocks += [Words("DIVES", room, 11.0, True), _dives(pack.dives[pack.dives["day"] == number], room)]
    pulls, crates = pack.pull_list[pack.pull_list["day"] == number], pack.crates[pack.crates["day"] == number]
    blocks += [Words("PULL LIST", room, 11.0, True), _pulls(pulls, room)]
    blocks += [Words("CRATES", room, 11.0, True), _crates(crates, room)]
    materials = pack.materials[pack.materials["day"] == number]
    blocks += [Words("BRING", room, 11.0, True), _materials(materials, room)]
    return blocks


def _dives(dives: pd.DataFrame, room: float) -> Listing:
    columns = [
        Column("dive", 10),
        Column("pair", 6),
        Column("where", 10),
        Column("numbers", 13),
        Column("down–up", 15),
        Column("depth for plan", 14, "right"),
        Column("allowed min, by", 20),
        Column("bottom min", 10, "right"),
        Column("gas per diver", 9, "right"),
        Column("leave at", 10, "right"),
        Column("note", 22),
    ]
    rows = []
    for d in dives.to_dict("records"):
        metres, feet = metres_and_feet(d["depth_m"], d["depth_m"])
        table = ""
        if d["first_of_day"] and not pd.isna(d["table_row_ft"]):
            minutes = d["table_min"]
            shown = "unlimited" if minutes is None or pd.isna(minutes) else f"{minutes:g}"
            table = f", table row {d['table_row_ft']:g} ft: {shown}"
        rows.append(
            [
                d["dive"],
                d["pair"],
                d["plot"] if isinstance(d["plot"], str) else d["site"],
                d["numbers"] if isinstance(d["numbers"], str) else f"harvest {d['fragments']}",
                f"{d['start']}–{d['end']}",
                f"{metres.split('–')[-1]}, {feet.split('–')[-1]}",
                f"{d['allowed_min']:g}, {d['limited_by']} (gas {d['gas_min']:.0f}{table})",
                f"{d['bottom_min']:.0f}",
                f"{d['gas_used']:.0f} {d['gas_unit']}",
                f"{d['turn_pressure']:.0f} {d['pressure_unit']}",
                d["note"] if isinstance(d["note"], str) else "",
            ]
        )
    return Listing(columns, rows, room, 8.0)


def _pulls(pulls: pd.DataFrame, room: float) -> Listing:
    """One line per structure and genet, the crates of its fragments behind it."""
    columns = [
        Column("structure", 16),
        Column("species", 9),
        Column("genet", 12),
        Column("letter", 8),
        Column("take", 7, "right"),
        Column("spare", 7, "right"),
        Column("into crates", 44),
        Column("taken", 9),
    ]
    lines: dict[tuple[str, ...], list[Any]] = {}
    for r in pulls.to_dict("records"):
        key = (str(r["structure"]), str(r["species"]), str(r["genet"]), str(r["letter"]))
        line = lines.setdefault(key, [0, 0, []])
        line[0] += r["take"]
        line[1] += r["spare"]
        line[2].append(f"{r['crate']}: {r['take'] + r['spare']}")
    rows: list[list[object]] = [
        [*key, take, spare or "", " · ".join(where), ""] for key, (take, spare, where) in lines.items()
    ]
    rows.append(["all", "", "", "", int(pulls["take"].sum()), int(pulls["spare"].sum()), "", ""])
    return Listing(columns, rows, room, _SIZE)


def _crates(crates: pd.DataFrame, room: float) -> Listing:
    columns = [Column("crate", 16), Column("plot", 16), Column("numbers", 40), Column("fragments", 12, "right")]
    rows = [[r["crate"], r["plot"], r["numbers"], r["fragments"]] for r in crates.to_dict("records")]
    return Listing(columns, rows, room, _SIZE)


def _materials(materials: pd.DataFrame, room: float) -> Listing:
    columns = [Column("item", 26), Column("number", 12, "right"), Column("how it came about", 70)]
    rows = []
    for r in materials.to_dict("records"):
        unit = f" {r['unit']}" if isinstance(r["unit"], str) else ""
        rows.append([r["item"], f"{r['number']:g}{unit}", r["note"] if isinstance(r["note"], str) else ""])
    return Listing(columns, rows, room, _SIZE)


def _last(pack: DayPack, body: Box) -> list[Block]:
    room = body[2] - body[0]
    season = pack.materials[pack.materials["day"].isna()]
    columns = [
        Column("structure", 20),
        Column("species", 10),
        Column("genet", 14),
        Column("ready", 10, "right"),
        Column("planted", 10, "right"),
        Column("spares", 10, "right"),
        Column("never pulled", 12, "right"),
        Column("counted after", 14),
    ]
    rows = [
        [r["structure"], r["species"], r["genet"], r["ready"], r["pulled"], r["spare"], r["left"], ""]
        for r in pack.leftovers.to_dict("records")
    ]
    return [
        Words("THE WHOLE SEASON: BRING", room, 13.0, True),
        _materials(season, room),
        Words("LEFT IN THE NURSERY AFTER THE LAST DAY", room, 13.0, True),
        Words("Spares that were not planted come back to their structure; count them in the last column.", room, _SIZE),
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
            pen.text(body[0], body[3] - 12, "CRATE LABELS: cut along the dashes", 10.0, bold=True)
            for i, row in enumerate(pages[k]):
                line, column = divmod(i, across)
                x, top = body[0] + column * wide, body[3] - 20 - line * high
                pen.box((x, top - high, x + wide, top), 0.6, style="dashed")
                fit = fitted(
                    row["crate"],
                    (wide - 20, high * 0.42),
                    sizes=(40, 34, 28, 22, 16, 12),
                    bold=True,
                    where="crate label",
                )
                pen.lines(x + wide / 2, top - 8, fit, align="centre")
                many = "fragment" if row["fragments"] == 1 else "fragments"
                text = f"{row['fragments']} {many}" + (f" · numbers {row['numbers']}" if row["numbers"] else "")
                fit = fitted(text, (wide - 20, 30), sizes=(13, 11, 9, 8, 7, 6, 5), where="crate label")
                pen.lines(x + wide / 2, top - high + 50, fit, align="centre")
                day = f"day {row['day']} · {row['date']}"
                pen.text(x + wide / 2, top - high + 8, day, 10.0, align="centre")
            foot(pen, pack.about, number, total)

        return draw

    return [page(k) for k in range(len(pages))]


def _weekday(date: str) -> str:
    return str(pd.Timestamp(date).strftime("%a"))


def _hours(minutes: Any) -> str:
    if minutes is None or pd.isna(minutes):
        return "—"
    whole = round(float(minutes))
    return f"{whole // 60} h {whole % 60:02d}"
