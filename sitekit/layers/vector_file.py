"""Any file of shapes as one frame: what GDAL reads, zipped shapefiles, GPX, KML, KMZ."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path, PurePosixPath

import geopandas as gpd
import pyogrio

from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.waypoints import read_gpx, read_kml
from sitekit.layers.zipped import member_named, open_archive

Found = tuple[gpd.GeoDataFrame, tuple[str, ...]]
_DUE = "a vector file"


def read_vector(path: Path, where: str, layer: str | None = None) -> Found:
    """Return the rows of a vector file with a column `line`, and how it was read.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, shapefile (or a .zip with one), GPX, KML, KMZ, or what else GDAL reads.
    where : str
        For messages.
    layer : str, optional
        Of a file with several.

    Returns
    -------
    GeoDataFrame, tuple of str
        `line` is the row from 1, for GPX and KML the line of the file.

    Raises
    ------
    FileFault
        If it is missing or cannot be read.
    InputFault
        If it has no shapes, or as `read_gpx`, `read_kml` and `open_archive`.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix == ".gpx":
        return read_gpx(path, where)
    if suffix in (".kml", ".kmz"):
        return read_kml(path, where)
    if suffix == ".zip":
        return _zipped(path, where)
    return _by_gdal(path, path.name, where, layer), ()


def _by_gdal(path: Path, name: str, where: str, layer: str | None = None) -> gpd.GeoDataFrame:
    if not path.is_file() and not path.is_dir():
        raise FileFault(Fault(where, f"{name} cannot be read: it is missing", _DUE, "Correct the path."))
    try:
        frame = gpd.read_file(path, layer=layer) if layer else gpd.read_file(path)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise FileFault(Fault(where, f"{name} cannot be read: {error}", _DUE, "Open and save it again.")) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputFault(Fault(where, f"{name} has no shapes", "points, lines or areas", "Give another file."))
    frame["line"] = range(1, len(frame) + 1)
    return frame


def _zipped(path: Path, where: str) -> Found:
    """One shapefile out of an archive, unpacked into a folder that is thrown away."""
    with open_archive(path, where) as archive, tempfile.TemporaryDirectory() as folder:
        found = member_named(archive, ".shp")
        if len(found) != 1:
            came = f"{path.name} holds {len(found)} shapefiles: {', '.join(found[:5]) or 'none'}"
            raise InputFault(Fault(where, came, "one shapefile", "Unpack it and give the file that is meant."))
        stem = found[0][:-4].lower()
        parts = {n[len(stem) :].lower(): n for n in archive.namelist() if n.lower().startswith(stem + ".")}
        lacking = [s for s in (".shx", ".dbf") if s not in parts]
        if lacking:
            raise InputFault(
                Fault(
                    where, f"{path.name} lacks the parts {', '.join(lacking)}", "all parts of a shapefile", "Zip all."
                )
            )
        for suffix in (s for s in parts if s in (".shp", ".shx", ".dbf", ".prj", ".cpg")):
            with archive.open(parts[suffix]) as source, (Path(folder) / f"shapes{suffix}").open("wb") as target:
                shutil.copyfileobj(source, target)
        frame = _by_gdal(Path(folder) / "shapes.shp", f"{path.name}, {PurePosixPath(found[0]).name}", where)
    notes = [f"shapefile {found[0]} in {path.name}"]
    if ".cpg" not in parts:
        notes.append("no .cpg: its letters were read by the shapefile's own mark, else as ISO 8859-1")
    return frame, tuple(notes)
