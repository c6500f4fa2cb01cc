"""Names of columns that are understood without being told, and the unit that some of them carry.

A name counts after lower case and with every gap, bracket and mark as one underscore: `Depth (ft)` is `depth_ft`. What is
not listed is not guessed: the settings name the column.

References
----------
Darwin Core terms (decimalLatitude, geodeticDatum, coordinateUncertaintyInMeters, occurrenceStatus, minimumDepthInMeters …):
Darwin Core Maintenance Group, Darwin Core Quick Reference Guide [source key: darwin-core] (recalled, unverified).
Field names of the World Database on Protected Areas (NAME, DESIG, STATUS, IUCN_CAT, NO_TAKE, MARINE): WDPA User Manual
[source key: wdpa-manual] (recalled, unverified).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from sitekit.base.units import METRES_PER

_FOOT, _FATHOM = METRES_PER["ft"], METRES_PER["fathom"]
CM_PER_INCH = 2.54  # international inch, exact since 1959

# Columns of short codes, as surveys and nurseries head them; what the codes mean only their list tells.
SPECIES_CODES = (
    "species_code",
    "species_cd",
    "sp_code",
    "sp_cd",
    "spp_code",
    "spp",
    "taxon_code",
    "taxon_cd",
    "coral_code",
)
# field -> name -> factor to the field's own unit (1.0 where it has none, 0.0 where the unit is not told)
FIELDS: dict[str, dict[str, float]] = {
    "longitude": dict.fromkeys(
        ("lon", "long", "longitude", "lng", "decimallongitude", "lon_degrees", "longitude_deg", "lon_deg", "lon_dd",
         "x_lon", "longitud", "verbatimlongitude", "longitude_w", "longitude_e", "lon_w", "lon_e", "longitud_w"), 1.0
    ),
    "latitude": dict.fromkeys(
        ("lat", "latitude", "decimallatitude", "lat_degrees", "latitude_deg", "lat_deg", "lat_dd", "y_lat", "latitud",
         "verbatimlatitude", "latitude_n", "latitude_s", "lat_n", "lat_s", "latitud_n", "latitud_s"), 1.0
    ),
    "position": dict.fromkeys(
        ("position", "posicion", "coordinates", "coordinate", "coords", "coordenadas", "verbatimcoordinates", "lat_lon",
         "latlon", "lat_long", "latitude_longitude", "gps_position"), 1.0
    ),
    "easting": dict.fromkeys(("x", "easting", "x_m", "utm_e", "e", "utm_easting", "utm_x", "easting_m", "este"), 1.0),
    "northing": dict.fromkeys(("y", "northing", "y_m", "utm_n", "n", "utm_northing", "utm_y", "northing_m", "norte"), 1.0),
    "zone": dict.fromkeys(("utm_zone", "zone", "huso", "utmzone"), 1.0),
    "datum": dict.fromkeys(("geodeticdatum", "datum", "verbatimsrs"), 1.0),
    "species": dict.fromkeys(
        ("species", *SPECIES_CODES, "scientificname", "scientific_name", "taxon", "species_name", "taxon_name", "especie",
         "espece"), 1.0
    ),
    "size_cm": {"size_cm": 1.0, "diameter_cm": 1.0, "size_mm": 0.1, "size_in": CM_PER_INCH, "size_inches": CM_PER_INCH,
                "size_m": 100.0, "size": 0.0},
    "origin": {"origin": 1.0},
    "position_error_m": {"position_error_m": 1.0, "coordinateuncertaintyinmeters": 1.0, "gps_error_m": 1.0,
                         "accuracy_m": 1.0, "position_error_ft": _FOOT, "gps_error_ft": _FOOT, "accuracy_ft": _FOOT},
    "depth": {"depth_m": 1.0, "minimumdepthinmeters": 1.0, "profundidad_m": 1.0, "depth_ft": _FOOT, "depth_feet": _FOOT,
              "depth_fathom": _FATHOM, "depth_fathoms": _FATHOM, "depth_fm": _FATHOM, "depth": 0.0, "profundidad": 0.0,
              "verbatimdepth": 0.0},
    "date": dict.fromkeys(("date", "eventdate", "year", "fecha", "survey_date", "ano"), 1.0),
    "status": {"occurrencestatus": 1.0},
    "partner": dict.fromkeys(("partner", "institutioncode", "organisation", "organization", "socio"), 1.0),
    "genet": dict.fromkeys(("genet", "genotype", "genet_id", "genotipo"), 1.0),
    "ready": dict.fromkeys(("ready", "fragments", "fragments_ready", "fragmentos"), 1.0),
    "health": dict.fromkeys(("health", "salud"), 1.0),
    "name": dict.fromkeys(("name", "nombre", "locality", "site_name", "orig_name"), 1.0),
}  # fmt: skip
# Columns of the other tables that are read; they only help to find the header and the separator.
OTHERS = frozenset((
    "source", "source_region", "structure", "owner", "health_date", "time", "height_m", "direction_deg",
    "speed_ms", "share", "period_s", "sst_c", "month", "rule", "kind", "radius_m", "desig", "status", "iucn_cat",
    "no_take", "marine", "wdpaid", "wdpa_pid", "site", "question", "answer",
))  # fmt: skip
# A second header row holds units: a word of these, in brackets or not.
UNIT_WORDS = {
    "m": "m", "metres": "m", "meters": "m", "metros": "m", "ft": "ft", "feet": "ft", "pies": "ft", "fathom": "fathom",
    "fathoms": "fathom", "fm": "fathom", "cm": "cm", "mm": "mm", "in": "in", "deg": "deg", "degrees": "deg", "dd": "deg",
    "ddm": "deg", "dms": "deg", "grados": "deg", "code": "code", "text": "text", "count": "count", "n": "count",
    "wgs84": "deg", "yyyy_mm_dd": "date",
}  # fmt: skip
# The same without underscores, so that Decimal Latitude and decimalLatitude are one name.
_FACTORS = {field: {name.replace("_", ""): f for name, f in names.items()} for field, names in FIELDS.items()}
_KNOWN = {name for names in _FACTORS.values() for name in names} | {name.replace("_", "") for name in OTHERS}


def plain_name(name: str) -> str:
    """Return a column's name in lower case ASCII, every gap, bracket and mark as one underscore.

    Examples
    --------
    >>> plain_name(" Depth (ft) ")
    'depth_ft'
    """
    text = unicodedata.normalize("NFKD", name)
    text = "".join(c for c in text if not unicodedata.combining(c)).replace("°", " ")
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


def known_names(cells: Iterable[str]) -> int:
    """Number of cells that are names this room understands: what tells a header from a title or a row of data."""
    return sum(1 for c in cells if plain_name(c).replace("_", "") in _KNOWN)


def find_column(names: Iterable[str], field: str) -> str | None:
    """Return the column that holds a field, None if there is none.

    Parameters
    ----------
    names : iterable of str
        Columns of the file.
    field : str
        A key of `FIELDS`. A column of exactly the field's name wins, then the order of the list.
    """
    by_plain: dict[str, str] = {}
    for name in names:
        by_plain.setdefault(plain_name(name).replace("_", ""), name)
    return next((by_plain[n] for n in (field.replace("_", ""), *_FACTORS[field]) if n in by_plain), None)


def holds_codes(column: str) -> bool:
    """Whether a column is headed as one of species codes."""
    return plain_name(column).replace("_", "") in {name.replace("_", "") for name in SPECIES_CODES}


def factor_of(field: str, column: str) -> float | None:
    """Factor that brings the numbers of a column to the unit of its field; None where its name tells no unit."""
    factor = _FACTORS[field].get(plain_name(column).replace("_", ""))
    return factor or None


def hemisphere_of(column: str) -> str:
    """Letter N, S, E or W that ends a column's name (`Longitude (W)`), empty without one."""
    match = re.fullmatch(r"(?:lat|latitude|latitud|lon|long|longitude|longitud)_([nsew])", plain_name(column))
    return match[1].upper() if match else ""


def unit_word(cell: str) -> str | None:
    """Return the unit that a cell of a second header row names, None if it is none.

    Examples
    --------
    >>> unit_word("(feet)")
    'ft'
    """
    return UNIT_WORDS.get(plain_name(cell))
