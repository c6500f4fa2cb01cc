"""Waypoints of GPX files and placemarks of KML and KMZ files as shapes with their line in the file.

Styles, pictures, links to other files and tracks are left out and told; descriptions stay text, whatever stands in them.
Coordinates are longitude and latitude on WGS 84 by definition of both formats (GPX 1.1 schema [source key: gpx-1-1]; OGC
KML 2.2, 07-147r2 [source key: kml-2-2], recalled, unverified).
"""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

from sitekit.base.crs import WGS84
from sitekit.errors import Fault, Faults, FileFault, InputFault
from sitekit.layers.xml_tree import Element, parse_xml
from sitekit.layers.zipped import member_named, open_archive

MOST_BYTES = 128 * 2**20  # of a GPX or KML text: ours
_LISTED = 20
Found = tuple[gpd.GeoDataFrame, tuple[str, ...]]


def read_gpx(path: Path, where: str) -> Found:
    """Return the waypoints of a GPX file: columns name, desc, sym, type, time, ele, `line`, point.

    Raises
    ------
    FileFault
        If it cannot be read.
    InputFault
        If it is too large, no GPX, holds tracks or routes only, or positions off the globe: all of them at once.
    """
    root = parse_xml(_bytes(path, where), f"{where}, {path.name}")
    if root.name != "gpx":
        raise InputFault(Fault(where, f"{path.name} holds <{root.name}>", "a GPX file", "Export it as GPX again."))
    kinds = Counter(e.name for e in root.children)
    points = [e for e in root.children if e.name == "wpt"]
    if not points:
        came = f"{path.name} holds {kinds['trk']} tracks, {kinds['rte']} routes and no waypoint"
        raise InputFault(
            Fault(where, came, "waypoints", "Mark each colony or place as a waypoint; a track is no place.")
        )
    rows, shapes = [], []
    with Faults() as faults:
        for one in points:
            lon, lat = (_float(one.attributes.get(k, "")) for k in ("lon", "lat"))
            if not (abs(lon) <= 180 and abs(lat) <= 90):
                _add(faults, f"{path.name}, line {one.line}", f"lon {lon:g}, lat {lat:g}", "a place on the globe")
            rows.append(
                {k: one.said(k) or None for k in ("name", "desc", "sym", "type", "time", "ele")} | {"line": one.line}
            )
            shapes.append(shapely.Point(lon, lat))
    notes = [f"GPX, {len(points)} waypoints, WGS 84"]
    if kinds["trk"] or kinds["rte"]:
        notes.append(f"{kinds['trk']} tracks and {kinds['rte']} routes left out")
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=WGS84), tuple(notes)


def read_kml(path: Path, where: str) -> Found:
    """Return the placemarks of a KML or KMZ file: columns name, description, folder, own data fields, `line`, shape.

    Raises
    ------
    FileFault
        If it cannot be read.
    InputFault
        If it is too large (KMZ: 512 MiB unpacked or packed over 400 times), no KML, a KMZ with none or several documents,
        or has no placemark with a place, or coordinates off the globe: all of them at once.
    """
    notes: list[str] = []
    root = parse_xml(_kml_bytes(path, where, notes), f"{where}, {path.name}")
    if root.name != "kml":
        raise InputFault(Fault(where, f"{path.name} holds <{root.name}>", "a KML file", "Export it as KML again."))
    rows, shapes, empty = [], [], 0
    left = Counter(e.name for e in root.walk())
    with Faults() as faults:
        for mark, folders in _placemarks(root):
            parts = [s for e in mark.children if (s := _shape(e, f"{path.name}, line {e.line}", faults)) is not None]
            if not parts:
                empty += 1
                continue
            own = {k: v for k, v in _own_data(mark).items() if k not in ("name", "folder", "line", "geometry")}
            rows.append(
                {"name": mark.said("name") or None, "description": mark.said("description") or None,
                 "folder": " / ".join(folders) or None, "line": mark.line, **own}
            )  # fmt: skip
            shapes.append(parts[0] if len(parts) == 1 else shapely.GeometryCollection(parts))
    if not shapes:
        raise InputFault(
            Fault(where, f"{path.name} holds no placemark with a place", "points or areas", "Check the file.")
        )
    notes.append(f"KML, {len(shapes)} placemarks, WGS 84")
    if empty:
        notes.append(f"{empty} placemarks without a place left out")
    for name, said in (("NetworkLink", "links to other files"), ("GroundOverlay", "pictures"), ("Track", "tracks")):
        if left[name]:
            notes.append(f"{left[name]} {said} left out")
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=WGS84), tuple(notes)


def _bytes(path: Path, where: str) -> bytes:
    try:
        size = path.stat().st_size
        if size <= MOST_BYTES:
            return path.read_bytes()
    except OSError as error:
        raise FileFault(
            Fault(where, f"{path.name} cannot be read ({error.strerror or error})", "a file", "Correct the path.")
        ) from error
    raise InputFault(
        Fault(
            where, f"{path.name} has {size / 2**20:,.0f} MiB", f"at most {MOST_BYTES // 2**20} MiB", "Split the file."
        )
    )


def _kml_bytes(path: Path, where: str, notes: list[str]) -> bytes:
    if path.suffix.lower() != ".kmz":
        return _bytes(path, where)
    with open_archive(path, where) as archive:
        inside = member_named(archive, ".kml")
        main = [n for n in inside if n.lower() == "doc.kml"] or inside
        if len(main) != 1:
            came = f"{path.name} holds {len(inside)} KML documents: {', '.join(inside[:5]) or 'none'}"
            raise InputFault(Fault(where, came, "one, or a doc.kml", "Unpack it and give the file that is meant."))
        others = [n for n in inside if n != main[0]]
        notes.append(f"KMZ, read {main[0]}" + (f", not {', '.join(others[:5])}" if others else ""))
        if archive.getinfo(main[0]).file_size > MOST_BYTES:
            raise InputFault(
                Fault(where, f"{main[0]} has over {MOST_BYTES // 2**20} MiB", "a smaller document", "Split the file.")
            )
        return archive.read(main[0])


def _placemarks(root: Element) -> list[tuple[Element, list[str]]]:
    found: list[tuple[Element, list[str]]] = []
    waiting: list[tuple[Element, list[str]]] = [(root, [])]
    while waiting:
        one, folders = waiting.pop()
        if one.name == "Placemark":
            found.append((one, folders))
            continue
        inner = [*folders, one.said("name")] if one.name == "Folder" and one.said("name") else folders
        waiting.extend((c, inner) for c in reversed(one.children))
    return found


def _own_data(mark: Element) -> dict[str, str]:
    """Fields of ExtendedData: Data with a value, SimpleData of a schema."""
    data = mark.child("ExtendedData")
    found: dict[str, str] = {}
    for one in data.walk() if data else ():
        key = one.attributes.get("name", "")
        if one.name == "Data" and key:
            found[key] = one.said("value")
        elif one.name == "SimpleData" and key:
            found[key] = one.text.strip()
    return found


def _shape(one: Element, at: str, faults: Faults) -> BaseGeometry | None:
    if one.name == "Point":
        line = _coordinates(one.said("coordinates"), at, faults)
        return shapely.Point(line[0]) if line else None
    if one.name in ("LineString", "LinearRing"):
        line = _coordinates(one.said("coordinates"), at, faults)
        return shapely.LineString(line) if len(line) > 1 else None
    if one.name == "Polygon":
        rings = [
            _coordinates(ring.said("coordinates"), at, faults)
            for side in ("outerBoundaryIs", "innerBoundaryIs")
            for bound in one.children
            if bound.name == side
            for ring in bound.children
            if ring.name == "LinearRing"
        ]
        rings = [r for r in rings if len(r) > 2]
        return shapely.Polygon(rings[0], rings[1:]) if rings else None
    if one.name == "MultiGeometry":
        parts = [s for c in one.children if (s := _shape(c, at, faults)) is not None]
        kinds = {p.geom_type for p in parts}
        if kinds == {"Polygon"}:
            return shapely.MultiPolygon([p for p in parts if isinstance(p, shapely.Polygon)])
        return shapely.GeometryCollection(parts) if parts else None
    return None


def _coordinates(text: str, at: str, faults: Faults) -> list[tuple[float, float]]:
    found = []
    for entry in text.split():
        lon, lat, *_ = [*map(_float, entry.split(",")), math.nan, math.nan]
        if not (abs(lon) <= 180 and abs(lat) <= 90):
            _add(faults, at, f"coordinates {entry[:60]!r}", "longitude,latitude[,height] on the globe")
        else:
            found.append((lon, lat))
    return found


def _add(faults: Faults, at: str, came: str, due: str) -> None:
    if len(faults.found) < _LISTED:
        faults.add(at, came, due, "Correct it.")
    elif len(faults.found) == _LISTED:
        faults.add(at, "more faults follow", due, "Correct these first.")


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
