"""GeoJSON for every program that reads maps: RFC 7946, the same bytes for the same plan.

Nothing is computed here but the change to WGS 84 longitude and latitude. Points carry 9 decimals of a degree, outlines
7: with 7 decimals (1 cm) tens of thousands of pairs of a dense layout came out closer than planned, with 9 (0.1 mm)
none did; an outline needs no more than 7.

References
----------
Butler, H. et al. (2016). The GeoJSON Format. RFC 7946. Sections 3.1.1 (longitude first), 3.1.6 (rings), 3.1.9 (cut at
the antimeridian), 4 (WGS 84, no `crs` member).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyogrio
import shapely

from sitekit.base.files import atomic_path
from sitekit.errors import Fault, InputFault

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

POINT_DECIMALS = 9  # 0.1 mm on the ground; design trial: 7 decimals broke the separation of 29,387 pairs
OUTLINE_DECIMALS = 7  # 1 cm, the precision RFC 7946 section 11.2 shows as enough for maps
# GDAL takes a run of nines or noughts at the end of what it prints for noise and drops it: with 9 decimals 18.043999993
# became 18.044 (0.7 mm away), with 7 an outline moved by 9 cm. Rounded here and printed with 12, every value is kept.
_WRITTEN = 12
_ID = "feature_id_"  # becomes the `id` member of each feature; never a property


def write_geojson(
    path: Path,
    frame: GeoDataFrame,
    *,
    id_column: str | None = None,
    decimals: int | None = None,
    fictional: bool = False,
    about: Mapping[str, Any] | None = None,
) -> None:
    """Write any layer as GeoJSON, whole or not at all.

    Parameters
    ----------
    path : Path
        Target; an older file stays until the new one is whole.
    frame : GeoDataFrame
        With a CRS; an empty one gives a collection without features. Missing values become null.
    id_column : str, optional
        Column whose values, as text, become the `id` of the features; it stays a property too. Values must differ.
    decimals : int, optional
        Of a degree; default 9 for points, 7 for anything else.
    fictional : bool
        Adds the property `FICTIONAL: true` to every feature and `fictional: true` to the collection.
    about : mapping, optional
        Further members of the collection (run id, datum, cautions), JSON-like.

    Raises
    ------
    InputFault
        If the layer has no CRS, an empty or repeated id, an absent geometry, or a coordinate that is not finite.
    FileFault
        If the file cannot be written.

    Notes
    -----
    Rings are turned (outer rings counter-clockwise) and geometries that cross 180° are cut there.
    """
    _check(frame, id_column, path.name)
    out = frame.copy()
    for column in out.columns:
        if isinstance(out[column].dtype, pd.CategoricalDtype) or pd.api.types.is_string_dtype(out[column].dtype):
            out[column] = out[column].astype(object).where(out[column].notna(), None)
    if id_column is not None:
        out.insert(0, _ID, [str(v) for v in out[id_column]])
    if fictional:
        out["FICTIONAL"] = True
    if decimals is None:
        points = bool((out.geometry.geom_type == "Point").all()) and len(out) > 0
        decimals = POINT_DECIMALS if points else OUTLINE_DECIMALS
    out = _in_degrees(out, decimals)
    options = {
        "RFC7946": "YES",
        "COORDINATE_PRECISION": str(_WRITTEN),
        "WRITE_NAME": "NO",
        "AUTODETECT_JSON_STRINGS": "NO",  # GDAL would turn a text such as "[1]" into an array
    }
    if id_column is not None:
        options |= {"ID_FIELD": _ID, "ID_TYPE": "String"}
    members = {**(about or {}), **({"fictional": True} if fictional else {})}
    if members:
        options["FOREIGN_MEMBERS_COLLECTION"] = json.dumps(
            members, sort_keys=True, ensure_ascii=False, allow_nan=False, default=str
        )
    with atomic_path(path) as beside:
        pyogrio.write_dataframe(
            out,
            beside,
            driver="GeoJSON",
            geometry_type="Unknown" if len(out) == 0 else None,
            layer_options=options,
        )


def _in_degrees(frame: GeoDataFrame, decimals: int) -> GeoDataFrame:
    """The layer in WGS 84, rounded; a shape across 180° runs past it, so that it is cut there and not spread around."""
    degrees = frame.to_crs(4326)
    shapes = np.asarray(degrees.geometry.array, dtype=object)
    bounds = shapely.bounds(shapes)
    for k in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180.0):
        shapes[k] = shapely.transform(shapes[k], lambda xy: np.column_stack([xy[:, 0] % 360.0, xy[:, 1]]))
    return degrees.set_geometry(shapely.transform(shapes, lambda xy: np.round(xy, decimals)), crs=4326)


def _check(frame: GeoDataFrame, id_column: str | None, where: str) -> None:
    if frame.crs is None:
        raise InputFault(Fault(where, "the layer has no CRS", "a known coordinate system", "Set the layer's CRS."))
    geometry = frame.geometry
    if bool((geometry.isna() | geometry.is_empty).any()):
        row = int(np.flatnonzero((geometry.isna() | geometry.is_empty).to_numpy())[0]) + 1
        raise InputFault(Fault(f"{where}, row {row}", "has no geometry", "a point or outline", "Remove the row."))
    if not bool(np.isfinite(geometry.bounds.to_numpy()).all()):
        row = int(np.flatnonzero(~np.isfinite(geometry.bounds.to_numpy()).all(axis=1))[0]) + 1
        raise InputFault(Fault(f"{where}, row {row}", "a coordinate is not finite", "numbers", "Correct the geometry."))
    if id_column is not None:
        values = frame[id_column]
        if bool(values.isna().any()):
            raise InputFault(Fault(f"{where}, {id_column}", "is empty in a row", "a value in each", "Fill it in."))
        repeated = values[values.astype(str).duplicated()]
        if len(repeated):
            raise InputFault(
                Fault(f"{where}, {id_column}", f"{repeated.iloc[0]!r} comes twice", "values that differ", "Rename one.")
            )


def write_candidates(
    path: Path, candidates: GeoDataFrame, *, fictional: bool = False, about: Mapping[str, Any] | None = None
) -> None:
    """Write the table `candidates` of a season as GeoJSON outlines; each feature's `id` is its label.

    Parameters
    ----------
    path : Path
        `out/candidates.geojson`.
    candidates : GeoDataFrame
        The table as defined in `shared/tables.json`, in the working CRS.
    fictional, about
        As in `write_geojson`.
    """
    write_geojson(path, candidates, id_column="candidate", decimals=OUTLINE_DECIMALS, fictional=fictional, about=about)


def write_colonies(
    path: Path, colonies: GeoDataFrame, *, fictional: bool = False, about: Mapping[str, Any] | None = None
) -> None:
    """Write the table `colonies` of a season as GeoJSON points; each feature's `id` is site and sequence, `WS-12`.

    Parameters
    ----------
    path : Path
        `out/colonies.geojson`.
    colonies : GeoDataFrame
        The table as defined in `shared/tables.json`, in the working CRS. Depths stay properties: RFC 7946 knows no
        depth, and a third coordinate would be read as a height.
    fictional, about
        As in `write_geojson`.
    """
    named = colonies.copy()
    named.insert(0, "colony", colony_names(colonies))
    write_geojson(path, named, id_column="colony", decimals=POINT_DECIMALS, fictional=fictional, about=about)


def colony_names(colonies: pd.DataFrame) -> list[str]:
    """Return the name of each planned colony, site code and sequence number: `WS-12`."""
    return [f"{s}-{int(n)}" for s, n in zip(colonies["site"], colonies["sequence"], strict=True)]
