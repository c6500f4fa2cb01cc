"""Work areas for other programs: GeoJSON, and a zipped shapefile for offices that ask for one."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio

from sitekit.base.files import write_bytes
from sitekit.outputs.vector import write_geojson

# A shapefile's columns have ten letters at most (dBASE; Esri 1998, recalled, unverified).
COLUMNS = {
    "work_area": "work_area",
    "site": "site",
    "name": "name",
    "kind": "kind",
    "area_m2": "area_m2",
    "area_ha": "area_ha",
    "area_acre": "area_acre",
    "plots": "plots",
    "units": "units",
    "rules": "rules",
}
_STAMP = (1980, 1, 1, 0, 0, 0)  # the first time a zip file knows: no clock in results
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def write_work_areas(
    path: Path, areas: gpd.GeoDataFrame, *, fictional: bool, about: Mapping[str, Any] | None = None
) -> None:
    """Write `out/work_areas.geojson`: outlines with 7 decimals of a degree, WGS 84."""
    write_geojson(path, areas, id_column="work_area", fictional=fictional, about=about)


def write_shapefile(path: Path, areas: gpd.GeoDataFrame, *, fictional: bool) -> None:
    """Write `out/work_areas.zip`: a shapefile in WGS 84 longitude and latitude; the same areas give the same bytes.

    Parameters
    ----------
    path : Path
        Target.
    areas : GeoDataFrame
        The table `work_areas`.
    fictional : bool
        Adds the column `FICTIONAL`.
    """
    frame = areas[[*COLUMNS, "geometry"]].rename(columns=COLUMNS).to_crs(4326)
    for column in frame.columns.drop("geometry"):
        if str(frame[column].dtype) == "Int64":
            frame[column] = frame[column].astype("int64")
        elif frame[column].dtype == object:
            frame[column] = [None if v is None else str(v) for v in frame[column]]
    if fictional:
        frame["FICTIONAL"] = "yes"
    out = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "work_areas.shp"
        pyogrio.write_dataframe(
            frame,
            target,
            driver="ESRI Shapefile",
            geometry_type="Polygon",
            layer_options={"ENCODING": "UTF-8", "DBF_DATE_LAST_UPDATE": "2000-01-01"},
        )
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for ending in _PARTS:
                part = target.with_suffix(ending)
                if part.exists():
                    info = zipfile.ZipInfo(part.name, _STAMP)
                    info.compress_type = zipfile.ZIP_DEFLATED
                    archive.writestr(info, part.read_bytes())
    write_bytes(path, out.getvalue())
