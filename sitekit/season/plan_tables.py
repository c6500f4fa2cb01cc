"""`out/season.gpkg`, the single truth of a plan: every table in the working system at full precision.

Every other file is an export of it. It is written whole; the same tables give the same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import pyogrio
from pyproj import CRS

from sitekit.base.files import atomic_path
from sitekit.base.tables import build, conform, empty, table, table_names
from sitekit.errors import Fault, FileFault

_FIXED_TIME = "2000-01-01T00:00:00.000Z"  # GeoPackage wants a time of last change; a clock would change the bytes


def write_plan(path: Path, tables: Mapping[str, pd.DataFrame], crs: CRS) -> None:
    """Write tables to a GeoPackage 1.3, whole or not at all; tables not given are written empty.

    Parameters
    ----------
    path : Path
        The `season.gpkg`.
    tables : mapping of str to DataFrame
        Table name -> rows; each is checked against its definition.
    crs : pyproj.CRS
        The working system.

    Raises
    ------
    InputFault
        If a table does not match its definition.
    FileFault
        If the file cannot be written.
    """
    checked = {name: conform(tables[name], name) if name in tables else empty(name, crs) for name in table_names()}
    with fixed_time(), atomic_path(path) as beside:
        for name, frame in checked.items():
            _write_layer(beside, name, frame, crs)


def _write_layer(path: Path, name: str, frame: pd.DataFrame, crs: CRS) -> None:
    definition = table(name)
    out = frame.copy()
    for column in definition.columns:
        if column.type in ("text", "date"):
            out[column.name] = out[column.name].astype(object)
        elif column.type == "integer":
            out[column.name] = out[column.name].astype("Int64")
    if definition.geometry:
        import geopandas as gpd

        out = gpd.GeoDataFrame(out, geometry="geometry", crs=crs)
        pyogrio.write_dataframe(
            out,
            path,
            layer=name,
            driver="GPKG",
            append=path.exists(),
            geometry_type=definition.geometry,
            promote_to_multi=definition.geometry.startswith("Multi"),
            dataset_options={"VERSION": "1.3"},
            layer_options={"SPATIAL_INDEX": "NO"},
        )
    else:
        pyogrio.write_dataframe(
            out, path, layer=name, driver="GPKG", append=path.exists(), dataset_options={"VERSION": "1.3"}
        )


def read_table(path: Path, name: str) -> pd.DataFrame:
    """Read one table of a season, checked against its definition.

    Raises
    ------
    FileFault
        If the file is missing or not a season.
    InputFault
        If the table does not match its definition.
    """
    definition = table(name)
    if not Path(path).is_file():
        raise FileFault(Fault(str(path), "is missing", "a season written by a run", "Run: sitekit run plan.toml"))
    try:
        frame = pyogrio.read_dataframe(path, layer=name, read_geometry=definition.geometry is not None)
    except pyogrio.errors.DataSourceError as error:
        raise FileFault(Fault(str(path), f"cannot be read: {error}", "a season.gpkg", "Run again.")) from error
    except pyogrio.errors.DataLayerError as error:
        raise FileFault(Fault(str(path), f"has no table {name!r}", "a season.gpkg", "Run again.")) from error
    if frame.empty and set(frame.columns) - {"geometry"} == set(definition.names):
        return empty(name, frame.crs if definition.geometry else None)
    if definition.geometry and "geometry" in frame:
        rows = frame.drop(columns="geometry").to_dict("records")
        return build(name, rows, list(frame.geometry), frame.crs)
    return conform(frame, name)


def read_plan(path: Path) -> dict[str, pd.DataFrame]:
    """Read every table of a season."""
    return {name: read_table(path, name) for name in table_names()}


@contextmanager
def fixed_time() -> Iterator[None]:
    """Let GeoPackages carry a fixed time of last change, so that equal content has equal bytes.

    They are not flushed table by table either: a file stands beside its target until it is whole, and a run that a
    power cut stops starts again (five times faster with 40 tables on a busy disk, measured).
    """
    wanted = {"OGR_CURRENT_DATE": _FIXED_TIME, "OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_SQLITE_JOURNAL": "MEMORY"}
    before = {name: os.environ.get(name) for name in wanted}
    pyogrio.set_gdal_config_options(wanted)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)
