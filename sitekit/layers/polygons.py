"""Polygons as somebody drew them, in the working system: no empty layer, no shape that crosses itself unnoticed."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import shapely
from pyproj import CRS

from sitekit.base.crs import datum_note, read_crs
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.vector_file import read_vector


def read_polygons(
    path: Path, *, to_crs: CRS, crs: str | None = None, layer: str | None = None, where: str = "polygons"
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read polygons and bring them into a system.

    Parameters
    ----------
    path : Path
        Any vector file: what GDAL reads, a zipped shapefile, KML, KMZ.
    to_crs : pyproj.CRS
        The working system.
    crs : str, optional
        Where the file does not say.
    layer : str, optional
        Of a file with several.
    where : str
        The layer's name, for messages.

    Returns
    -------
    GeoDataFrame, tuple of str
        The rows with polygons (`attrs["source_crs"]`: the file's system), a column `line` with their number in the file
        from 1 (KML: the line of the text), and notes for the reader.

    Raises
    ------
    FileFault
        If the file is missing or unreadable.
    InputFault
        If it has no polygons, no system, or lies where the working system cannot reach.

    Notes
    -----
    A shape that crosses itself is repaired (its area by the even-odd rule) and a note names it.
    """
    if not Path(path).is_file():
        raise FileFault(Fault(where, f"{path.name} is missing", "a vector file", "Correct the path."))
    frame, said = read_vector(path, where, layer)
    shape = frame.geometry
    keep = shape.notna() & ~shape.is_empty & shape.geom_type.isin(["Polygon", "MultiPolygon", "GeometryCollection"])
    others = int((~keep).sum())
    frame = frame[keep].reset_index(drop=True)
    if frame.empty:
        raise InputFault(Fault(where, f"{path.name} holds no polygon", "at least one polygon", "Give another file."))
    if crs is not None:
        frame = frame.set_crs(read_crs(crs, f"{where}.crs"), allow_override=True)
    if frame.crs is None:
        raise InputFault(
            Fault(where, f"{path.name} does not say its coordinate system", "a system", "Add `crs`, e.g. EPSG:4326.")
        )
    notes = [*said, *([f"{others} rows without a polygon left out"] if others else [])]
    shift = datum_note(CRS(frame.crs), to_crs, *shapely.get_coordinates(list(frame.geometry)).T)
    notes += [f"datum shift: {shift}"] if shift else []
    broken = ~frame.geometry.is_valid
    if bool(broken.any()):
        rows = frame.loc[broken, "line"].tolist()
        reason = shapely.is_valid_reason(frame.geometry[broken].iloc[0])
        notes.append(f"shapes in rows {', '.join(map(str, rows[:5]))} cross themselves ({reason}): repaired")
        frame.loc[broken, frame.geometry.name] = [_areas(g) for g in frame.geometry[broken]]
    source = CRS(frame.crs).name
    frame = frame.to_crs(to_crs)
    frame.attrs["source_crs"] = source
    if not all(map(_finite, frame.total_bounds)):
        raise InputFault(
            Fault(where, f"{path.name} lies outside {to_crs.name}", "shapes in the area", "Check axis order and crs.")
        )
    return frame, tuple(notes)


def _finite(value: float) -> bool:
    return abs(value) < 1e12


def _areas(shape: shapely.Geometry) -> shapely.Geometry:
    parts = [p for p in shapely.get_parts(shapely.make_valid(shape)) if p.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.unary_union(parts)
