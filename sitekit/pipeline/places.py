"""Places that a plan names: sites, named places, nursery and harbour, in the working system."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from sitekit.base.crs import read_crs
from sitekit.base.positions import read_position
from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.cells import Refused, listed, pairs_of, point
from sitekit.layers.columns import find_column
from sitekit.layers.coordinates import Columns, locate
from sitekit.layers.rows import TABLES, read_rows
from sitekit.layers.vector_file import read_vector
from sitekit.pipeline.project import Project
from sitekit.season.settings_layers import NamedPlaces
from sitekit.sites.codes import Coded, nearest_outline


def site_places(project: Project, crs: CRS) -> list[Coded]:
    """Return the sites of the plan.

    Raises
    ------
    InputFault
        Naming every position that cannot be read and every polygon file without polygons.
    """
    found = []
    turn = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    with Faults() as faults:
        for i, site in enumerate(project.settings.site):
            where = f"site[{i + 1}] ({site.code})"
            if site.at is not None:
                try:
                    longitude, latitude = read_position(site.at)
                except InputFault as error:
                    faults.found.extend(Fault(f"{where}.at", f.came, f.due, f.do) for f in error.faults)
                    continue
                found.append(Coded(site.code, shapely.Point(*turn.transform(longitude, latitude))))
            else:
                path = project.input(str(site.polygon), f"{where}.polygon")
                frame, _ = read_vector(path, f"{where}.polygon")
                shapes = [g for g in frame.to_crs(crs).geometry if g is not None and g.geom_type.endswith("Polygon")]
                if not shapes:
                    faults.add(f"{where}.polygon", f"{site.polygon!r} holds no polygon", "one polygon", "Correct it.")
                    continue
                found.append(Coded(site.code, shapely.unary_union(shapes)))
    return found


@dataclass(frozen=True)
class NamedPlace:
    """A place that a layer names: a polygon, or the disc around a point (the point itself where no radius is known)."""

    name: str
    kind: str | None
    shape: BaseGeometry


@dataclass(frozen=True)
class PlacesRead:
    """The layer of named places as read: places, how the file was understood, rows set aside."""

    places: list[NamedPlace]
    said: tuple[str, ...] = ()
    refused: tuple[Refused, ...] = ()


def named_places(project: Project, crs: CRS) -> list[NamedPlace]:
    """Return the named places of the plan's layer, in the order of the file.

    Raises
    ------
    InputFault
        As `places_reading`.
    """
    return places_reading(project, crs).places


def places_reading(project: Project, crs: CRS) -> PlacesRead:
    """Return the named places of the plan's layer, a table of points or any vector file, and how it was understood.

    Raises
    ------
    InputFault
        Naming every field that the file lacks, every row without a place or with a radius that is no number above 0.
    """
    layer = project.settings.layers.named_places
    if layer is None:
        return PlacesRead([])
    where = "layers.named_places"
    path = project.input(layer.file, f"{where}.file")
    if path.suffix.lower() in TABLES:
        rows = read_rows(path, where, layer.reading)
        located = locate(rows, where, crs, Columns(layer.x, layer.y, layer.position, layer.crs))
        lost = {i: f"{came} (due: {due})" for i, (came, due) in located.bad.items()}
        shapes: list[BaseGeometry | None] = [
            None if i in lost else shapely.Point(x, y)
            for i, (x, y) in enumerate(zip(located.x, located.y, strict=True))
        ]
        texts, lines = [rows.text_of(i) for i in range(len(rows.cells))], rows.lines
        fields: dict[str, list[Any]] = {n: [point(t, rows.decimal) for t in rows.column(n)] for n in rows.names}
        broken, said = rows.broken, [*rows.said, *located.notes]
    else:
        frame, notes = read_vector(path, where)
        if layer.crs is not None:
            frame = frame.set_crs(read_crs(layer.crs, f"{where}.crs"), allow_override=True)
        if frame.crs is None:
            raise InputFault(Fault(where, f"{path.name} does not say its system", "a system", "Add `crs`."))
        said, broken, lost = [*notes, f"system {frame.crs.name}"], [], {}
        shapes, lines = list(frame.to_crs(crs).geometry), [int(n) for n in frame["line"]]
        fields = {str(c): list(frame[c]) for c in frame.columns if c not in (frame.geometry.name, "line")}
        texts = [pairs_of(list(fields), row) for row in zip(*fields.values(), strict=True)] or [""] * len(lines)
    asked = _place_fields(layer, list(fields), said)
    found: list[NamedPlace] = []
    refused = list(broken)
    for i, (shape, line) in enumerate(zip(shapes, lines, strict=True)):
        name, kind, given = (fields[c][i] if (c := asked[k]) else None for k in ("name", "kind", "radius"))
        why = lost.get(i) or _unplaced(name, shape)
        radius = layer.radius_m
        if _filled(given):
            try:
                radius = float(str(given))
            except ValueError:
                radius = -1.0
            if not why and not 0 < radius < math.inf:
                why = f"named place {str(name)!r}: radius {given!r} (due: a number of metres above 0)"
        if why or shape is None:
            refused.append(Refused(where, path.name, line, texts[i][:300], why or ""))
            continue
        around = shape.buffer(radius) if radius is not None and not shape.geom_type.endswith("Polygon") else shape
        found.append(NamedPlace(str(name), str(kind) if _filled(kind) else None, around))
    if refused and not layer.accept_partial:
        raise InputFault(*listed([r.fault() for r in refused], where, path.name, len(refused)))
    return PlacesRead(found, tuple(said), tuple(replace(r, layer=where) for r in refused))


def _place_fields(layer: NamedPlaces, columns: list[str], said: list[str]) -> dict[str, str | None]:
    """Column of name, kind and radius; a name column that is not there is looked for among the usual ones."""
    asked = {"name": layer.name_field, "kind": layer.kind_field, "radius": layer.radius_field}
    if layer.name_field == "name" and "name" not in columns:
        usual = find_column(columns, "name")
        if usual is not None:
            asked["name"] = usual
            said.append(f"names from {usual!r}")
    with Faults() as faults:
        for key, column in asked.items():
            if column is not None and column not in columns:
                due = "one of " + ", ".join(columns)
                faults.add(f"layers.named_places.{key}_field", repr(column), due, "Name the column that holds it.")
    return asked


def _filled(value: Any) -> bool:
    return value is not None and not pd.isna(value) and str(value).strip() != ""


def _unplaced(name: Any, shape: BaseGeometry | None) -> str:
    lacks = ["no name"] if not _filled(name) else []
    return " and ".join([*lacks, "no place"] if shape is None or shape.is_empty else lacks)


def position_of(text: str, where: str) -> tuple[float, float]:
    """Return longitude and latitude of a position in the settings; a fault names the key.

    Raises
    ------
    InputFault
        If it is not a position.
    """
    try:
        return read_position(text)
    except InputFault as error:
        raise InputFault(*[Fault(where, f.came, f.due, f.do) for f in error.faults]) from error


def nearest_said(site: Coded, outlines: Sequence[Any], labels: Sequence[str], crs: CRS) -> str:
    """Return in words which candidate is nearest to a site that lies in none, and a position in it to move the site to."""
    found = nearest_outline(site.place, outlines)
    if found is None:
        return "there is no candidate"
    index, distance, point = found
    longitude, latitude = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(point.x, point.y)
    return f"the nearest is {labels[index]}, {distance:.0f} m off; {latitude:.6f}, {longitude:.6f} lies in it"
