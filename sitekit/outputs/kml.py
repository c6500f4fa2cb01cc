"""KML 2.2 with the same pins, written as text: a library that writes vector files is never asked for KML here.

Children stand in the schema's order (`kml-2-2`): name, description, then the point; longitude before latitude.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from sitekit.base.files import write_text
from sitekit.outputs.gpx import Waypoint, check_waypoints, normal_longitude, plain_decimal, xml_safe

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">\n<Document>\n'


def kml_text(waypoints: Sequence[Waypoint], *, name: str, description: str) -> str:
    """Return a KML document of the waypoints, their full description with each.

    Parameters
    ----------
    waypoints : sequence of Waypoint
        In the order in which they are visited.
    name, description : str
        Of the file: plan, run, date, cautions.

    Raises
    ------
    InputFault
        Naming every wrong waypoint.
    """
    check_waypoints(waypoints)
    lines = [f"<name>{_text(name)}</name>", f"<description>{_text(description)}</description>"]
    for point in waypoints:
        lon, lat = plain_decimal(normal_longitude(point.longitude_deg)), plain_decimal(point.latitude_deg)
        lines.append(
            f"<Placemark><name>{_text(point.name)}</name><description>{_text(point.description)}</description>"
            f"<Point><coordinates>{lon},{lat}</coordinates></Point></Placemark>"
        )
    return _HEAD + "\n".join(lines) + "\n</Document>\n</kml>\n"


def write_kml(path: Path, waypoints: Sequence[Waypoint], *, name: str, description: str) -> None:
    """Write a KML file, whole or not at all.

    Raises
    ------
    InputFault
        As `kml_text`.
    FileFault
        If the file cannot be written.
    """
    write_text(path, kml_text(waypoints, name=name, description=description))


def _text(value: str) -> str:
    return escape(xml_safe(value))
