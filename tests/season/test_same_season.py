"""Two real places saved in every format they can be saved in, by other libraries: equal seasons, table by table.

Pieces of the East Flower Garden Bank (polygons, a boundary, colonies) and of Oahu's windward shelf (rasters, survey
sites); SOURCES.md of the folder that SITEKIT_OPEN_DATA names says where they come from. The nursery's list is made up, and
the bottom counts as mapped finely enough for plots, which it is not: only so does the season go on to its last table.

In one season each format holds every n-th row of the colonies, so that a fault of any of them moves the season.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from rasterio.windows import Window
from scipy.io import netcdf_file

from sitekit.season.plan_tables import read_table
from tests.layers.test_same_colonies import FORMATS, SHAPES, by_driver, comma, packed
from tests.season.conftest import command

OPEN_DATA = os.environ.get("SITEKIT_OPEN_DATA", "")
pytestmark = [
    pytest.mark.open_data,
    pytest.mark.slow,
    pytest.mark.skipif(not OPEN_DATA, reason="SITEKIT_OPEN_DATA names no folder with the open data"),
]

METHOD = """
[[species]]
code = "{species}"
name = "coral of the nursery"
[[criteria]]
name = "depth"
field = "depth_m"
curve = {{ shape = "trapezoid", at = {depths} }}
weight = 2.0
source = "written for this test"
[[criteria]]
name = "living colonies near"
field = "distance_colonies_m"
curve = {{ shape = "fall", at = [20.0, 300.0] }}
weight = 1.0
source = "written for this test"
[score]
passing = 0.6
[sensitivity]
draws = 16
[candidates]
least_area_m2 = 200.0
[spacing]
separation_m = 1.0
lay_tolerance_m = 0.2
clearance_m = 1.0
[spacing.plot]
most = 2
[stock]
file = "{stock}"
[[site]]
code = "S1"
at = "{at}"
"""
BANK = """
[plan]
name = "East Flower Garden Bank, a piece of it"
date = 2026-04-15
cell_m = 2.0
crs = "EPSG:32615"
[layers.bathymetry]
file = "{squares}"
field = "DEPTH_M"
sign = "elevation"
units = "m"
datum = "not stated"
depth_error_m = 0.5
[layers.substrate]
file = "{squares}"
field = "HABITAT"
resolution_m = 1.0
[layers.substrate.classes]
"HR" = "Coral Reef Substrate"
"LR" = "Coral Reef Substrate"
{colonies}
[layers.protected]
file = "{boundary}"
name_field = "AREA_NAME"
[layers.protected.rules]
"Stetson Bank" = "forbidden"
"West Flower" = "permit"
"East Flower" = "permit"
[exclusions]
permit_held = ["West Flower", "East Flower"]
"""
SHELF = """
[plan]
name = "Oahu, a piece of its shelf"
date = 2026-04-15
cell_m = 4.0
crs = "EPSG:32604"
[layers.bathymetry]
file = "{depth}"
sign = "elevation"
units = "m"
datum = "not stated"
depth_error_m = 4.0
{more}
{colonies}
[exclusions]
least_depth_m = 2.0
"""
CLASSES = """
[layers.substrate]
file = "{structure}"
{more}
[layers.substrate.classes]
"1" = "Coral Reef Substrate"
"4" = "Bedrock"
"5" = "Bedrock"
"9" = "Coral Reef Substrate"
"""
NUMBERS = """
[layers.substrate]
file = "bottom.geojson"
field = "bottom"
resolution_m = 1.0
[layers.substrate.classes]
"rock" = "Bedrock"
[layers.rasters.structure]
file = "{structure}"
label = "number of the class"
units = "1"
source = "SOURCES.md"
{more}
[[criteria]]
name = "structure"
field = "structure"
curve = {{ shape = "trapezoid", at = [0.0, 1.0, 5.0, 12.0] }}
weight = 0.5
source = "written for this test"
"""
# Columns that tell in which file and line a row stood.
LINEAGE = ("file", "line", "stock_rows")
NAMES = list(FORMATS)
MIDDLE = (-157.71571, 21.40348)  # of the piece of Oahu's shelf
EXACT_M = 1e-6


def colony_lines(files: list[str]) -> str:
    line = '[[layers.colonies]]\nfile = "{}"\norigin = "wild"\nposition_error_m = 15.0\n'
    return "".join(line.format(name) for name in files)


def nursery(species: str) -> pd.DataFrame:
    """A made-up list that two plots take whole."""
    return pd.DataFrame(
        {"species": species, "genet": [f"g{i}" for i in range(1, 11)], "ready": 10, "health": "healthy",
         "health_date": "2026-04-01", "size_cm": 8.5, "source": "Bahía"}
    )  # fmt: skip


def bank() -> dict[str, gpd.GeoDataFrame]:
    """Squares, boundary and colonies of the bank."""
    folder = Path(OPEN_DATA) / "flower_garden_banks"
    west, south, east, north = -93.6001, 27.9087, -93.5997, 27.9091
    squares = gpd.read_file(folder / "frame_50m_wgs84.geojson").cx[west:east, south:north]
    boundary = gpd.read_file(folder / "sanctuary_boundary_nad83.geojson")
    rows = pd.read_csv(folder / "coral_colonies.csv").rename(
        columns={"SPECIES_CD": "species", "MAX_DIAMETER": "size_cm"}
    )
    rows = rows[rows["LON_DEGREES"].between(west, east) & rows["LAT_DEGREES"].between(south, north)]
    places = gpd.points_from_xy(rows["LON_DEGREES"], rows["LAT_DEGREES"])
    return {
        "squares": squares[["DEPTH_M", "HABITAT", "geometry"]].reset_index(drop=True),
        "boundary": boundary[["AREA_NAME", "geometry"]],
        "colonies": gpd.GeoDataFrame(rows[["species", "size_cm"]], geometry=places, crs=4326).reset_index(drop=True),
    }


def dealt(colonies: gpd.GeoDataFrame, folder: Path, savers: list[Any]) -> list[str]:
    """Save every n-th colony by the n-th saver; return the names of the files."""
    names = []
    for i, save in enumerate(savers):
        own = folder / f"from{i:02d}"
        own.mkdir()
        path = save(colonies.iloc[i :: len(savers)].reset_index(drop=True), own)
        names.append(path.relative_to(folder).as_posix())
    return names


def run(folder: Path, plan: str, *, code: int = 0) -> Path:
    """Run a plan; return its season."""
    (folder / "plan.toml").write_text(plan, "utf-8")
    said = command("run", folder)
    assert said.code == code, said.err
    return folder / "out" / "season.gpkg"


def assert_equal_seasons(one: Path, other: Path, within: dict[str, Any], blind: str = "", units: int = 100) -> None:
    """Hold all tables of two seasons and their rasters against each other.

    Parameters
    ----------
    one, other : Path
        Two `season.gpkg`.
    within : dict of str to array_like
        Table -> how far each of its shapes may be off [m]; a micrometre where nothing is said.
    blind : str
        Folder whose colonies have neither species nor size.
    units : int
        Planted in both.
    """
    names = sorted(pyogrio.list_layers(one)[:, 0])
    assert names == sorted(pyogrio.list_layers(other)[:, 0])
    filled = 0
    for name in names:
        a, b = read_table(one, name), read_table(other, name)
        if name == "doubts" and blind:
            continue  # they hold each file against the others: a file without species fits all of them
        assert len(a) == len(b), name
        filled += bool(len(a))
        for column in (c for c in a.columns if c not in LINEAGE):
            x, y = a[column], b[column]
            if name == "living" and blind and column in ("species", "size_cm"):
                none = b["file"].str.startswith(blind)
                assert y[none].isna().all()
                x, y = x[~none], y[~none]
            if column == "geometry":
                off = shapely.hausdorff_distance(x.to_numpy(), y.to_numpy())
                assert (off <= within.get(name, EXACT_M)).all(), name
            elif pd.api.types.is_float_dtype(x):
                np.testing.assert_allclose(y, x, rtol=0, atol=EXACT_M, err_msg=f"{name}, {column}")
            else:
                pd.testing.assert_series_equal(x, y, obj=f"{name}, {column}")
    assert filled >= (20 if units else 10)  # seasons that stop half-way would be equal too
    assert len(read_table(one, "colonies")) == units
    rasters = sorted(p.relative_to(one.parent) for p in one.parent.rglob("*.tif"))
    assert len(rasters) > 4
    for raster in rasters:
        with rasterio.open(one.parent / raster) as a, rasterio.open(other.parent / raster) as b:
            np.testing.assert_allclose(b.read(), a.read(), rtol=0, atol=EXACT_M, err_msg=str(raster))


@pytest.fixture(scope="module")
def bank_season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bank's season from commas and GeoJSON, its colonies in as many files as there are formats."""
    folder, data = tmp_path_factory.mktemp("bank"), bank()
    data["squares"].to_file(folder / "squares.geojson")
    data["boundary"].to_file(folder / "boundary.geojson")
    nursery("OFAV").to_csv(folder / "stock.csv", index=False)
    files = dealt(data["colonies"], folder, [comma] * len(NAMES))
    return run(folder, bank_plan(files, "squares.geojson", "boundary.geojson", "stock.csv"))


def bank_plan(files: list[str], squares: str, boundary: str, stock: str) -> str:
    method = METHOD.format(species="OFAV", depths="[15.0, 18.0, 22.0, 30.0]", stock=stock, at="27.9090 N, 93.5998 W")
    return BANK.format(squares=squares, boundary=boundary, colonies=colony_lines(files)) + method


def tabbed(frame: pd.DataFrame, path: Path) -> None:
    frame.to_csv(path, index=False, sep="\t", encoding="cp1252")


def with_commas(frame: pd.DataFrame, path: Path) -> None:
    path.write_text("Lista del vivero;;;;;;\n" + frame.to_csv(index=False, sep=";", decimal=","), "utf-8-sig")


def on_nad27(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    frame.to_crs(4267).to_file(folder / "nad27.geojson")
    return folder / "nad27.geojson"


def in_metres(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    frame.to_crs(32615).to_file(folder / "metres.shp")
    return folder / "metres.shp"


def marks(frame: gpd.GeoDataFrame, folder: Path) -> Path:
    """Placemarks hold degrees on WGS 84 only."""
    return by_driver("marks.kml", "KML")(frame.to_crs(4326), folder)


ZIPPED = packed(SHAPES, "shapes.zip", (".shp", ".shx", ".dbf", ".prj", ".cpg"))
# Of squares, boundary and the nursery's list.
OTHERS: dict[str, tuple[Any, Any, str, Any]] = {
    "GeoPackage, zipped shapefile, spreadsheet": (
        by_driver("squares.gpkg", "GPKG"), ZIPPED, "stock.xlsx", lambda f, p: f.to_excel(p, index=False, startrow=2)
    ),
    "KML, KMZ, semicolons": (marks, packed(marks, "marks.kmz", (".kml",)), "stock.csv", with_commas),
    "shapefile in metres, NAD27, tabs": (in_metres, on_nad27, "stock.txt", tabbed),
}  # fmt: skip


@pytest.mark.parametrize("name", OTHERS)
def test_the_bank_gives_one_season_from_every_table_and_every_file_of_shapes(
    bank_season: Path, tmp_path: Path, name: str
) -> None:
    """A season that depends on the button under which a partner saved a list.

    All tables but `living` agree to a micrometre (shift to NAD27 and back: 0.1 mm in what is measured from shapes);
    living colonies stand as far off as half the last digit of their own format, at most 0.2 m here: no 2 m cell changes.
    GPX has places only, so its colonies have neither species nor size.

    Slow: a season to its last table per line of OTHERS, and one to compare with.
    """
    data = bank()
    squares, boundary, stock, save_stock = OTHERS[name]
    paths = []
    for one, save in (("squares", squares), ("boundary", boundary)):
        (tmp_path / one).mkdir()
        paths.append(save(data[one], tmp_path / one).relative_to(tmp_path).as_posix())
    save_stock(nursery("OFAV"), tmp_path / stock)
    turn = 5 * list(OTHERS).index(name)
    formats = [NAMES[(i + turn) % len(NAMES)] for i in range(len(NAMES))]
    files = dealt(data["colonies"], tmp_path, [FORMATS[f][0] for f in formats])
    season = run(tmp_path, bank_plan(files, *paths, stock))
    living = read_table(season, "living")
    within = {"living": [FORMATS[formats[files.index(f)]][1] for f in living["file"]]}
    assert_equal_seasons(bank_season, season, within, f"from{formats.index('GPX'):02d}")


def grid_text(path: Path, values: np.ndarray, transform: Any, gap: float) -> Path:
    """An ASCII grid written by hand; it cannot say its system."""
    head = (
        f"ncols {values.shape[1]}\nnrows {values.shape[0]}\nxllcorner {transform.c!r}\n"
        f"yllcorner {transform.f + transform.e * values.shape[0]!r}\ncellsize {transform.a!r}\nNODATA_value {gap:g}\n"
    )
    path.write_text(head + "\n".join(" ".join(map(repr, row)) for row in values.tolist()) + "\n", "ascii")
    return path


def net(path: Path, values: np.ndarray, transform: Any, gap: float, *, south_first: bool) -> Path:
    """A NetCDF file with middles of cells as coordinates (CF conventions), rows from the north or from the south."""
    rows, cols = values.shape
    lat = transform.f + transform.e * (np.arange(rows) + 0.5)
    with netcdf_file(path, "w") as file:
        file.Conventions = "CF-1.8"
        axes = {"lat": (lat[::-1] if south_first else lat, "degrees_north"),
                "lon": (transform.c + transform.a * (np.arange(cols) + 0.5), "degrees_east")}  # fmt: skip
        for name, (along, unit) in axes.items():
            file.createDimension(name, len(along))
            file.createVariable(name, "f8", (name,))[:] = along
            file.variables[name].units = unit
            file.variables[name].standard_name = {"lat": "latitude", "lon": "longitude"}[name]
        kind = np.dtype("i2") if values.dtype == np.uint8 else values.dtype  # NetCDF 3 has no unsigned bytes
        held = file.createVariable("held", kind.char, ("lat", "lon"))
        held[:] = values[::-1] if south_first else values
        held._FillValue = np.asarray(gap, kind)
    return path


def shelf() -> tuple[dict[str, tuple[np.ndarray, Any, float]], gpd.GeoDataFrame]:
    """Depths and bottom of a piece of the shelf, each with its place and its value of gaps; survey sites of the piece."""
    folder, found = Path(OPEN_DATA) / "oahu", {}
    for name in ("depth", "structure"):
        with rasterio.open(folder / f"{name}_50m_wgs84.tif") as file:
            row, col = file.index(*MIDDLE)
            window = Window(col - 5, row - 5, 7, 7)
            found[name] = (file.read(1, window=window), file.window_transform(window), file.nodata)
    rows = pd.read_csv(folder / "coral_taxa_by_site.csv")
    rows = rows.rename(columns={"TAXONCODE": "species", "Ave.size": "size_cm"})
    rows = rows[rows["LONGITUDE"].between(MIDDLE[0] - 0.002, MIDDLE[0] + 0.002)]
    rows = rows[rows["LATITUDE"].between(MIDDLE[1] - 0.002, MIDDLE[1] + 0.002)]
    places = gpd.points_from_xy(rows["LONGITUDE"], rows["LATITUDE"])
    return found, gpd.GeoDataFrame(rows[["species", "size_cm"]], geometry=places, crs=4326).reset_index(drop=True)


def shelf_season(folder: Path, form: str, *, scout: bool) -> Path:
    """Save the rasters in a form and the survey sites as a table; run the season with classes of bottom, or with numbers.

    A map of classes in cells of 50 m stops a plan at areas to scout.
    """
    rasters, sites = shelf()
    paths = {}
    for name, (values, transform, gap) in rasters.items():
        if form == "ASCII grid":
            paths[name] = grid_text(folder / f"{name}.asc", values, transform, gap).name
        elif form.startswith("NetCDF"):
            paths[name] = net(folder / f"{name}.nc", values, transform, gap, south_first="south" in form).name
        else:
            paths[name] = f"{name}.tif"
            profile = {"driver": "GTiff", "height": values.shape[0], "width": values.shape[1], "count": 1}
            with rasterio.open(
                folder / paths[name], "w", dtype=values.dtype, crs=4326, transform=transform, nodata=gap, **profile
            ) as file:
                file.write(values, 1)
    around = shapely.Point(MIDDLE).buffer(0.005)  # made up, fine enough for plots
    gpd.GeoDataFrame({"bottom": ["rock"]}, geometry=[around], crs=4326).to_file(folder / "bottom.geojson")
    more = "" if form == "GeoTIFF" else 'crs = "EPSG:4326"'
    nursery("PMEA").to_csv(folder / "stock.csv", index=False)
    colonies = colony_lines(dealt(sites, folder, [comma]))
    at = f"{MIDDLE[1]} N, {-MIDDLE[0]} W"
    parts = SHELF + (CLASSES if scout else NUMBERS)
    plan = parts.format(**paths, more=more, colonies=colonies)
    method = METHOD.format(species="PMEA", depths="[1.0, 4.0, 7.0, 12.0]", stock="stock.csv", at=at)
    return run(folder, plan + method, code=4 if scout else 0)


@pytest.fixture(scope="module")
def shelves_of_tiff(tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Path]:
    return {scout: shelf_season(tmp_path_factory.mktemp("shelf"), "GeoTIFF", scout=scout) for scout in (False, True)}


@pytest.mark.parametrize(
    ("form", "scout"),
    [("ASCII grid", False), ("NetCDF, south first", False), ("ASCII grid", True), ("NetCDF, north first", True)],
)
def test_the_shelf_gives_one_season_from_every_raster(
    shelves_of_tiff: dict[bool, Path], tmp_path: Path, form: str, scout: bool
) -> None:
    """A grid moved by half a cell, turned upside down or without its gaps.

    All tables agree to a micrometre: each form carries the numbers whole.

    Slow: a season to its last table per form, and two to compare with.
    """
    one, other = shelves_of_tiff[scout], shelf_season(tmp_path, form, scout=scout)
    assert_equal_seasons(one, other, {}, units=0 if scout else 100)
