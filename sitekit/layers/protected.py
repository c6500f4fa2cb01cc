"""Protected areas: a rule each; where they lie over one another the strictest wins and all are listed.

Field names and codes of the World Database on Protected Areas are recognised, as told or asked about, never as a rule: WDPA
User Manual [source key: wdpa-manual] (recalled, unverified).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from sitekit.errors import Faults
from sitekit.layers.cells import Doubt
from sitekit.layers.polygons import read_polygons

# The order is the order of strictness; rasters hold the highest code.
RULE_CODES = {"none": 1, "preferred": 2, "permit": 3, "forbidden": 4}
PROPOSED = "proposed"  # status of an area that has no legal effect yet
# Codes of the WDPA (recalled): legal status, share of the sea without fishing, land or sea.
WDPA_STATUS = (PROPOSED, "inscribed", "adopted", "designated", "established")
WDPA_NO_TAKE = ("all", "part", "none", "not reported", "not applicable")
_WDPA_MARKS = {"wdpaid", "wdpa_pid", "iucn_cat", "no_take"}
_WDPA_TOLD = ("desig_eng", "desig", "iucn_cat", "no_take", "status")


def read_protected(
    path: Path,
    *,
    to_crs: CRS,
    name_field: str = "name",
    rule_field: str | None = None,
    rules: Mapping[str, str] | None = None,
    crs: str | None = None,
    doubts: list[Doubt] | None = None,
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read protected areas with a rule each.

    Parameters
    ----------
    path, to_crs, crs
        As in `read_polygons`.
    name_field : str
        Column with names.
    rule_field : str, optional
        Column with rules: forbidden, permit, preferred or none.
    rules : mapping of name to rule, optional
        Wins over the column, and over a status that says proposed.
    doubts : list of Doubt, optional
        Takes areas whose rule lets in what their NO_TAKE code of the WDPA seems to shut out.

    Returns
    -------
    GeoDataFrame, tuple of str
        Columns `name`, `rule`, `code`, geometry, strictest last; and notes.

    Raises
    ------
    InputFault
        Naming every missing column, area without a rule, unknown rule, and rule whose name is not in the file.
    """
    frame, notes = read_polygons(path, to_crs=to_crs, crs=crs, where="layers.protected")
    given = dict(rules or {})
    if name_field == "name" and "name" not in frame.columns:  # WDPA writes NAME
        name_field = next((str(c) for c in frame.columns if str(c).lower() == "name"), name_field)
    columns = ", ".join(c for c in frame.columns if c not in (frame.geometry.name, "line"))
    with Faults() as faults:
        for key, column in (("name_field", name_field), ("rule_field", rule_field)):
            if column is not None and column not in frame.columns:
                faults.add(f"layers.protected.{key}", f"no column {column!r}", f"one of {columns}", "Correct the name.")
    names = [str(n) for n in frame[name_field]]
    found = []
    with Faults() as faults:
        for name in given:
            if name not in names:
                faults.add(f"layers.protected.rules.{name!r}", "no area has this name", ", ".join(names), "Correct it.")
        for line, name, row in zip(frame["line"], names, frame.to_dict("records"), strict=True):
            rule = given.get(name, row.get(rule_field) if rule_field else None)
            text = str(rule).strip().lower() if rule is not None else ""
            if text not in RULE_CODES:
                faults.add(
                    f"layers.protected, row {line} ({name})",
                    (f"rule {rule!r}" if rule is not None else "no rule") + _told(row),
                    ", ".join(RULE_CODES),
                    "A category alone never decides: ask the authority and write the rule.",
                )
            found.append(text)
    extra: list[str] = []
    status = next((c for c in frame.columns if c.lower() == "status"), None)
    if status:
        proposed = frame[status].astype(str).str.lower() == PROPOSED
        void = [n for n, p in zip(names, proposed, strict=True) if p and n not in given]
        insisted = [f"{n} ({given[n]})" for n, p in zip(names, proposed, strict=True) if p and n in given]
        if void:
            extra.append(
                "proposed areas have no legal effect yet and count as `none`, unless [layers.protected.rules] names "
                f"them: {', '.join(void)}"
            )
        if insisted:
            extra.append(f"the file says proposed, the plan's own rule counts: {', '.join(insisted)}")
        found = ["none" if n in void else r for n, r in zip(names, found, strict=True)]
    by_plain = {str(c).lower(): c for c in frame.columns}
    if _WDPA_MARKS & set(by_plain):
        told = [str(by_plain[c]) for c in (*_WDPA_TOLD, "marine") if c in by_plain]
        extra.append(f"columns of the WDPA ({', '.join(told)}) are told and decide nothing; names from {name_field!r}")
        extra += _wdpa_notes(frame, by_plain)
        for name, rule, row in zip(names, found, frame.to_dict("records"), strict=True):
            code = str(row.get(by_plain.get("no_take", ""), "")).strip()
            if code.lower() in ("all", "part") and rule in ("none", "preferred") and doubts is not None:
                ask = "Ask the authority; write the rule, or leave it: the plan's rule counts."
                doubts.append(Doubt("layers.protected", f"{name}: NO_TAKE is {code}, the plan's rule {rule!r}", ask))
    out = gpd.GeoDataFrame(
        {"name": names, "rule": found, "code": [RULE_CODES[r] for r in found]},
        geometry=list(frame.geometry),
        crs=to_crs,
    )
    out = out.sort_values("code", kind="stable").reset_index(drop=True)
    out.attrs["source_crs"] = frame.attrs["source_crs"]
    return out, (*notes, *extra)


def _told(row: Mapping[str, object]) -> str:
    """What the file says of an area in columns of the WDPA, for whoever must write its rule."""
    by_plain = {str(k).lower(): v for k, v in row.items()}
    said = [f"{c} {by_plain[c]}" for c in _WDPA_TOLD if by_plain.get(c) not in (None, "")]
    return f" (the file says: {', '.join(said)})" if said else ""


def _wdpa_notes(frame: gpd.GeoDataFrame, by_plain: Mapping[str, str]) -> list[str]:
    notes = []
    for column, codes in (("status", WDPA_STATUS), ("no_take", WDPA_NO_TAKE)):
        if column in by_plain:
            values = frame[by_plain[column]].astype(str).str.strip()
            odd = sorted({v for v in values if v.lower() not in codes and v not in ("", "nan", "None")})
            if odd:
                notes.append(f"{by_plain[column]} holds codes that are not of the list: {', '.join(odd[:5])}")
    if "marine" in by_plain:
        land = int((frame[by_plain["marine"]].astype(str).str.strip() == "0").sum())
        if land:
            notes.append(f"{land} areas whose {by_plain['marine']} says land only are kept")
    return notes
