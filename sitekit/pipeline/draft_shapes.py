"""A first look at a file of shapes: kinds, system, columns with their texts, and which table of the plan it fits."""

from __future__ import annotations

import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
from pyproj import CRS

from sitekit.base.crs import WGS84, geographic_bounds, name_of, utm_zone
from sitekit.errors import Fault, InputFault
from sitekit.layers.columns import factor_of, find_column, holds_codes, plain_name
from sitekit.layers.vector_file import read_vector
from sitekit.pipeline.draft_roles import class_column, role_of_name, role_of_shapes, rule_column
from sitekit.pipeline.draft_seen import DATUM, MAPPED, Seen, asked, asked_codes, listing, place, plain, proposed

_MOST_TEXTS = 60  # different texts of a column that may be classes or rules
_LEFT_OUT = ("note", "notes", "description", "desc", "folder", "line", "date", "time")


def look_at_shapes(path: Path) -> list[Seen]:
    """Return what a file of shapes shows.

    Raises
    ------
    FileFault, InputFault
        As `read_vector`; or if it holds no shape.
    """
    one = Seen(path, "shapes")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # pyogrio warns of several layers; told below
        frame, notes = read_vector(path, path.name)
    one.said += notes
    if path.suffix.lower() == ".gpkg":
        layers = [str(n) for n in pyogrio.list_layers(path)[:, 0]]
        if len(layers) > 1:
            one.said.append(f"layers {listing(layers)}: only the first, {layers[0]!r}, is read")
            one.unknown.append("which of its layers is meant: save that one as a file of its own")
    shape = frame.geometry
    keep = (shape.notna() & ~shape.is_empty).to_numpy(bool)
    if not keep.any():
        raise InputFault(Fault(path.name, "holds no shape", "points, lines or areas", "Give another file."))
    kinds = Counter(str(k) for k in shape[keep].geom_type)
    one.said.append(", ".join(f"{n} {k}" for k, n in sorted(kinds.items())))
    _where(one, frame[keep])
    columns = [str(c) for c in frame.columns if c not in (frame.geometry.name, "line")]
    values = {c: _texts(frame[c]) for c in columns}
    one.said.append("columns: " + (listing(columns, 20) or "none"))
    for column in columns:
        if 1 < len(values[column]) <= _MOST_TEXTS and plain_name(column) not in _LEFT_OUT:
            one.said.append(f"{column}: {listing(values[column])}")
    one.facts["kinds"] = sorted(kinds)
    one.role, one.why = role_of_shapes(path.stem, set(kinds), columns, values)
    _folders(one, values.get("folder", []))
    if set(kinds) == {"Point"} and one.extent is not None:
        west, south, east, north = one.extent
        one.facts["points"] = frame.geometry[keep].to_crs(utm_zone((west + east) / 2, (south + north) / 2))
    depth = find_column(columns, "depth")
    if depth and one.role != "layers.bathymetry":
        one.said.append(f"column {depth!r} holds depths: [layers.bathymetry] with field = {depth!r} could read them")
    _lines(one, frame[keep], columns, values)
    return [one]


def _folders(one: Seen, folders: list[str]) -> None:
    """Tell the folders of a KML; where all their names speak for another use than the file's name, nothing tells it."""
    if not folders:
        return
    one.said.append(f"in folders {listing(folders)}")
    spoken = {role_of_name(f) for f in folders}
    if one.why == "the name of the file" and len(spoken) == 1 and not spoken & {"", one.role}:
        one.unknown.append(f"what it is for: its name speaks for {one.role}, its folders for {spoken.pop()}")
        one.role, one.why = "", ""


def _where(one: Seen, frame: gpd.GeoDataFrame) -> None:
    if frame.crs is None:
        west, south, east, north = frame.total_bounds
        one.said.append(f"no system stated; {west:g} to {east:g}, {south:g} to {north:g}")
        one.unknown.append("its coordinate system")
        one.lines.append(asked("crs", 'system of its coordinates, such as "EPSG:4326"'))
        return
    system = CRS(frame.crs)
    west, south, east, north = (float(v) for v in frame.total_bounds)
    one.extent = (
        (west, south, east, north) if system.is_geographic else geographic_bounds((west, south, east, north), system)
    )
    one.said.append(f"{name_of(system)}, {place(one.extent)}")


def _texts(column: Any) -> list[str]:
    """Different texts of a column in order of their first row, none where they are too many or fractions."""
    if column.dtype.kind == "f" and not bool((column.dropna() % 1 == 0).all()):
        return []
    found = [str(v).strip() for v in column.dropna().unique()]
    return found if len(found) <= _MOST_TEXTS else []


def _lines(one: Seen, frame: gpd.GeoDataFrame, columns: list[str], values: dict[str, list[str]]) -> None:
    name = next((c for c in columns if c.lower() == "name"), None)
    if one.role == "layers.substrate":
        _substrate(one, frame, columns, values)
    elif one.role == "layers.protected":
        _protected(one, frame, columns, values, name)
    elif one.role == "layers.named_places":
        one.lines.append(proposed("name_field", name) if name else asked("name_field", f"one of {listing(columns)}"))
        by_plain = {plain_name(c): c for c in columns}
        if "kind" in by_plain:
            one.lines.append(proposed("kind_field", by_plain["kind"]))
        if "radius_m" in by_plain:
            one.lines.append(proposed("radius_field", by_plain["radius_m"]))
        elif any(k.endswith("Point") for k in set(frame.geom_type)):
            one.unknown.append("how far each place reaches")
            one.lines.append(asked("radius_m", "radius of the disc a point stands for [m]"))
    elif one.role.startswith("layers.constraints."):
        label = one.role.rsplit(".", 1)[1]
        question = "metres kept free around it; 0: only what it covers; delete the line: reported only"
        one.lines += [proposed("label", label), asked("keep_clear_m", question)]
    elif one.role == "layers.bathymetry":
        column = str(find_column(columns, "depth"))
        known = factor_of("depth", column)
        numbers = np.asarray(frame[column], dtype=np.float64)
        reason = f"{100 * float((numbers < 0).mean()):.0f} % of the values are negative"
        unit = {1.0: "m", 0.3048: "ft", 1.8288: "fathom"}.get(known or 0.0)
        one.lines += [proposed("field", column), asked("sign", f'"elevation" or "depth" (positive down)? {reason}'),
                      proposed("units", unit, "the column's name") if unit else asked("units", '"m", "ft" or "fathom"?'),
                      asked("datum", DATUM),
                      asked("depth_error_m", "error of the depths as its surveyor states it [m]")]  # fmt: skip
        one.unknown += ["its vertical datum", "the error of its depths"]
    elif one.role == "layers.colonies":
        _colonies(one, frame, columns)
    elif not one.role and name:
        _stations(one, frame, name)


def _substrate(one: Seen, frame: gpd.GeoDataFrame, columns: list[str], values: dict[str, list[str]]) -> None:
    column = class_column(columns, values)
    if column is None:
        one.unknown.append("which column holds the bottom type")
        one.lines.append(asked("field", f"the column of bottom types, one of {listing(columns)}"))
    else:
        one.lines.append(proposed("field", column))
        counts = frame[column].dropna().astype(str).str.strip().value_counts()
        one.facts["classes"] = {v: f"{int(counts[v])} areas" for v in values[column]}
    one.unknown += ["how finely the bottom was mapped", "which class of CMECS each of its classes is"]
    one.lines.append(asked("resolution_m", MAPPED))


def _protected(
    one: Seen, frame: gpd.GeoDataFrame, columns: list[str], values: dict[str, list[str]], name: str | None
) -> None:
    one.lines.append(proposed("name_field", name) if name else asked("name_field", f"one of {listing(columns)}"))
    rule = rule_column(columns, values)
    if rule is not None:
        one.lines.append(proposed("rule_field", rule))
    elif name is not None:
        one.unknown.append("which rule holds in each area: a category alone never decides")
        told = next((c for c in columns if c.lower() == "status"), None)
        status = frame[told].fillna("").astype(str) if told else [""] * len(frame)
        one.facts["rules"] = {str(n): s.strip() for n, s in zip(frame[name], status, strict=True)}


def _colonies(one: Seen, frame: gpd.GeoDataFrame, columns: list[str]) -> None:
    species = find_column(columns, "species")
    if species:
        codes = sorted({str(v) for v in frame[species].dropna()})
        one.said.append(f"species: {listing(codes)}")
        if holds_codes(species):
            one.unknown.append(f"what the codes in {plain(species, 40)!r} mean")
            one.lines.append(asked_codes(species, codes))
    else:
        one.unknown.append("the species")
    for key, question in (("origin", '"wild" or "outplant"?'), ("position_error_m", "error of the positions [m]")):
        if not find_column(columns, key):
            one.unknown.append(f"{key.removesuffix('_m').replace('_', ' ')} of its colonies")
            one.lines.append(asked(key, question))


def _stations(one: Seen, frame: gpd.GeoDataFrame, name: str) -> None:
    """Positions of nursery and harbour among named points, as lines of their own tables."""
    points = frame[frame.geom_type == "Point"]
    if points.crs is None or points.empty:
        return
    degrees = points.to_crs(WGS84)
    found = {}
    for label, point in zip(degrees[name], degrees.geometry, strict=True):
        words = plain_name(str(label))
        for table, starts in (
            ("nursery", ("nursery", "vivero", "pepiniere")),
            ("harbour", ("harbo", "puerto", "port")),
        ):
            if any(w.startswith(starts) for w in words.split("_")):
                found[table] = (plain(label), f"{point.y:.6f}, {point.x:.6f}")
    if found:
        one.facts["stations"] = found
        one.role, one.why = "stations", "points named after nursery and harbour"
