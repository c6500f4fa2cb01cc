"""What a file may be for, guessed from its name and its columns; each guess says what it rests on.

The words are the team's own daily ones in English, Spanish and French (from memory); a guess is only a proposal to check.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

from sitekit.layers.columns import find_column, plain_name
from sitekit.layers.protected import RULE_CODES

# role -> beginnings of words in a file's name; the first role that fits counts
_NAMES: dict[str, tuple[str, ...]] = {
    "layers.colonies": ("colon", "coral", "corail", "wild", "outplant"),
    "layers.surveyed": ("survey", "search", "muestre", "prospec"),
    "layers.protected": ("protect", "mpa", "park", "reserve", "sanctuar", "wdpa", "parque", "reserva", "anp", "amp"),
    "layers.coastline": ("coast", "shore", "costa", "cote", "land"),
    "layers.named_places": ("named", "place", "mooring", "boya", "bouee", "lugar", "sites"),
    "layers.bathymetry": (
        "bathy",
        "topobathy",
        "depth",
        "batim",
        "prof",
        "dem",
        "elevation",
        "sound",
        "sonda",
        "lidar",
    ),
    "layers.substrate": ("substrat", "bottom", "habitat", "benth", "bent", "fondo", "sustrato", "fond", "geomorph"),
    "layers.constraints.seagrass": ("seagrass", "pasto", "herbier"),
    "layers.constraints.heritage": ("heritage", "wreck", "naufrag", "epave", "patrimon"),
    "layers.constraints.cable": ("cable", "pipeline", "tuber"),
    "layers.constraints.anchorage": ("anchor", "fondeo", "mouillage"),
    "stock": ("stock", "inventor", "nursery", "vivero", "pepiniere"),
    "layers.area": ("area", "aoi", "boundary", "extent", "outline", "limite", "zona"),
}
_PROTECTED_COLUMNS = {"wdpaid", "wdpa_pid", "iucn_cat", "no_take", "desig", "desig_eng"}
_CLASS_COLUMNS = ("bottom", "substrate", "substrat", "habitat", "class", "bottom_type", "structure", "d_struct", "fondo",
                  "sustrato", "clase", "classe", "type", "tipo", "zone")  # fmt: skip


def role_of_name(stem: str) -> str:
    """Role that a file's name speaks for, empty if none."""
    words = re.split(r"_+", plain_name(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", stem)))
    for role, starts in _NAMES.items():
        if any(word.startswith(starts) for word in words):
            return role
    return ""


def role_of_table(names: Collection[str], stem: str) -> tuple[str, str]:
    """Role of a table and what it rests on.

    Parameters
    ----------
    names : collection of str
        Its columns.
    stem : str
        Name of the file without its ending.
    """
    plain = {plain_name(n) for n in names}
    have = {f for f in ("genet", "ready", "health", "species", "longitude", "latitude", "position", "easting",
                        "northing", "size_cm") if find_column(names, f)}  # fmt: skip
    placed = {"longitude", "latitude"} <= have or "position" in have or {"easting", "northing"} <= have
    for role, due in (
        ("aliases", {"kind", "name", "means"}),
        ("waves.swell", {"direction_deg", "height_m", "period_s"}),
        ("waves.wind", {"direction_deg", "speed_ms"}),
        ("tide", {"time", "height_m"}),
    ):
        if due <= plain:
            return role, f"columns {', '.join(sorted(due))}"
    if "date" in plain and any(p.startswith("sst") for p in plain):
        return "heat", "columns of dates and sea temperatures"
    if "genet" in have and have & {"ready", "health"} and not placed:
        return "stock", "columns of genets and of fragments"
    if placed and not have & {"species", "size_cm", "genet"} and find_column(names, "name"):
        return "layers.named_places", "columns of names and of coordinates, none of species or sizes"
    if placed:
        return "layers.colonies", "columns of coordinates" + (" and of species" if "species" in have else "")
    named = role_of_name(stem)
    if named in ("stock", "layers.colonies"):
        return named, "the name of the file"
    return "", ""


def role_of_shapes(
    stem: str, kinds: Collection[str], columns: Collection[str], values: Mapping[str, list[str]]
) -> tuple[str, str]:
    """Role of a file of shapes and what it rests on.

    Parameters
    ----------
    stem : str
        Name of the file without its ending.
    kinds : collection of str
        `Point`, `LineString`, `Polygon` and their collections.
    columns : collection of str
        Its columns.
    values : mapping of str to list of str
        Different texts per column.
    """
    by_plain = {plain_name(c): c for c in columns}
    areas = any(k.endswith("Polygon") for k in kinds)
    if areas and set(by_plain) & _PROTECTED_COLUMNS:
        return "layers.protected", f"column {by_plain[sorted(set(by_plain) & _PROTECTED_COLUMNS)[0]]!r}"
    if areas and rule_column(columns, values):
        return "layers.protected", f"rules in column {rule_column(columns, values)!r}"
    named = role_of_name(stem)
    if "radius_m" in by_plain:
        return "layers.named_places", "column 'radius_m'"
    if areas and (named == "layers.substrate" or (not named and class_column(columns, values))):
        basis = "the name of the file" if named else f"classes in column {class_column(columns, values)!r}"
        return "layers.substrate", basis
    if areas and named == "layers.bathymetry":
        return (named, "the name of the file") if find_column(columns, "depth") else ("", "")
    if named in ("layers.surveyed", "layers.area", "layers.protected") and not areas:
        return "", ""
    if named == "layers.colonies" and areas:
        return "", ""
    if named and named not in ("stock", "layers.bathymetry", "layers.substrate"):
        return named, "the name of the file"
    if kinds == {"Point"} and find_column(columns, "species"):
        return "layers.colonies", "points with a column of species"
    return "", ""


def rule_column(columns: Collection[str], values: Mapping[str, list[str]]) -> str | None:
    """Column whose texts are all rules of a protected area."""
    found = (c for c in columns if values.get(c) and {v.lower() for v in values[c]} <= set(RULE_CODES))
    return next(found, None)


def class_column(columns: Collection[str], values: Mapping[str, list[str]]) -> str | None:
    """Column that names classes of bottom, by its name."""
    by_plain = {plain_name(c): c for c in columns if len(values.get(c, [])) > 0}
    return next((by_plain[n] for n in _CLASS_COLUMNS if n in by_plain), None)
