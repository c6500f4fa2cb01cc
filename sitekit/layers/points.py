"""Existing colonies as points in the working system, every fault of the file at once."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.base.crs import WGS84, read_crs, transform_points
from sitekit.errors import Fault, Faults, FileFault, InputFault

ORIGINS = ("wild", "outplant")
_LONGITUDE = ("lon", "long", "longitude", "decimallongitude", "lon_degrees", "longitude_deg", "lon_dd", "x_lon")
_LATITUDE = ("lat", "latitude", "decimallatitude", "lat_degrees", "latitude_deg", "lat_dd", "y_lat")
_EASTING = ("x", "easting", "x_m", "utm_e", "e")
_NORTHING = ("y", "northing", "y_m", "utm_n", "n")
_MOST = 20  # faults listed one by one; the rest is counted


def read_points(
    path: Path,
    *,
    to_crs: CRS,
    x: str | None = None,
    y: str | None = None,
    crs: str | None = None,
    columns: Mapping[str, str] | None = None,
    origin: str | None = None,
    position_error_m: float | None = None,
    where: str = "layers.colonies",
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read colonies from CSV (any usual coordinate columns) or a vector file.

    Parameters
    ----------
    path : Path
        The file.
    to_crs : pyproj.CRS
        The working system.
    x, y : str, optional
        Coordinate columns of a CSV, where their names are unusual.
    crs : str, optional
        System of the coordinates; WGS 84 for columns named after latitude and longitude.
    columns : mapping, optional
        Field (`species`, `size_cm`, `origin`, `position_error_m`) -> column of the file; by default of the same name.
    origin, position_error_m
        For files without such a column.
    where : str
        For messages.

    Returns
    -------
    GeoDataFrame, tuple of str
        `species`, `size_cm`, `origin`, `position_error_m`, `file`, `line`, point; and notes.

    Raises
    ------
    FileFault, InputFault
        With every fault: missing columns, text where a number is due, swapped coordinates, empty file.
    """
    typed = path.suffix.lower() in (".csv", ".txt", ".tsv")
    rows, lines, cx, cy, source, notes = (_table if typed else _vector)(path, x, y, crs, where)
    if not rows:
        raise InputFault(Fault(where, f"{path.name} holds no colony", "at least one row", "Leave the layer out."))
    names = {f: (columns or {}).get(f, f) for f in ("species", "size_cm", "origin", "position_error_m")}
    values: dict[str, list[Any]] = {f: [] for f in names}
    px, py = ([], []) if typed else (cx, cy)
    with Faults() as faults:
        present = set(rows[0])
        for field, column in names.items():
            if column not in present and field in (columns or {}):
                faults.add(
                    f"{where}.columns.{field}", f"no column {column!r}", ", ".join(sorted(present)), "Correct it."
                )
        if names["position_error_m"] not in present and position_error_m is None:
            faults.add(
                f"{where}.position_error_m",
                "not given",
                "the error of the positions [m]",
                "It widens the clearance: state it.",
            )
        if names["origin"] not in present and origin is None:
            faults.add(f"{where}.origin", "not given", "wild or outplant", "Say which, or name a column.")
        told = len(faults.found)
        for row, line in zip(rows, lines, strict=True):
            if len(faults.found) >= _MOST:
                faults.add(where, "more faults follow", "a clean file", "Correct these first.")
                break
            at = f"{path.name}, line {line}"
            if typed:
                px.append(_number(row.get(cx), at, cx, faults, due=True))
                py.append(_number(row.get(cy), at, cy, faults, due=True))
            values["species"].append(_text(row.get(names["species"])) or None)
            values["size_cm"].append(_number(row.get(names["size_cm"]), at, "size_cm", faults, least=0.0))
            own = (_text(row.get(names["origin"])) or origin or "").strip().lower()
            if own not in ORIGINS and (own or not told):
                faults.add(at, f"origin {own!r}", " or ".join(ORIGINS), "Correct it.")
            values["origin"].append(own)
            error = _number(row.get(names["position_error_m"]), at, "position_error_m", faults, least=0.0)
            error = position_error_m if error is None else error
            if error is None and not told:
                faults.add(at, "no position error", "a number of metres", "State it for the row or the layer.")
            values["position_error_m"].append(error)
    px, py = np.asarray(px, np.float64), np.asarray(py, np.float64)
    easting, northing = transform_points(px, py, source, to_crs)
    _check_place(easting, northing, px, py, lines, source, to_crs, path, where)
    frame = gpd.GeoDataFrame(
        {**values, "file": path.name, "line": lines}, geometry=gpd.points_from_xy(easting, northing), crs=to_crs
    )
    frame["size_cm"] = frame["size_cm"].astype("float64")
    frame["position_error_m"] = frame["position_error_m"].astype("float64")
    same = int(frame.duplicated(subset=["geometry"]).sum())
    if same:
        notes = (*notes, f"{same} colonies stand on the position of another")
    return frame, notes


def _table(path: Path, x: str | None, y: str | None, crs: str | None, where: str) -> Any:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputFault(
            Fault(where, f"{path.name}: byte {error.start} is not UTF-8", "a CSV in UTF-8", "Save it as UTF-8.")
        ) from error
    except OSError as error:
        raise FileFault(
            Fault(where, f"{path.name} cannot be read ({error.strerror})", "a CSV file", "Check it.")
        ) from error
    reader = csv.DictReader(text.splitlines(), delimiter="\t" if path.suffix.lower() == ".tsv" else ",")
    header = [h.strip() for h in (reader.fieldnames or [])]
    low = {h.lower(): h for h in header}
    cx, cy = x, y
    geographic = cx is None or (cx.lower() in _LONGITUDE and str(cy).lower() in _LATITUDE)
    if cx is None and cy is None:
        cx, cy = _first(low, _LONGITUDE), _first(low, _LATITUDE)
        if cx is None or cy is None:
            cx, cy, geographic = _first(low, _EASTING), _first(low, _NORTHING), False
    if cx is None or cy is None or cx not in header or cy not in header:
        raise InputFault(
            Fault(
                where,
                f"{path.name} has columns {', '.join(header)}",
                "columns of coordinates (lon and lat, or x and y)",
                'Name them: x = "…", y = "…".',
            )
        )
    if crs is None and not geographic:
        raise InputFault(
            Fault(where, f"columns {cx!r} and {cy!r} without a system", "the system of the coordinates", "Add `crs`.")
        )
    rows = [{(k or "").strip(): v for k, v in row.items()} for row in reader]
    lines = list(range(2, len(rows) + 2))
    source = WGS84 if crs is None else read_crs(crs, f"{where}.crs")
    return rows, lines, cx, cy, source, (f"coordinates from {cx!r} and {cy!r}",)


def _vector(path: Path, x: str | None, y: str | None, crs: str | None, where: str) -> Any:
    try:
        frame = gpd.read_file(path)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise FileFault(Fault(where, f"{path.name} cannot be read: {error}", "a vector file", "Check it.")) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputFault(Fault(where, f"{path.name} has no points", "points", "Give another file."))
    keep = frame.geometry.notna() & (frame.geometry.geom_type == "Point")
    lines = [i + 1 for i, k in enumerate(keep) if k]
    notes = (f"{int((~keep).sum())} rows without a point left out",) if not bool(keep.all()) else ()
    frame = frame[keep]
    source = read_crs(crs, f"{where}.crs") if crs else frame.crs
    if source is None:
        raise InputFault(Fault(where, f"{path.name} does not say its system", "a coordinate system", "Add `crs`."))
    rows = frame.drop(columns=frame.geometry.name).to_dict("records")
    return rows, lines, frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy(), CRS(source), notes


def _first(low: Mapping[str, str], names: tuple[str, ...]) -> str | None:
    return next((low[n] for n in names if n in low), None)


def _text(value: Any) -> str:
    """Text of a cell; a vector file's empty cell may come as NaN."""
    return "" if value is None or (isinstance(value, float) and np.isnan(value)) else str(value).strip()


def _number(
    value: Any, where: str, column: str, faults: Faults, *, least: float | None = None, due: bool = False
) -> float | None:
    text = _text(value)
    if not text or text.upper() in ("NA", "NAN"):
        if due:
            faults.add(where, f"{column} is empty", "a number", "Fill it in or remove the row.")
        return None
    try:
        number = float(text)
    except ValueError:
        faults.add(where, f"{column} is {text!r}", "a number", "Correct it.")
        return None
    if not np.isfinite(number) or (least is not None and number < least):
        faults.add(
            where, f"{column} is {text}", f"a number{'' if least is None else f' of {least:g} or more'}", "Correct it."
        )
        return None
    return number


def _check_place(
    easting: NDArray[np.float64],
    northing: NDArray[np.float64],
    px: NDArray[np.float64],
    py: NDArray[np.float64],
    lines: list[int],
    source: CRS,
    to_crs: CRS,
    path: Path,
    where: str,
) -> None:
    if not source.is_geographic:
        return
    swapped = np.abs(py) > 90
    if not swapped.any() and to_crs.area_of_use is not None:
        w, s, e, n = to_crs.area_of_use.bounds
        out = (py < s - 5) | (py > n + 5)
        turned = (px >= s) & (px <= n) & (py >= w) & (py <= e)
        swapped = out & turned if bool((out & turned).all()) else np.zeros(len(px), bool)
    if swapped.any():
        first = ", ".join(str(lines[i]) for i in np.flatnonzero(swapped)[:5])
        raise InputFault(
            Fault(
                where,
                f"{path.name}: latitude and longitude look swapped in {int(swapped.sum())} rows (lines {first})",
                "longitude in x, latitude in y",
                "Swap the names in x and y.",
            )
        )
