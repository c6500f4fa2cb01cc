"""The team's own lists of living colonies, read again: places on the ellipsoid and how far each may be off.

Plain lists and vector files are read here on their own terms; a spreadsheet, receiver file or list in a notation of its own
is read by the reader of the plan.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from sitekit.audit.written import DEGREES
from sitekit.base.files import inside
from sitekit.base.positions import read_angle
from sitekit.errors import Fault, FileFault
from sitekit.layers.cells import Refused
from sitekit.layers.points import Given, read_points
from sitekit.season.settings import Settings
from sitekit.season.settings_layers import Colonies

_EAST = ("lon", "long", "longitude", "lng", "x", "easting", "east", "lon_dd", "longitude_deg", "lon_deg", "dec_lon")
_NORTH = ("lat", "latitude", "y", "northing", "north", "lat_dd", "latitude_deg", "lat_deg", "dec_lat")
_METRES = 400.0  # a number beyond it is no angle


def living(project: Path, settings: Settings, crs: CRS | None = None) -> pd.DataFrame:
    """Return every living colony of the team's files; the working system tells which rows are swapped.

    Returns
    -------
    DataFrame
        `lon`, `lat` [degrees, WGS 84], `error_m` (how far the position may be off [m]) and `named` (file and row).

    Raises
    ------
    FileFault
        If a file cannot be read, or has no coordinates this reader knows.
    """
    parts = []
    for layer in settings.layers.colonies:
        path = inside(project, layer.file)
        if not _is_plain(path, layer):
            parts.append(_as_planned(path, layer, crs or DEGREES))
            continue
        if path.suffix.lower() == ".csv":
            frame, lon, lat = _from_list(path, layer)
        else:
            frame, lon, lat = _from_shapes(path, layer)
        name = layer.columns.get("position_error_m", "position_error_m")
        error = pd.Series(np.nan, index=frame.index)
        if name in frame.columns:
            error = pd.to_numeric(frame[name], errors="coerce")
        error = error.fillna(np.nan if layer.position_error_m is None else layer.position_error_m)
        parts.append(
            pd.DataFrame(
                {
                    "lon": lon,
                    "lat": lat,
                    "error_m": error.to_numpy(dtype=np.float64),
                    "named": [f"{layer.file} row {i + 1}" for i in range(len(frame))],
                }
            )
        )
    columns = ["lon", "lat", "error_m", "named"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _is_plain(path: Path, layer: Colonies) -> bool:
    """Whether it is a vector file, or a UTF-8 list with commas whose header, in its first line, names two coordinates."""
    named = layer.position or layer.header_row or layer.encoding or layer.accept_partial or layer.swapped_rows == "swap"
    if named or path.suffix.lower() != ".csv":
        return not named and path.suffix.lower() in (".geojson", ".json", ".gpkg", ".shp")
    try:
        head = path.read_text("utf-8-sig").partition("\n")[0]
    except (OSError, UnicodeDecodeError):
        return False
    names = {c.strip().strip('"').lower() for c in head.split(",")}
    found = ({(layer.x or "").lower(), *_EAST} & names, {(layer.y or "").lower(), *_NORTH} & names)
    return ";" not in head and all(found) and not names & {"occurrencestatus", "geodeticdatum", "datum"}


def _as_planned(path: Path, layer: Colonies, crs: CRS) -> pd.DataFrame:
    refused: list[Refused] = []
    frame, _ = read_points(
        path,
        to_crs=crs,
        x=layer.x,
        y=layer.y,
        crs=layer.crs,
        columns={str(k): v for k, v in layer.columns.items()},
        origin=layer.origin,
        position_error_m=layer.position_error_m,
        given=Given(position=layer.position, reading=layer.reading, swap=layer.swapped_rows == "swap"),
        refused=refused if layer.accept_partial else None,
    )
    places = frame.geometry.to_crs(DEGREES)
    return pd.DataFrame(
        {
            "lon": places.x.to_numpy(),
            "lat": places.y.to_numpy(),
            "error_m": frame["position_error_m"].to_numpy(np.float64),
            "named": [f"{layer.file} line {n}" for n in frame["line"]],
        }
    )


def _from_list(path: Path, layer: Colonies) -> tuple[pd.DataFrame, NDArray[np.float64], NDArray[np.float64]]:
    try:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig", sep=None, engine="python")
    except (OSError, ValueError) as error:
        raise FileFault(Fault(layer.file, f"cannot be read: {error}", "a list of colonies", "Restore it.")) from error
    x, y = _column(frame, layer.x, _EAST, layer), _column(frame, layer.y, _NORTH, layer)
    east, north = [_number(v) for v in frame[x]], [_number(v) for v in frame[y]]
    flat = any(v is not None and abs(v) > _METRES for v in [*east, *north])
    if not flat:
        lon = np.array([read_angle(v, "lon", f"{layer.file}, {x}") for v in frame[x]])
        lat = np.array([read_angle(v, "lat", f"{layer.file}, {y}") for v in frame[y]])
        return frame, *_degrees(lon, lat, layer.crs or DEGREES)
    if layer.crs is None:
        raise FileFault(Fault(layer.file, "holds metres without a CRS", "layers.colonies.crs", "Name the system."))
    return frame, *_degrees(np.array(east, dtype=np.float64), np.array(north, dtype=np.float64), layer.crs)


def _column(frame: pd.DataFrame, given: str | None, usual: tuple[str, ...], layer: Colonies) -> str:
    if given is not None and given in frame.columns:
        return given
    known = {c.strip().lower(): c for c in frame.columns}
    for name in usual:
        if name in known:
            return str(known[name])
    raise FileFault(
        Fault(
            layer.file, f"has no column of {usual[0]}", ", ".join(map(str, frame.columns)), "Set x and y of the layer."
        )
    )


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _from_shapes(path: Path, layer: Colonies) -> tuple[pd.DataFrame, NDArray[np.float64], NDArray[np.float64]]:
    try:
        frame: Any = pyogrio.read_dataframe(path)
    except (OSError, pyogrio.errors.DataSourceError) as error:
        raise FileFault(Fault(layer.file, f"cannot be read: {error}", "a layer of colonies", "Restore it.")) from error
    points = frame.geometry.explode(index_parts=False) if len(frame) else frame.geometry
    table = pd.DataFrame(frame.drop(columns="geometry")).loc[points.index].reset_index(drop=True)
    crs = layer.crs or frame.crs or DEGREES
    places = points.centroid if len(points) and not bool((points.geom_type == "Point").all()) else points
    return table, *_degrees(places.x.to_numpy(dtype=np.float64), places.y.to_numpy(dtype=np.float64), crs)


def _degrees(
    x: NDArray[np.float64], y: NDArray[np.float64], crs: Any
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    lon, lat = Transformer.from_crs(CRS.from_user_input(crs), DEGREES, always_xy=True).transform(x, y)
    return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
