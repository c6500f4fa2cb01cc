"""One list of colonies saved in every format it can be saved in, by other libraries, gives the same places and values."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import gpxpy.gpx
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Transformer

from sitekit.base.notation import angle_text
from sitekit.layers.points import Given, read_points
from tests.layers.rasters import UTM

NEAR = {"origin": "wild", "position_error_m": 3.0}
Saver = Callable[[gpd.GeoDataFrame, Path], Path]


def colonies() -> gpd.GeoDataFrame:
    """Forty places with species and sizes, in degrees to nine decimals."""
    random = np.random.default_rng(3)
    lon, lat = np.round(-63.01 - random.random(40) / 100, 9), np.round(18.1 + random.random(40) / 100, 9)
    data = {"species": ["APAL", "ACER"] * 20, "size_cm": np.round(random.random(40) * 90, 1)}
    return gpd.GeoDataFrame(data, geometry=gpd.points_from_xy(lon, lat), crs=4326)


def table(frame: gpd.GeoDataFrame) -> pd.DataFrame:
    return pd.DataFrame(frame.drop(columns="geometry")).assign(lon=frame.geometry.x, lat=frame.geometry.y)


def comma(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    table(frame).to_csv(folder / "a.csv", index=False)
    return folder / "a.csv"


def spanish(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    """Semicolons, decimal commas, a byte-order mark, names in Spanish with an accent in a title."""
    named = table(frame).rename(columns={"species": "Especie", "lon": "Longitud", "lat": "Latitud"})
    text = "Censo del año;;;\n" + named.to_csv(index=False, sep=";", decimal=",")
    (folder / "a.csv").write_text(text, "utf-8-sig")
    return folder / "a.csv"


def windows(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    rows = table(frame).assign(nota="año")
    rows.to_csv(folder / "a.txt", index=False, sep="\t", encoding="cp1252")
    return folder / "a.txt"


def unicode_text(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    """What a spreadsheet saves as Unicode text: UTF-16 with its mark, tabs."""
    table(frame).to_csv(folder / "a.txt", index=False, sep="\t", encoding="utf-16")
    return folder / "a.txt"


def sheet(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    table(frame).to_excel(folder / "a.xlsx", index=False, startrow=2)
    return folder / "a.xlsx"


def notation(style: str) -> Saver:
    def save(frame: gpd.GeoDataFrame, folder: Path) -> Path:
        rows = table(frame)
        rows["position"] = [
            f"{angle_text(y, 'lat', style)} {angle_text(x, 'lon', style)}"  # type: ignore[arg-type]
            for x, y in zip(rows["lon"], rows["lat"], strict=True)
        ]
        rows.drop(columns=["lon", "lat"]).to_csv(folder / "a.csv", index=False)
        return folder / "a.csv"

    return save


def eastings(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    zone = frame.estimate_utm_crs()
    places = frame.to_crs(zone).geometry
    rows = table(frame).drop(columns=["lon", "lat"])
    rows = rows.assign(UTM_E=places.x, UTM_N=places.y, zone=zone.name.split()[-1], datum="WGS84")
    rows.to_csv(folder / "a.csv", index=False)
    return folder / "a.csv"


def older_datum(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    """Degrees on NAD27, told by a Darwin Core column; the shift is that of PROJ."""
    x, y = Transformer.from_crs(4326, 4267, always_xy=True).transform(frame.geometry.x, frame.geometry.y)
    rows = table(frame).rename(columns={"lon": "decimalLongitude", "lat": "decimalLatitude"})
    rows.assign(decimalLongitude=x, decimalLatitude=y, geodeticDatum="NAD27").to_csv(folder / "a.csv", index=False)
    return folder / "a.csv"


def receiver(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    """A receiver's file has neither species nor size."""
    document = gpxpy.gpx.GPX()
    for p in frame.geometry:
        document.waypoints.append(gpxpy.gpx.GPXWaypoint(p.y, p.x))
    (folder / "a.gpx").write_text(document.to_xml(), "utf-8")
    return folder / "a.gpx"


def by_driver(name: str, driver: str) -> Saver:
    def save(frame: gpd.GeoDataFrame, folder: Path) -> Path:
        frame.to_file(folder / name, driver=driver)
        return folder / name

    return save


def packed(inner: Saver, name: str, ends: tuple[str, ...]) -> Saver:
    def save(frame: gpd.GeoDataFrame, folder: Path) -> Path:
        inner(frame, folder)
        with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(folder.iterdir()):
                if path.suffix in ends:
                    archive.write(path, path.name)
        return folder / name

    return save


KML, SHAPES = by_driver("a.kml", "KML"), by_driver("a.shp", "ESRI Shapefile")
# Format -> writer, and how far a place may be off [m]: half of the last digit that the format carries.
FORMATS: dict[str, tuple[Saver, float]] = {
    "commas": (comma, 1e-3),
    "semicolons and decimal commas": (spanish, 1e-3),
    "tabs and cp1252": (windows, 1e-3),
    "tabs and UTF-16": (unicode_text, 1e-3),
    "spreadsheet": (sheet, 1e-3),
    "decimal degrees as text": (notation("DD"), 1.0),
    "degrees and minutes": (notation("DDM"), 0.2),
    "degrees, minutes, seconds": (notation("DMS"), 2.0),
    "eastings and zones": (eastings, 1e-3),
    "NAD27": (older_datum, 0.01),
    "GPX": (receiver, 1e-3),
    "KML": (KML, 0.01),
    "KMZ": (packed(KML, "a.kmz", (".kml",)), 0.01),
    "shapefile in an archive": (packed(SHAPES, "a.zip", (".shp", ".shx", ".dbf", ".prj", ".cpg")), 1e-3),
    "GeoPackage": (by_driver("a.gpkg", "GPKG"), 1e-3),
    "GeoJSON": (by_driver("a.geojson", "GeoJSON"), 0.01),
}


def assert_same(frame: gpd.GeoDataFrame, path: Path, within_m: float, crs: CRS, name: str) -> None:
    found, notes = read_points(path, to_crs=crs, given=Given(), **NEAR)  # type: ignore[arg-type]
    due = frame.to_crs(crs)
    assert len(found) == len(due)
    assert float(due.geometry.distance(found.geometry, align=False).max()) <= within_m
    if name != "GPX":
        assert found["species"].tolist() == due["species"].tolist()
        np.testing.assert_allclose(found["size_cm"], due["size_cm"], rtol=1e-12)
    assert any(n.startswith("datum shift: NAD27") for n in notes) == (name == "NAD27")


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_gives_the_same_colonies(tmp_path: Path, name: str) -> None:
    """A season that depends on the button under which a list was saved."""
    save, within_m = FORMATS[name]
    frame = colonies()
    assert_same(frame, save(frame, tmp_path), within_m, UTM, name)


@pytest.mark.open_data
@pytest.mark.parametrize("name", FORMATS)
def test_colonies_of_the_banks_are_the_same_from_every_format(tmp_path: Path, name: str) -> None:
    """What holds for made-up rows only."""
    folder = os.environ.get("SITEKIT_OPEN_DATA")
    if not folder:
        pytest.skip("SITEKIT_OPEN_DATA names no folder")
    crs = CRS.from_epsg(32615)
    columns = {"species": "SPECIES_CD", "size_cm": "MAX_DIAMETER"}
    path = Path(folder) / "flower_garden_banks" / "coral_colonies.csv"
    read, _ = read_points(path, to_crs=crs, columns=columns, **NEAR)  # type: ignore[arg-type]
    frame = (
        read[read["size_cm"].notna()][["species", "size_cm", "geometry"]].head(500).to_crs(4326).reset_index(drop=True)
    )
    save, within_m = FORMATS[name]
    assert_same(frame, save(frame, tmp_path), max(within_m, 0.01), crs, name)
