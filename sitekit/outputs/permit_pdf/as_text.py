"""The tables and texts of the packet as files: a CSV that forms can be filled from, and a plain text with counts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.base.files import write_text
from sitekit.base.tables import table
from sitekit.base.wording import say
from sitekit.outputs.permit_pdf.packet import Packet, rows_of
from sitekit.outputs.tables import table_decimals, write_csv

# table -> the columns that name what a row is about
_SUBJECTS = {
    "work_areas": ("work_area",),
    "corners": ("work_area", "corner"),
    "planting": ("site", "species"),
    "permitted": ("permit", "what"),
    "work_rules": ("work_area", "kind", "name"),
    "open_items": ("kind",),
    "amendments": ("work_area", "what"),
}
_SKIPPED = {"easting_m", "northing_m", "planned_number", "permitted_number", "longitude_deg", "latitude_deg"}


def permit_table(packet: Packet) -> pd.DataFrame:
    """Return every figure of the packet's tables, one a row.

    Returns
    -------
    DataFrame
        `table`, `about` (what the row is about), `item` (column), `value` as printed, `unit`.
    """
    frames: dict[str, pd.DataFrame] = {
        "work_areas": packet.areas,
        "corners": packet.corners,
        "planting": packet.planting,
        "permitted": packet.permitted,
        "work_rules": packet.rules,
        "open_items": packet.open_items,
        "amendments": packet.amendments,
    }
    rows: list[dict[str, Any]] = []
    for name, frame in frames.items():
        decimals = table_decimals(name)
        units = {c.name: c.unit for c in table(name).columns}
        subject = _SUBJECTS[name]
        for record in frame.to_dict("records"):
            about = ", ".join(str(record[s]) for s in subject if record[s] is not None)
            for column in table(name).names:
                if column in subject or column in _SKIPPED or _absent(record[column]):
                    continue
                value = record[column]
                shown = f"{value:.{decimals[column]}f}" if column in decimals else value
                rows.append({"table": name, "about": about, "item": column, "value": shown, "unit": units[column]})
    for kind, lines in (
        ("fact", packet.facts),
        ("material", packet.materials),
        ("counted", packet.counted),
        ("monitoring", packet.monitoring),
    ):
        rows += [
            {"table": kind, "about": line[0], "item": kind, "value": "; ".join(v for v in line[1:] if v), "unit": ""}
            for line in lines
        ]
    return pd.DataFrame(rows, columns=["table", "about", "item", "value", "unit"])


def _absent(value: Any) -> bool:
    return value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value))


def write_permit_tables(path: Path, packet: Packet, *, fictional: bool = False) -> None:
    """Write `out/permit_tables.csv`: every figure of the packet, one a row.

    Parameters
    ----------
    path : Path
        Target.
    packet : Packet
        What the sheets show.
    fictional : bool
        Adds a last column `FICTIONAL`.
    """
    frame = permit_table(packet)
    if fictional:
        frame["FICTIONAL"] = True
    write_csv(path, frame)


def write_texts(path: Path, packet: Packet) -> None:
    """Write `out/permit_text.txt`: text blocks with their counts, and a text for each figure."""
    lines = [" · ".join((*packet.stamps, *packet.small_print)), ""]
    for row in rows_of(packet.texts):
        limit = None if pd.isna(row.most_characters) else int(row.most_characters)
        count = (
            say("permit.count", number=row.characters)
            if limit is None
            else say("permit.count_of", number=row.characters, most=limit)
        )
        over = "" if row.fits else say("permit.too_long")
        lines += [f"[{_text_name(row.name)}] {count}{over}", row.text, ""]
    write_text(path, "\n".join(lines))


def _text_name(name: str) -> str:
    kind, _, area = name.partition(": ")
    if area and area != "vicinity":
        return say("permit.name_figure", area=area)
    return say(f"permit.name_{area or kind}")
