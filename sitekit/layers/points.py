"""Existing colonies as points in the working system, every fault of the file at once, or its faulty rows set aside."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from pyproj import CRS

from sitekit.base.crs import datum_note, read_crs, transform_points
from sitekit.base.units import METRES_PER
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.aliases import Aliases
from sitekit.layers.cells import MEND, Reading, Refused, Rows, listed, point
from sitekit.layers.columns import factor_of, find_column
from sitekit.layers.coordinates import Columns, Located, exchanged, locate, swapped
from sitekit.layers.depth_units import UNITS
from sitekit.layers.rows import TABLES, read_rows
from sitekit.layers.vector_file import read_vector

ORIGINS = ("wild", "outplant")
SWAPPED = "latitude and longitude look swapped"
_OWN_COLUMNS = "each in its own column, as in the other rows"
_SWAP = 'swapped_rows = "swap" exchanges them'
_FIELDS = ("species", "size_cm", "origin", "position_error_m", "depth", "date", "status", "partner")
_UNITS = {
    "size_cm": {"cm": 1.0, "mm": 0.1, "in": 2.54, "m": 100.0},
    "position_error_m": METRES_PER,
    "depth": METRES_PER,
}


@dataclass(frozen=True)
class Given:
    """What a person said of a file of colonies; what is left out is found, and told.

    Parameters
    ----------
    position : str
        Column that holds latitude and longitude together.
    reading : Reading
        Sheet and header line.
    partner : str
        Who gave the file, where it has no such column.
    aliases : Aliases
        Partners' names of species.
    depth_units : {"m", "ft", "fathom"}
        Unit of depths, where neither the column's name nor a second header row tells it.
    depth_units_by_year : mapping of str to str
        For years whose depths are in another unit.
    swap : bool
        Whether rows whose latitude and longitude look swapped are exchanged instead of refused.
    """

    position: str | None = None
    reading: Reading = field(default_factory=Reading)
    partner: str | None = None
    aliases: Aliases = field(default_factory=Aliases)
    depth_units: str | None = None
    depth_units_by_year: Mapping[str, str] = field(default_factory=dict)
    swap: bool = False


def read_points(
    path: Path,
    *,
    to_crs: CRS,
    x: str | None = None,
    y: str | None = None,
    crs: str | None = None,
    columns: Mapping[str, str] | None = None,
    origin: str | None = None,
    position_error_m: float | None = None,
    where: str = "layers.colonies",
    given: Given | None = None,
    refused: list[Refused] | None = None,
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read colonies from a table (text or spreadsheet) or a vector file.

    Parameters
    ----------
    path : Path
        The file.
    to_crs : pyproj.CRS
        The working system.
    x, y : str, optional
        Coordinate columns of a table, where their names are unusual.
    crs : str, optional
        System of the coordinates, or their datum; WGS 84 for columns named after latitude and longitude.
    columns : mapping, optional
        Field (`species`, `size_cm`, `origin`, `position_error_m`, `depth`, `date`, `partner`) -> column of the file; by
        default found by name.
    origin, position_error_m
        For files without such a column.
    where : str
        For messages.
    given : Given, optional
        What else is known of the file.
    refused : list of Refused, optional
        Takes the rows that cannot be used, and the others go on; without it such rows are faults.

    Returns
    -------
    GeoDataFrame, tuple of str
        `species`, `species_written` (where the list of names changed it), `size_cm`, `origin`, `position_error_m`,
        `partner`, `file`, `line`, `called` (the name of a waypoint, or empty), point; with a column of depths also
        `year`, `depth_read` (the number in the file), `depth_unit` (None where it is not told) and `depth_m`; and notes
        on how the file was understood.

    Raises
    ------
    FileFault, InputFault
        With every fault: missing columns, text where a number is due, swapped coordinates, empty file.

    Notes
    -----
    Rows whose Darwin Core `occurrenceStatus` is absent are no colonies: left out and told.
    """
    asked = given or Given()
    table = path.suffix.lower() in TABLES
    if table:
        rows = read_rows(path, where, asked.reading)
        place = locate(rows, where, to_crs, Columns(x, y, asked.position, crs, asked.swap)) if rows.cells else None
    else:
        rows, place = _vector(path, crs, where, to_crs, swap=asked.swap)
    if not rows.cells or place is None:
        if rows.broken and refused is None:
            raise InputFault(*listed([r.fault() for r in rows.broken], where, rows.file, len(rows.broken)))
        raise InputFault(Fault(where, f"{path.name} holds no colony", "at least one row", "Leave the layer out."))
    names = _field_columns(rows, columns or {}, where, origin, position_error_m)
    kept, values, bad, notes = _values(rows, names, asked, origin, position_error_m)
    for i, (came, due) in place.bad.items():
        bad.setdefault(i, []).insert(0, (came, due))
    turned = swapped(place.given_x, place.given_y, to_crs) if place.geographic else np.zeros(len(rows.cells), bool)
    wrong = [i for i in kept if turned[i] and i not in place.bad]
    if wrong and refused is None and not any(i in bad for i in kept):
        raise _swapped_fault(wrong, rows, path, where)
    for i in wrong:
        bad.setdefault(i, []).append((SWAPPED, _OWN_COLUMNS))
    bad = {i: why for i, why in bad.items() if i in kept}
    _tell_or_set_aside(rows, bad, where, refused)
    keep = [i for i in kept if i not in bad]
    if not keep:
        raise InputFault(Fault(where, f"no row of {path.name} can be used", "at least one", "Correct the file."))
    shape = gpd.points_from_xy(place.x[keep], place.y[keep])
    data = {name: [column[i] for i in keep] for name, column in values.items()}
    called = rows.column("name") if not table and "name" in rows.names else [""] * len(rows.cells)
    data |= {
        "file": [path.name] * len(keep),
        "line": [rows.lines[i] for i in keep],
        "called": [called[i] for i in keep],
    }
    frame = gpd.GeoDataFrame(data, geometry=shape, crs=to_crs)
    for name in ("size_cm", "position_error_m", "depth_read", "depth_m"):
        if name in frame:
            frame[name] = frame[name].astype("float64")
    frame.attrs["source_crs"] = ", ".join(place.systems)
    said = [*rows.said, *place.notes, *notes, *_unread(rows, [*names.values(), x, y, asked.position])]
    set_aside = len(bad) + len(rows.broken)
    if set_aside:
        said.append(f"{set_aside} rows refused; a run lists them in out/refused_rows.csv")
    same = int(frame.duplicated(subset=["geometry"]).sum())
    if same:
        said.append(f"{same} colonies stand on the position of another")
    return frame, tuple(said)


def _field_columns(
    rows: Rows, named: Mapping[str, str], where: str, origin: str | None, error_m: float | None
) -> dict[str, str]:
    found: dict[str, str] = {}
    with Faults() as faults:
        for one in _FIELDS:
            column = named.get(one) or find_column(rows.names, one)
            if column is not None and column in rows.names:
                found[one] = column
            elif one in named:
                faults.add(
                    f"{where}.columns.{one}", f"no column {column!r}", ", ".join(sorted(rows.names)), "Correct it."
                )
        if "position_error_m" not in found and error_m is None:
            faults.add(
                f"{where}.position_error_m", "not given", "the error of the positions [m]",
                "It widens the clearance: state it.",
            )  # fmt: skip
        if "origin" not in found and origin is None:
            faults.add(f"{where}.origin", "not given", "wild or outplant", "Say which, or name a column.")
    return found


def _unread(rows: Rows, used: list[str | None]) -> list[str]:
    """A sentence on columns that are not read, none without such."""
    places = ("longitude", "latitude", "position", "easting", "northing", "zone", "datum")
    left = [n for n in rows.names if n not in {*used, *(find_column(rows.names, f) for f in places)}]
    return [f"columns not read: {', '.join(left)[:200]}"] if left else []


Why = dict[int, list[tuple[str, str]]]


def _values(
    rows: Rows, names: Mapping[str, str], asked: Given, origin: str | None, error_m: float | None
) -> tuple[list[int], dict[str, list[Any]], Why, list[str]]:
    """Rows that are colonies, a list per field over all rows, and what is wrong with which row."""
    bad: Why = {}
    cells = {one: rows.column(column) for one, column in names.items()}
    blank = [""] * len(rows.cells)
    notes = [f"{column!r} read as {one}" for one, column in names.items() if one.split("_")[0] not in column.lower()]
    gone = {i for i, text in enumerate(cells.get("status", blank)) if text.lower() == "absent"}
    if gone:
        notes.append(f"{len(gone)} rows that say absent left out")
    partners = [text or asked.partner or "" for text in cells.get("partner", blank)]
    raw = cells.get("species", blank)
    species = [asked.aliases.species(s, p) or None for s, p in zip(raw, partners, strict=True)]
    mapped = sum(1 for a, b in zip(raw, species, strict=True) if a and a != b)
    if mapped:
        notes.append(f"{mapped} species named after the list of partners' names")
    written = [a if a and a != b else None for a, b in zip(raw, species, strict=True)]
    values: dict[str, list[Any]] = {"species": species, "species_written": written}
    values["size_cm"] = _numbers(rows, "size_cm", names, bad, notes)
    own = [(text or origin or "").lower() for text in cells.get("origin", blank)]
    for i, text in enumerate(own):
        if text not in ORIGINS:
            bad.setdefault(i, []).append((f"origin {text!r}", " or ".join(ORIGINS)))
    values["origin"] = own
    errors = [error_m if e is None else e for e in _numbers(rows, "position_error_m", names, bad, notes)]
    for i, error in enumerate(errors):
        if error is None and not any(w[0].startswith("position_error_m") for w in bad.get(i, [])):
            bad.setdefault(i, []).append(("no position error", "a number of metres"))
    values["position_error_m"] = errors
    values["partner"] = [p or None for p in partners]
    if "depth" in names:
        values["year"] = [(re.findall(r"(?:19|20)\d\d", t) or [""])[0] for t in cells.get("date", blank)]
        values["depth_read"], values["depth_unit"] = _depths(rows, names, asked, values["year"], bad, notes)
        values["depth_m"] = [
            None if v is None or u is None else v * METRES_PER[u]
            for v, u in zip(values["depth_read"], values["depth_unit"], strict=True)
        ]
    return [i for i in range(len(rows.cells)) if i not in gone], values, bad, notes


def _depths(
    rows: Rows, names: Mapping[str, str], asked: Given, years: list[str], bad: Why, notes: list[str]
) -> tuple[list[float | None], list[str | None]]:
    """Depths as the file has them, and the unit of each, None where it is not told."""
    column = names["depth"]
    factor = factor_of("depth", column) or METRES_PER.get(rows.units.get(column, ""))
    unit = asked.depth_units or next((u for u in UNITS if METRES_PER[u] == factor), None)
    raw = [
        None if v is None else abs(v)
        for v in _numbers(rows, "depth", {"depth": column}, bad, [], factor=1.0, least=None)
    ]
    by_year = asked.depth_units_by_year
    lost = [y for y in by_year if y not in set(years)]
    if lost:
        notes.append(f"depth_units_by_year names years without a row: {', '.join(lost)}")
    told = "which tells no unit" if unit is None else f"in {unit}"
    notes.append(f"depths from {column!r}, {told}" + "".join(f"; {y} in {u}" for y, u in by_year.items()))
    return raw, [by_year.get(year, unit) for year in years]


def _numbers(
    rows: Rows, one: str, names: Mapping[str, str], bad: Why, notes: list[str], *, factor: float | None = None,
    least: float | None = 0.0,
) -> list[float | None]:  # fmt: skip
    """A column as numbers in the field's unit, None where empty."""
    column = names.get(one)
    if column is None:
        return [None] * len(rows.cells)
    if factor is None:
        unit = one.rsplit("_", 1)[-1]
        told = factor_of(one, column) or _UNITS[one].get(rows.units.get(column, ""))
        factor = told or 1.0
        if told is None:
            notes.append(f"{column!r} tells no unit: taken as {unit}")
        elif factor != 1.0:
            notes.append(f"{column!r} holds {_unit_of(one, factor)}: times {factor:g} gives {unit}")
    found: list[float | None] = []
    for i, text in enumerate(rows.column(column)):
        odd = rows.odd.get((rows.lines[i], column))
        value: float | None = None
        if odd:
            bad.setdefault(i, []).append((f"{one} is {odd}", "a number"))
        elif text and text.upper() not in ("NA", "NAN"):
            try:
                value = float(point(text, rows.decimal)) * factor if "_" not in text else float("x")
            except ValueError:
                bad.setdefault(i, []).append((f"{one} is {text!r}", "a number"))
            else:
                if not np.isfinite(value) or (least is not None and value < least):
                    due = f"a number{'' if least is None else f' of {least:g} or more'}"
                    bad.setdefault(i, []).append((f"{one} is {text}", due))
                    value = None
        found.append(value)
    return found


def _unit_of(one: str, factor: float) -> str:
    """Name of the unit whose factor a column has."""
    return next((u for u, f in _UNITS[one].items() if f == factor), "another unit")


def _tell_or_set_aside(rows: Rows, bad: Why, where: str, refused: list[Refused] | None) -> None:
    if refused is not None:
        refused += [replace(r, layer=where) for r in rows.broken]
        for i in sorted(bad):
            why = "; ".join(f"{came} (due: {due})" for came, due in bad[i])
            do = (
                f"Ask who wrote it; if the two changed places, {_SWAP}."
                if any(came == SWAPPED for came, _ in bad[i])
                else MEND
            )
            refused.append(Refused(where, rows.file, rows.lines[i], rows.text_of(i), why, do))
        return
    faults = [r.fault() for r in rows.broken]
    faults += [Fault(f"{rows.file}, line {rows.lines[i]}", c, d, "Correct it.") for i in sorted(bad) for c, d in bad[i]]
    if faults:
        raise InputFault(*listed(faults, where, rows.file, len(bad) + len(rows.broken)))


def _vector(path: Path, crs: str | None, where: str, to_crs: CRS, *, swap: bool = False) -> tuple[Rows, Located | None]:
    frame, notes = read_vector(path, where)
    keep = (frame.geometry.notna() & (frame.geometry.geom_type == "Point")).to_numpy(bool)
    said = list(notes)
    if not keep.all():
        said.append(f"{int((~keep).sum())} rows without a point left out")
    frame = frame[keep]
    source = read_crs(crs, f"{where}.crs") if crs else frame.crs
    if source is None:
        raise InputFault(Fault(where, f"{path.name} does not say its system", "a coordinate system", "Add `crs`."))
    source = CRS(source)
    names = [str(c) for c in frame.columns if c not in (frame.geometry.name, "line")]
    cells = [[_text(v) for v in row] for row in frame[names].itertuples(index=False, name=None)]
    rows = Rows(path.name, names, cells, [int(n) for n in frame["line"]], {}, ".", tuple(said), [], {})
    if not cells:
        return rows, None
    x, y = frame.geometry.x.to_numpy(np.float64), frame.geometry.y.to_numpy(np.float64)
    told = [f"system {source.name}"]
    if swap and source.is_geographic:
        x, y, turned = exchanged(x, y, to_crs)
        told += [f"latitude and longitude exchanged in {len(turned)} rows, as swapped_rows says"] if turned else []
    east, north = transform_points(x, y, source, to_crs)
    shift = datum_note(source, to_crs, x, y)
    told += [f"datum shift: {shift}"] if shift else []
    return rows, Located(east, north, x, y, source.is_geographic, tuple(told), {}, (source.name,))


def _text(value: Any) -> str:
    """Text of a cell; a vector file's empty cell may come as NaN."""
    return "" if value is None or (isinstance(value, float) and np.isnan(value)) else str(value).strip()


def _swapped_fault(turned: list[int], rows: Rows, path: Path, where: str) -> InputFault:
    first = ", ".join(str(rows.lines[i]) for i in turned[:5])
    came = f"{path.name}: {SWAPPED} in {len(turned)} rows (lines {first})"
    table = f'[[layers.colonies]] with file = "{path.name}"'
    if len(turned) == len(rows.cells):
        do = f'Name the columns the other way round in {table}: x = "(longitudes)", y = "(latitudes)".'
        return InputFault(Fault(where, came, "longitude in x, latitude in y", do))
    do = (
        f"Ask who wrote them. If so, {_SWAP} in {table}; else correct them, or leave them out: accept_partial = true "
        "there lists them in out/refused_rows.csv."
    )
    return InputFault(Fault(where, came, _OWN_COLUMNS, do))
