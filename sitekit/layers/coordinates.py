"""Coordinates of a table's rows: which columns, in which notation, zone and datum; what cannot be read told row by row."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion
from pyproj.exceptions import CRSError

from sitekit.base.crs import WGS84, datum_note, read_crs, transform_points
from sitekit.base.notation import Axis
from sitekit.base.positions import read_angle, read_position
from sitekit.errors import Fault, InputFault
from sitekit.layers.cells import Rows
from sitekit.layers.columns import find_column, hemisphere_of, plain_name

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_ZONE = re.compile(r"\s*(?:zone|zona|huso)?\s*(\d{1,2})\s*([A-Za-z]*)\s*")
# Names of datums as people and Darwin Core's geodeticDatum write them, letters and digits only.
DATUMS = {"wgs84": "EPSG:4326", "wgs1984": "EPSG:4326", "worldgeodeticsystem1984": "EPSG:4326", "nad27": "EPSG:4267",
          "wgs72": "EPSG:4322", "wgs1972": "EPSG:4322",
          "nad1927": "EPSG:4267", "nad83": "EPSG:4269", "nad1983": "EPSG:4269", "gda94": "EPSG:4283",
          "gda2020": "EPSG:7844", "sirgas2000": "EPSG:4674", "etrs89": "EPSG:4258", "ed50": "EPSG:4230",
          "prvd": "EPSG:4139", "puertorico": "EPSG:4139", "tokyo": "EPSG:4301", "oldhawaiian": "EPSG:4135"}  # fmt: skip


@dataclass(frozen=True)
class Columns:
    """Columns and system of coordinates, as a person named them; what is left out is found by name."""

    x: str | None = None
    y: str | None = None
    position: str | None = None
    crs: str | None = None
    swap: bool = False  # rows that fit the working area only the other way round are exchanged, and told


@dataclass(frozen=True)
class Located:
    """Coordinates of rows.

    Parameters
    ----------
    x, y : array, shape (n,)
        Easting and northing in the working system [m], NaN where a row cannot be read.
    given_x, given_y : array, shape (n,)
        As they stand in the file: longitude and latitude [degrees], or metres.
    geographic : bool
        Whether the file gives degrees.
    notes : tuple of str
        Columns, system, shift of datum.
    bad : dict of int to (came, due)
        Rows that cannot be read.
    systems : tuple of str
        Names of the systems of the file.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    given_x: NDArray[np.float64]
    given_y: NDArray[np.float64]
    geographic: bool
    notes: tuple[str, ...]
    bad: dict[int, tuple[str, str]]
    systems: tuple[str, ...] = ()


def locate(rows: Rows, where: str, to_crs: CRS, columns: Columns | None = None) -> Located:
    """Return where the rows of a table lie.

    Parameters
    ----------
    rows : Rows
        The table.
    where : str
        Settings key, for messages.
    to_crs : pyproj.CRS
        The working system.
    columns : Columns, optional
        What a person named.

    Raises
    ------
    InputFault
        If no coordinate columns are found, or eastings come without a system.

    Notes
    -----
    Degrees are read as decimal numbers or in any notation of `read_angle`. A column named after W or S, such as
    `Longitude (W)`, holds degrees of that hemisphere where neither sign nor letter stands. Without `crs` and without a
    column of datums, degrees count as WGS 84, and the note says so.
    """
    asked = columns or Columns()
    at = _columns(rows, where, asked)
    if "position" in at:
        x, y, bad, notes = _whole_positions(rows, at["position"])
        geographic = True
    else:
        geographic = at["kind"] == "degrees"
        x, y, bad, notes = (_degrees if geographic else _metres)(rows, at["x"], at["y"])
    if geographic and asked.swap:
        x, y, turned = exchanged(x, y, to_crs)
        notes += _turned_note([rows.lines[i] for i in turned])
    systems, more = _systems(rows, where, asked, bad, geographic=geographic)
    east, north = np.full(len(x), np.nan), np.full(len(x), np.nan)
    names: list[str] = []
    for key in sorted(set(systems)):
        here = np.array([s == key for s in systems], bool)
        source = _system(key, where)
        if source is None:
            continue
        east[here], north[here] = transform_points(x[here], y[here], source, to_crs)
        shift = datum_note(source, to_crs, x[here], y[here])
        names.append(source.name)
        notes.append(f"system {source.name}" + (f", {int(here.sum())} rows" if len(set(systems)) > 1 else ""))
        notes += [f"datum shift: {shift}"] if shift else []
    for i in bad:
        east[i] = north[i] = np.nan
    return Located(east, north, x, y, geographic, (*notes, *more), bad, tuple(names))


def swapped(x: NDArray[np.float64], y: NDArray[np.float64], to_crs: CRS) -> NDArray[np.bool_]:
    """Whether degrees fit the working area only with longitude and latitude exchanged, or a latitude passes 90 degrees.

    Parameters
    ----------
    x, y : array, shape (n,)
        Longitude and latitude as given [degrees].
    to_crs : pyproj.CRS
        The working system; its area of use, 5 degrees wider (ours), is the working area.
    """
    found: NDArray[np.bool_] = np.abs(y) > 90
    if to_crs.area_of_use is not None:
        w, s, e, n = to_crs.area_of_use.bounds
        out = (x < w - 5) | (x > e + 5) | (y < s - 5) | (y > n + 5)
        turned = (x >= s) & (x <= n) & (y >= w - 5) & (y <= e + 5)
        found = found | (out & turned)
    return found


def exchanged(
    x: NDArray[np.float64], y: NDArray[np.float64], to_crs: CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[int]]:
    """Return longitudes and latitudes with those rows exchanged that are `swapped`, and the rows."""
    turn = swapped(x, y, to_crs)
    return np.where(turn, y, x), np.where(turn, x, y), [int(i) for i in np.flatnonzero(turn)]


def _turned_note(lines: list[int]) -> list[str]:
    if not lines:
        return []
    shown = ", ".join(map(str, lines[:5])) + (" …" if len(lines) > 5 else "")
    return [f"latitude and longitude exchanged in {len(lines)} rows (lines {shown}), as swapped_rows says"]


def _columns(rows: Rows, where: str, asked: Columns) -> dict[str, str]:
    named = {"x": asked.x, "y": asked.y, "position": asked.position}
    lost = [f"{k} = {v!r}" for k, v in named.items() if v is not None and v not in rows.names]
    found = {f: find_column(rows.names, f) for f in ("longitude", "latitude", "easting", "northing", "position")}
    if not lost:
        if asked.position:
            return {"position": asked.position}
        if asked.x and asked.y:
            both = find_column([asked.x], "longitude") and find_column([asked.y], "latitude")
            degrees = bool(both) or (asked.crs is not None and read_crs(asked.crs, f"{where}.crs").is_geographic)
            unknown = not both and find_column([asked.x], "easting") is None and asked.crs is None
            if unknown or (not degrees and asked.crs is None and find_column(rows.names, "zone") is None):
                raise _no_system(asked.x, asked.y, where)
            return {"x": asked.x, "y": asked.y, "kind": "degrees" if degrees else "metres"}
        if found["longitude"] and found["latitude"]:
            return {"x": found["longitude"], "y": found["latitude"], "kind": "degrees"}
        if found["position"]:
            return {"position": found["position"]}
        if found["easting"] and found["northing"]:
            if asked.crs is None and find_column(rows.names, "zone") is None:
                raise _no_system(found["easting"], found["northing"], where)
            degrees = asked.crs is not None and read_crs(asked.crs, f"{where}.crs").is_geographic
            zoned = find_column(rows.names, "zone") is not None
            return {
                "x": found["easting"], "y": found["northing"], "kind": "degrees" if degrees and not zoned else "metres"
            }  # fmt: skip
    came = f"{rows.file} has columns {', '.join(rows.names)[:300]}" + (f"; none for {', '.join(lost)}" if lost else "")
    due = "columns of coordinates (lon and lat, x and y, or one position)"
    raise InputFault(Fault(where, came, due, 'Name them: x = "…", y = "…", or position = "…".'))


def _no_system(x: str, y: str, where: str) -> InputFault:
    return InputFault(
        Fault(where, f"columns {x!r} and {y!r} without a system", "the system of the coordinates", "Add `crs`.")
    )


Read = tuple[NDArray[np.float64], NDArray[np.float64], dict[int, tuple[str, str]], list[str]]


def _degrees(rows: Rows, cx: str, cy: str) -> Read:
    bad: dict[int, tuple[str, str]] = {}
    out, written = {}, 0
    axes: tuple[tuple[str, Axis], ...] = ((cx, "lon"), (cy, "lat"))
    for name, axis in axes:
        letter = hemisphere_of(name)
        values = np.full(len(rows.cells), np.nan)
        for i, text in enumerate(rows.column(name)):
            odd = rows.odd.get((rows.lines[i], name))
            if odd or not text:
                bad.setdefault(i, (f"{name} is {odd or 'empty'}", "a number"))
                continue
            plain = text.replace(",", ".") if "," in text and "." not in text else text
            try:
                if _NUMBER.fullmatch(plain):
                    values[i] = float(plain)
                else:
                    values[i] = read_angle(plain, axis, name)
                    written += 1
            except InputFault as error:
                if not re.search(r"\d", text):
                    bad.setdefault(i, (f"{name} is {text[:80]!r}", "a number"))
                    continue
                due = "a number or degrees and minutes"
                bad.setdefault(i, (f"{name} is {text[:80]!r}: {error.faults[0].came}; {error.faults[0].do}", due))
                continue
            if letter in ("W", "S") and not re.search(r"[NSEWnsew]\s*$|^\s*[NSEWnsew]", text):
                if values[i] < 0:
                    bad.setdefault(i, (f"{name} is {text!r}: a sign under a name that ends in {letter}", "one of both"))
                values[i] = -values[i]
        out[axis] = values
    notes = [f"coordinates from {cx!r} and {cy!r}"]
    if written:
        notes.append(f"{written} cells read as degrees, minutes or letters")
    for name in (cx, cy):
        if hemisphere_of(name) in ("W", "S"):
            notes.append(f"numbers without sign or letter in {name!r} count as {hemisphere_of(name)}")
    return out["lon"], out["lat"], bad, notes


def _metres(rows: Rows, cx: str, cy: str) -> Read:
    bad: dict[int, tuple[str, str]] = {}
    out = []
    for name in (cx, cy):
        values = np.full(len(rows.cells), np.nan)
        for i, text in enumerate(rows.column(name)):
            plain = re.sub(r"\s*m$", "", text)
            plain = plain.replace(",", ".") if rows.decimal == "," else plain
            if _NUMBER.fullmatch(plain) and (rows.lines[i], name) not in rows.odd:
                values[i] = float(plain)
            else:
                shown = rows.odd.get((rows.lines[i], name)) or (repr(text[:80]) if text else "empty")
                bad.setdefault(i, (f"{name} is {shown}", "a number of metres"))
        out.append(values)
    return out[0], out[1], bad, [f"coordinates from {cx!r} and {cy!r}, metres"]


def _whole_positions(rows: Rows, name: str) -> Read:
    x, y, bad = np.full(len(rows.cells), np.nan), np.full(len(rows.cells), np.nan), {}
    for i, text in enumerate(rows.column(name)):
        try:
            x[i], y[i] = read_position(text)
        except InputFault as error:
            bad[i] = (f"{name}: {error.faults[0].came}" if text else f"{name} is empty", "a latitude and a longitude")
    return x, y, bad, [f"coordinates from {name!r}, latitude first where no letters stand"]


def _systems(
    rows: Rows, where: str, asked: Columns, bad: dict[int, tuple[str, str]], *, geographic: bool
) -> tuple[list[str], list[str]]:
    """Key of a system per row: a code, or zone and code; rows without one become bad."""
    datum, zone = find_column(rows.names, "datum"), find_column(rows.names, "zone")
    base = [asked.crs or ""] * len(rows.cells)
    notes = []
    if asked.crs is None and datum is not None:
        notes.append(f"datum from {datum!r}")
        for i, text in enumerate(rows.column(datum)):
            key = plain_name(text).replace("_", "")
            code = DATUMS.get(key) or (
                text.strip().upper() if re.fullmatch(r"(?i)epsg:\d{4,5}", text.strip()) else None
            )
            if code is None:
                bad.setdefault(i, (f"{datum} is {text[:60]!r}", "a known datum such as WGS84, NAD27, EPSG:4326"))
            base[i] = code or ""
    if geographic:
        if asked.crs is None and datum is None:
            notes.append("no datum is told: taken as WGS 84; if it is another, add `crs`")
            base = ["EPSG:4326"] * len(base)
        return base, notes
    if asked.crs is not None and not read_crs(asked.crs, f"{where}.crs").is_geographic:
        return base, notes
    for i, text in enumerate(rows.column(zone) if zone else [""] * len(base)):
        match = _ZONE.fullmatch(text)
        letter = match[2].upper() if match else ""
        if match is None or not 1 <= int(match[1]) <= 60 or len(letter) != 1 or letter in "ABIOYZ":
            bad.setdefault(i, (f"{zone} is {text[:40]!r}", "a zone with N or a band letter, such as 20N or 20Q"))
        elif letter == "S":
            due = "a zone whose letter has one meaning"
            bad.setdefault(i, (f"{zone} is {text!r}: S is south, or a band of the north", due))
        elif not base[i]:
            bad.setdefault(i, (f"{zone} {text!r} without a datum", "a column of datums, or crs of the datum"))
        else:
            base[i] = f"{int(match[1])}{'N' if letter >= 'N' else 'S'} {base[i]}"
    notes.append(f"zones from {zone!r}")
    return base, notes


def _system(key: str, where: str) -> CRS | None:
    if not key:
        return None
    zone, _, code = key.partition(" ") if re.match(r"\d+[NS] ", key) else ("", "", key)
    base = WGS84 if code == "EPSG:4326" else read_crs(code, f"{where}.crs")
    if not zone:
        return base
    try:
        conversion = UTMConversion(zone[:-1], zone[-1])
        return ProjectedCRS(conversion, name=f"UTM zone {zone} on {base.name}", geodetic_crs=base)
    except CRSError:
        return None
