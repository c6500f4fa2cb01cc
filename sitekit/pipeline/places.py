"""Places that a plan names: sites, named places, nursery and harbour, in the working system."""

from __future__ import annotations

import geopandas as gpd
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


def named_places(project: Project, crs: CRS) -> tuple[list[str], list[BaseGeometry]]:
    """Return names and shapes of the named places; site names are among them."""
    names: list[str] = []
    shapes: list[BaseGeometry] = []
    layer = project.settings.layers.named_places
    if layer is not None:
        frame = gpd.read_file(project.input(layer.file, "layers.named_places.file"))
        if layer.name_field not in frame.columns:
            raise InputFault(
                Fault(
                    "layers.named_places.name_field",
                    repr(layer.name_field),
                    "one of " + ", ".join(c for c in frame.columns if c != "geometry"),
                    "Name the column that holds names.",
                )
            )
        for name, shape in zip(frame[layer.name_field], frame.to_crs(crs).geometry, strict=True):
            if name and shape is not None:
                names.append(str(name))
                shapes.append(shape)
    return names, shapes


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
