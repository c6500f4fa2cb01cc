"""Places that a plan names: sites, named places, nursery and harbour, in the working system."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from sitekit.base.positions import read_position
from sitekit.errors import Fault, Faults, InputFault
from sitekit.pipeline.project import Project
from sitekit.sites.codes import Coded


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
                frame = gpd.read_file(path)
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


def named_places(project: Project, crs: CRS) -> list[NamedPlace]:
    """Return the named places of the plan's layer, in the order of the file.

    Raises
    ------
    InputFault
        Naming every field that the file lacks and every radius that is no number above 0.
    """
    layer = project.settings.layers.named_places
    if layer is None:
        return []
    frame = gpd.read_file(project.input(layer.file, "layers.named_places.file"))
    with Faults() as faults:
        for key in ("name_field", "kind_field", "radius_field"):
            field = getattr(layer, key)
            if field is not None and field not in frame.columns:
                faults.add(
                    f"layers.named_places.{key}",
                    repr(field),
                    "one of " + ", ".join(c for c in frame.columns if c != "geometry"),
                    "Name the column that holds it.",
                )
    found: list[NamedPlace] = []
    with Faults() as faults:
        for (_, row), shape in zip(frame.iterrows(), frame.to_crs(crs).geometry, strict=True):
            name = row[layer.name_field]
            if not name or shape is None or shape.is_empty:
                continue
            given = row[layer.radius_field] if layer.radius_field else None
            try:
                radius = float(given) if given is not None and not pd.isna(given) else layer.radius_m
            except (TypeError, ValueError):
                radius = -1.0
            if radius is not None and not radius > 0:
                faults.add(f"named place {name!r}", f"radius {given!r}", "a number of metres above 0", "Correct it.")
                continue
            kind = row[layer.kind_field] if layer.kind_field else None
            around = shape.buffer(radius) if radius is not None and not shape.geom_type.endswith("Polygon") else shape
            found.append(NamedPlace(str(name), None if kind is None else str(kind), around))
    return found


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
