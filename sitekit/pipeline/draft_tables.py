"""A first look at a table or spreadsheet: columns as understood, rows that would be refused, species and genets seen."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import numpy as np

from sitekit.base.crs import WGS84, utm_zone
from sitekit.errors import Fault, InputFault
from sitekit.layers.cells import Reading, Refused, Rows
from sitekit.layers.columns import factor_of, find_column, holds_codes, plain_name
from sitekit.layers.coordinates import Columns, locate
from sitekit.layers.points import SWAPPED, Given, read_points
from sitekit.layers.rows import SHEETS, read_rows
from sitekit.layers.sheet_rows import sheet_names
from sitekit.pipeline.draft_roles import role_of_table
from sitekit.pipeline.draft_seen import Seen, asked, asked_codes, listing, optional, place, plain, proposed
from sitekit.stock.inventory import NEEDED, check_stock, read_stock

_SHOWN = 5  # rows that would be refused, told one by one
_MEANS = {
    "species": "column of species", "genet": "column of genets", "ready": "column of fragments ready to plant",
    "size_cm": "column of sizes [cm]", "health": "column of health: healthy, watch or refuse",
}  # fmt: skip
_PLACES = ("longitude", "latitude", "position", "easting", "northing", "zone", "datum")


def look_at_table(path: Path) -> list[Seen]:
    """Return what a table shows, one entry per sheet where several are shown and none stands out.

    Raises
    ------
    FileFault, InputFault
        As `read_rows`, where no sheet of it can be read.
    """
    if path.suffix.lower() not in SHEETS:
        return [_look(path, None)]
    try:
        return [_look(path, None)]
    except InputFault as first:
        names, hidden = sheet_names(path, path.name)
        shown = [n for n in names if n not in hidden]
        found, lost = [], []
        for name in shown if len(shown) > 1 else []:
            try:
                found.append(_look(path, name))
            except InputFault as error:
                lost.append(f"sheet {name!r}: {error.faults[0].came}")
        if not found:
            raise first from None
        found[0].said += lost
        return found


def _look(path: Path, sheet: str | None) -> Seen:
    reading = Reading(sheet=sheet)
    rows = read_rows(path, path.name, reading)
    if not rows.cells and not rows.broken:
        due = "at least one row below its header"
        raise InputFault(Fault(path.name, "holds no row, so no colony, place or genet", due, "Check the file."))
    one = Seen(path, "table", [*rows.said, f"{len(rows.cells)} rows; columns: {listing(rows.names, 20)}"])
    one.facts["sheet"] = sheet
    if sheet is not None:
        one.lines.append(proposed("sheet", sheet))
    if rows.broken:
        one.said.append(f"{len(rows.broken)} rows do not fit the header, the first in line {rows.broken[0].line}")
    one.role, one.why = role_of_table(rows.names, path.stem)
    if one.role == "layers.colonies":
        _colonies(one, rows, reading)
    elif one.role == "layers.named_places":
        _places(one, rows)
    elif one.role == "stock":
        _stock(one, rows, reading)
    elif one.role == "waves.wind" and find_column(rows.names, "date") is None and "time" in rows.names:
        one.lines.append(proposed("wind_form", "hours", "it has a column of times"))
    elif one.role == "heat":
        value = next(n for n in rows.names if n.lower().startswith("sst"))
        one.lines.append(proposed("value", value))
        years = sorted({c[:4] for c in rows.column(str(find_column(rows.names, "date"))) if c[:4].isdigit()})
        one.facts["years"] = (int(years[0]), int(years[-1])) if years else None
    elif not one.role and not _class_names(one, rows):
        one.unknown.append("what it is for: none of its columns tells")
    return one


def _colonies(one: Seen, rows: Rows, reading: Reading) -> None:
    known = {
        f: find_column(rows.names, f) for f in ("origin", "position_error_m", "species", "size_cm", "depth", "date")
    }
    for key, question in (
        ("origin", '"wild" or "outplant"?'), ("position_error_m", "error of the positions [m]; it widens the clearance"),
    ):  # fmt: skip
        if known[key] is None:
            one.unknown.append(f"{key.removesuffix('_m').replace('_', ' ')} of its colonies")
            one.lines.append(asked(key, question))
    if known["species"] is None:
        one.unknown.append("the species")
        one.lines.append(
            optional('columns = { species = "…" }', f"its column, if one of {listing(rows.names, 20)} holds it")
        )
    elif holds_codes(known["species"]):
        one.unknown.append(f"what the codes in {plain(known['species'], 40)!r} mean")
        one.lines.append(asked_codes(known["species"], sorted({c for c in rows.column(known["species"]) if c})))
    if known["size_cm"] is None:
        one.unknown.append("the sizes")
    depth = known["depth"]
    if depth and not factor_of("depth", depth) and depth not in rows.units:
        one.unknown.append(f"the unit of {depth!r}")
        one.lines.append(asked("depth_units", f'"m", "ft" or "fathom" in column {plain(depth, 40)!r}?'))
    if not any(find_column(rows.names, f) for f in _PLACES):
        one.unknown.append("which columns hold the coordinates")
        one.lines += [asked("x", f"column of longitudes or eastings, one of {listing(rows.names, 20)}"),
                      asked("y", "column of latitudes or northings")]  # fmt: skip
        return
    try:
        _placed(one, rows, reading, known)
    except InputFault as error:
        fault = error.faults[0]
        if "without a system" in fault.came:
            one.unknown.append("the coordinate system of its eastings and northings")
            one.lines.append(asked("crs", 'system of its coordinates, such as "EPSG:32620"'))
            return
        one.said.append(f"as it stands it would be refused: {fault.came}; {fault.do}")
        one.facts["refused"] = list(error.faults)


def _placed(one: Seen, rows: Rows, reading: Reading, known: dict[str, str | None]) -> None:
    found = locate(rows, one.path.name, WGS84, Columns())
    seen = np.isfinite(found.x) & np.isfinite(found.y) & (np.abs(found.y) <= 84) & (np.abs(found.x) <= 180)
    if not seen.any():
        first = next(iter(found.bad.values()), ("no position", ""))
        one.said.append(f"no row has a position that can be read: {first[0]}")
        return
    zone = utm_zone(float(np.median(found.x[seen])), float(np.median(found.y[seen])))
    refused: list[Refused] = []
    frame, notes = read_points(
        one.path,
        to_crs=zone,
        origin=None if known["origin"] else "wild",
        position_error_m=None if known["position_error_m"] else 0.0,
        where=one.path.name,
        given=Given(reading=reading),
        refused=refused,
    )
    one.facts["points"] = frame.geometry
    if "depth_read" in frame:
        one.facts["depths"] = frame
    west, south, east, north = (float(v) for v in frame.to_crs(WGS84).total_bounds)
    one.extent = (west, south, east, north)
    one.said += [n for n in notes if n not in rows.said and "refused_rows" not in n]
    one.said.append(f"{len(frame)} colonies, {place(one.extent)}")
    codes = Counter(str(s) for s in frame["species"] if s)
    if codes:
        one.said.append("species: " + listing(f"{c} ({n})" for c, n in sorted(codes.items())))
    _refused(one, refused)


def _refused(one: Seen, refused: list[Refused]) -> None:
    """Tell rows that would be refused, and ask what is to be done with them."""
    if not refused:
        return
    one.facts["rows_refused"] = len(refused)
    one.said.append(f"{len(refused)} rows would be refused:")
    one.said += [f"  line {r.line}: {plain(r.reason)}" for r in refused[:_SHOWN]]
    if len(refused) > _SHOWN:
        one.said.append(f"  and {len(refused) - _SHOWN} more")
    swapped = [r for r in refused if r.reason.startswith(SWAPPED)]
    if swapped:
        lines = listing((r.line for r in swapped), 5)
        answers = (
            f'"swap" the coordinates of lines {lines}, or "refuse" these rows and go on without them (accept_partial)?'
        )
        one.lines.append(asked("swapped_rows", answers))
    others = [r for r in refused if r not in swapped]
    if swapped and not others:
        one.lines.append(optional("accept_partial = true", 'needed with "refuse": these rows are left out and listed'))
    if others:
        lines = listing((r.line for r in others), 5)
        one.lines.append(
            asked("accept_partial", f"{len(others)} rows cannot be used (lines {lines}): true goes on without them, "
                  "false waits until they are corrected")
        )  # fmt: skip


def _class_names(one: Seen, rows: Rows) -> bool:
    """Take a table of numbers and their meanings, such as comes with a map of classes; whether it is one."""
    value = next((n for n in rows.names if plain_name(n) in ("value", "class", "code", "valor", "clase")), None)
    if value is None or not all(re.fullmatch(r"\d{1,5}", c) for c in rows.column(value)):
        return False
    words = [n for n in rows.names if n != value and any(re.search(r"[A-Za-z]", c) for c in rows.column(n))]
    if not words:
        return False
    one.role, one.why = "class names", f"whole numbers in {value!r} and words in {words[0]!r}"
    one.facts["names"] = dict(zip(rows.column(value), rows.column(words[0]), strict=True))
    return True


def _places(one: Seen, rows: Rows) -> None:
    name = find_column(rows.names, "name")
    if name != "name":
        one.lines.append(proposed("name_field", str(name)))
    kinds = {plain_name(n): n for n in rows.names}
    if "kind" in kinds:
        one.lines.append(proposed("kind_field", kinds["kind"]))
    if "radius_m" in kinds:
        one.lines.append(proposed("radius_field", kinds["radius_m"]))
    else:
        one.unknown.append("how far each place reaches")
        one.lines.append(asked("radius_m", "radius of the disc a place stands for [m]"))
    try:
        found = locate(rows, one.path.name, WGS84, Columns())
    except InputFault as error:
        one.said.append(f"as it stands it would be refused: {error.faults[0].came}; {error.faults[0].do}")
        one.facts["refused"] = list(error.faults)
        return
    one.said += found.notes
    seen = np.isfinite(found.x) & np.isfinite(found.y)
    if seen.any():
        x, y = found.x[seen], found.y[seen]
        one.extent = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
        one.said.append(f"{int(seen.sum())} places, {place(one.extent)}")
    _refused(one, [Refused(one.path.name, rows.file, rows.lines[i], rows.text_of(i), f"{c} (due: {d})")
                   for i, (c, d) in sorted(found.bad.items())])  # fmt: skip


def _stock(one: Seen, rows: Rows, reading: Reading) -> None:
    species = find_column(rows.names, "species")
    genet = find_column(rows.names, "genet")
    if species:
        codes = Counter(c for c in rows.column(species) if c)
        one.said.append("species: " + listing(f"{c} ({n} rows)" for c, n in sorted(codes.items())))
        one.facts["species"] = sorted(codes)
    else:
        one.unknown.append("the species")
    if genet:
        one.said.append(f"{len({c for c in rows.column(genet) if c})} names of genets")
    lacking = [n for n in NEEDED if not find_column(rows.names, n)]
    one.unknown += [f"which column is {n!r}" for n in lacking]
    one.facts["columns"] = {n: f"{_MEANS[n]}, one of {listing(rows.names, 20)}" for n in lacking}
    if lacking:
        return
    refused: list[Refused] = []
    try:
        listed, notes = read_stock(one.path, where=one.path.name, reading=reading, refused=refused)
        one.said += [n for n in notes if n not in rows.said]
        check_stock(listed, species=one.facts.get("species", []), refused=refused)
    except InputFault as error:
        one.said.append(f"as it stands it would be refused: {error.faults[0].came}; {error.faults[0].do}")
        one.facts["refused"] = list(error.faults)
        return
    _refused(one, refused)
