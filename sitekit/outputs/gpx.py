"""GPX 1.1 for the boat's receiver: pins only, names as short as the receiver needs, nothing that it would refuse.

The order of children, longitudes below 180, a magnetic variation from 0 to 360 and plain decimals are the schema's
rules (`gpx-1-1`); gpxpy keeps the order. A depth goes in as a negative elevation; the text says depth and datum.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import gpxpy.gpx

from sitekit.base.files import write_text
from sitekit.errors import Fault, Faults, InputFault

DECIMALS = 9  # of a degree: 0.1 mm; re-reading differs by less than 0.0000005°
_ALLOWED = set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789")


@dataclass(frozen=True)
class Waypoint:
    """A pin for a receiver.

    Parameters
    ----------
    name : str
        A–Z and 0–9 only, unique.
    longitude_deg, latitude_deg : float
        WGS 84; 180 is written as −180.
    description : str
        Full name, depth with datum, cautions: kept whole.
    depth_m : float, optional
        Positive down [m].
    variation_deg : float, optional
        Declination, east positive [°].
    """

    name: str
    longitude_deg: float
    latitude_deg: float
    description: str
    depth_m: float | None = None
    variation_deg: float | None = None


def normal_longitude(longitude_deg: float) -> float:
    """Return a longitude from −180 to below 180 [°], after rounding to the decimals that are written.

    Raises
    ------
    InputFault
        If it is not a number.
    """
    if not -1e9 < longitude_deg < 1e9:
        raise InputFault(Fault("longitude", f"{longitude_deg}", "a number of degrees", "Check the position."))
    rounded = round((longitude_deg + 180.0) % 360.0 - 180.0, DECIMALS)
    return -180.0 if rounded >= 180.0 else rounded


def gpx_text(waypoints: Sequence[Waypoint], *, name: str, description: str) -> str:
    """Return a GPX 1.1 document.

    Parameters
    ----------
    waypoints : sequence of Waypoint
        In the order in which they are visited.
    name, description : str
        Of the file: plan, run, date, cautions.

    Raises
    ------
    InputFault
        Naming every waypoint with a name a receiver cannot take, given twice, or with an impossible position.
    """
    check_waypoints(waypoints)
    document = gpxpy.gpx.GPX()
    document.creator = "sitekit"
    document.name, document.description = xml_safe(name), xml_safe(description)
    for point in waypoints:
        entry = gpxpy.gpx.GPXWaypoint(
            latitude=round(point.latitude_deg, DECIMALS),
            longitude=normal_longitude(point.longitude_deg),
            elevation=None if point.depth_m is None else round(-point.depth_m, 2) + 0.0,
            name=point.name,
            description=xml_safe(point.description),
            symbol="Flag",
        )
        if point.variation_deg is not None:
            entry.magnetic_variation = round(point.variation_deg % 360.0, 1) % 360.0
        document.waypoints.append(entry)
    text = str(document.to_xml(version="1.1", prettyprint=False))
    return _plain_numbers(text, waypoints)


def write_gpx(path: Path, waypoints: Sequence[Waypoint], *, name: str, description: str) -> None:
    """Write a GPX 1.1 file, whole or not at all.

    Raises
    ------
    InputFault
        As `gpx_text`.
    FileFault
        If the file cannot be written.
    """
    write_text(path, gpx_text(waypoints, name=name, description=description))


def check_waypoints(waypoints: Sequence[Waypoint]) -> None:
    """Refuse waypoints that a receiver or a reader would.

    Raises
    ------
    InputFault
        Naming each.
    """
    seen: set[str] = set()
    with Faults() as faults:
        for point in waypoints:
            where = f"waypoint {point.name!r}"
            if not point.name or not set(point.name) <= _ALLOWED:
                faults.add(where, "a name with other signs", "A–Z and 0–9 only", "Please report this.")
            if point.name in seen:
                faults.add(where, "given twice", "each name once", "Raise receiver.name_length.")
            seen.add(point.name)
            if not (abs(point.latitude_deg) <= 90 and abs(point.longitude_deg) <= 360):
                came = f"{point.latitude_deg}, {point.longitude_deg}"
                faults.add(where, came, "a latitude within ±90 and a longitude", "Check the pin.")


def _plain_numbers(text: str, waypoints: Sequence[Waypoint]) -> str:
    """Write positions as plain decimals: a coordinate of 0.00002 must not read 2e-05."""
    ET.register_namespace("", "http://www.topografix.com/GPX/1/1")
    ET.register_namespace("xsi", "http://www.w3.org/2001/XMLSchema-instance")
    root = ET.fromstring(text)
    tag = "{http://www.topografix.com/GPX/1/1}"
    for element, point in zip(root.findall(f"{tag}wpt"), waypoints, strict=True):
        element.set("lat", plain_decimal(point.latitude_deg))
        element.set("lon", plain_decimal(normal_longitude(point.longitude_deg)))
        for child, decimals in (("ele", 2), ("magvar", 1)):
            found = element.find(f"{tag}{child}")
            if found is not None and found.text:
                found.text = f"{float(found.text):.{decimals}f}"
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def plain_decimal(value: float, decimals: int = DECIMALS) -> str:
    """Return a number without exponent, negative zero or useless zeros: `-50.29831`."""
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def xml_safe(text: str) -> str:
    """Drop characters that XML 1.0 forbids."""
    return "".join(c for c in text if c in "\t\n" or (ord(c) >= 0x20 and c not in "\ufffe\uffff"))
