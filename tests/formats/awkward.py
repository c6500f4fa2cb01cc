"""Files as teams keep them, made from a fixed seed around the small reef of the audit's tests; none is committed."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import openpyxl
import rasterio
import shapely
from affine import Affine
from openpyxl.styles import numbers
from pyproj import CRS, Transformer

from tests.audit.conftest import EPSG, LIVING, NORTH, WEST, local, outline

SEED = 20260415
GIANT = 2 * 2**30  # bytes that the giant claims; it is sparse
HEAD = ("longitude", "latitude", "species", "size_cm", "origin", "position_error_m")


def _places(number: int = 12) -> list[tuple[float, float]]:
    """Longitude and latitude of colonies: the two of the plan, then others drawn on the reef."""
    rng = np.random.default_rng(SEED)
    drawn = zip(rng.uniform(6, 24, number), rng.uniform(6, 34, number), strict=True)
    back = Transformer.from_crs(EPSG, 4326, always_xy=True)
    return [back.transform(*local(float(x), float(y))) for x, y in [*LIVING, *drawn]]


def _rows(number: int = 12) -> list[list[Any]]:
    return [
        [round(x, 7), round(y, 7), ("APAL", "ACER")[i % 2], 10 + i, "wild", 2.0]
        for i, (x, y) in enumerate(_places(number))
    ]


def _csv(path: Path, rows: Sequence[Sequence[Any]], *, mark: str = ",", letters: str = "utf-8") -> None:
    path.write_bytes("".join(mark.join(map(str, r)) + "\n" for r in rows).encode(letters))


def _book(path: Path, rows: Sequence[Sequence[Any]], *, merged: Sequence[str] = ()) -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    for cells in merged:
        sheet.merge_cells(cells)
    book.save(path)
    return book


def two_header_rows(path: Path) -> None:
    """A title, a row of names, a row of units, sizes in millimetres."""
    head = ["Longitude", "Latitude", "Species", "Size", "Origin", "Position error m"]
    rows = [[*r[:3], r[3] * 10, *r[4:]] for r in _rows()]
    _book(path, [["Colonies of the reef", *[""] * 5], head, ["deg", "deg", "code", "mm", "text", "m"], *rows])


def merged_cells(path: Path) -> None:
    """A species that stands once for the rows below it."""
    rows = _rows()
    for i, row in enumerate(rows):
        row[2] = "APAL" if i == 0 else None
    _book(path, [HEAD, *rows], merged=[f"C2:C{len(rows) + 1}"])


def numbers_and_text(path: Path) -> None:
    """A size that is a sentence."""
    rows = _rows()
    rows[3][3] = "about 20"
    _csv(path, [HEAD, *rows])


def quote_marks(path: Path) -> None:
    """Degrees and minutes with the marks that keyboards and programs make."""
    rows = _rows(7)
    pairs = [("°", "'"), ("°", "′"), ("°", "’"), ("º", "´"), ("˚", "ʹ"), ("°", "`"), ("d ", "m"), (" ", ""), ("°", "‘")]
    for row, (degree, minute) in zip(rows, pairs, strict=True):
        for k, letter in ((0, "W"), (1, "N")):
            whole = int(abs(row[k]))
            row[k] = f"{whole}{degree}{(abs(row[k]) - whole) * 60:.5f}{minute} {letter}"
    _csv(path, [HEAD, *rows], mark=";")


def swapped_rows(path: Path) -> None:
    """Latitude and longitude the other way round in some rows."""
    rows = _rows()
    for i in (2, 5):
        rows[i][0], rows[i][1] = rows[i][1], rows[i][0]
    _csv(path, [HEAD, *rows])


def feet_in_some_years(path: Path) -> None:
    """Depths in metres, of one year in feet."""
    to = Transformer.from_crs(4326, EPSG, always_xy=True)
    rows = []
    for i, row in enumerate(_rows(16)):
        x, y = to.transform(row[0], row[1])
        depth = 3.0 + 0.05 * (x - WEST) + 0.02 * (NORTH - y)  # the plan's bathymetry
        year = 2019 + i % 2
        rows.append([*row, f"{year}-05-04", round(depth if year == 2019 else depth / 0.3048, 1)])
    _csv(path, [(*HEAD, "date", "depth_m"), *rows])


def dates_of_1900(path: Path) -> None:
    """A size that the spreadsheet shows as a day of 1900."""
    book = _book(path, [HEAD, *_rows()])
    sheet = book.active
    assert sheet is not None
    sheet["D4"].number_format = numbers.FORMAT_DATE_YYYYMMDD2
    book.save(path)


def formula_cells(path: Path) -> None:
    """A size that is a formula nobody has worked out."""
    rows = _rows()
    rows[0][3] = "=5+5"
    _book(path, [HEAD, *rows])


def hidden_sheet(path: Path) -> None:
    """Last year's list on a sheet that is not shown."""
    book = _book(path, [HEAD, *_rows()])
    book.create_sheet("last year").append(["longitude", "latitude"])
    book["last year"].sheet_state = "hidden"
    book.save(path)


def two_sheets(path: Path) -> None:
    """Two sheets that both hold colonies."""
    book = _book(path, [HEAD, *_rows()])
    more = book.create_sheet("outplants 2025")
    for row in (HEAD, *_rows(3)):
        more.append(list(row))
    book.save(path)


def folders_and_styles(path: Path) -> None:
    """Placemarks in folders, with styles, pictures and markup in their texts."""
    marks = "".join(
        f"<Placemark><name>{i}</name><description>&lt;script&gt;alert(1)&lt;/script&gt;</description>"
        f"<styleUrl>#s</styleUrl><Point><coordinates>{x},{y},-4</coordinates></Point></Placemark>"
        for i, (x, y) in enumerate(_places())
    )
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        '<Style id="s"><IconStyle><scale>2</scale></IconStyle></Style><Folder><name>North</name><Folder>'
        f"<name>Corals</name>{marks}</Folder></Folder><GroundOverlay><name>photo</name></GroundOverlay></Document></kml>",
        "utf-8",
    )


def tracks_only(path: Path) -> None:
    """A receiver's track and no waypoint."""
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in _places())
    path.write_text(f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>', "utf-8")


def waypoints(path: Path) -> None:
    """A receiver's waypoints, with a track beside them."""
    points = "".join(f'<wpt lat="{y}" lon="{x}"><name>C{i:03d}</name></wpt>' for i, (x, y) in enumerate(_places()))
    path.write_text(f'<gpx version="1.1">{points}<trk/></gpx>', "utf-8")


def bomb(path: Path) -> None:
    """A small archive that would fill the memory."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", b" " * (16 * 2**20))


def giant(path: Path) -> None:
    """Two gigabytes of table; the disk holds none of them."""
    with path.open("wb") as file:
        file.write((",".join(HEAD) + "\n").encode())
        file.truncate(GIANT)


def decimal_commas(path: Path) -> None:
    """Semicolons, decimal commas, a byte-order mark, Spanish names."""
    head = ("Longitud", "Latitud", "Especie", "size_cm", "origin", "position_error_m")
    _csv(path, [head, *([str(v).replace(".", ",") for v in r] for r in _rows())], mark=";", letters="utf-8-sig")


def windows_letters(path: Path) -> None:
    """An export of an older Windows program: accents that are not UTF-8."""
    _csv(path, [(*HEAD, "observer"), *([*r, "Núñez"] for r in _rows())], letters="cp1252")


def older_datum(path: Path) -> None:
    """Positions off an old receiver: WGS 72, of which a shift is known in mid-ocean too."""
    to = Transformer.from_crs(4326, 4322, always_xy=True)
    rows = [[*to.transform(r[0], r[1]), *r[2:], "WGS72"] for r in _rows()]
    _csv(path, [(*HEAD, "datum"), *rows])


def eastings(path: Path) -> None:
    """Eastings and northings with their zone."""
    to = Transformer.from_crs(4326, EPSG, always_xy=True)
    rows = [[*(round(v, 2) for v in to.transform(r[0], r[1])), *r[2:], "22N", "WGS84"] for r in _rows()]
    _csv(path, [("easting", "northing", *HEAD[2:], "utm_zone", "datum"), *rows])


def eastings_without_zone(path: Path) -> None:
    """Eastings and northings, and nobody says where."""
    to = Transformer.from_crs(4326, EPSG, always_xy=True)
    _csv(path, [("x", "y", *HEAD[2:]), *([*to.transform(r[0], r[1]), *r[2:]] for r in _rows())])


def darwin_core(path: Path) -> None:
    """Columns of an exchange standard; one row says that nothing was there."""
    head = ("decimalLongitude", "decimalLatitude", "geodeticDatum", "coordinateUncertaintyInMeters", "scientificName",
            "occurrenceStatus")  # fmt: skip
    rows = [[r[0], r[1], "WGS84", 3, "Acropora palmata", "present"] for r in _rows()]
    rows[4][5] = "absent"
    _csv(path, [head, *rows])


def zipped_shapefile(path: Path) -> None:
    """A shapefile in an archive, in a folder of its own."""
    places = [shapely.Point(p) for p in _places()]
    frame = gpd.GeoDataFrame({"species": ["APAL"] * len(places)}, geometry=places, crs=4326)
    folder = path.parent / "shapes_to_zip"
    folder.mkdir()
    frame.to_file(folder / "corals.shp")
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, f"corals/{part.name}")
            part.unlink()
    folder.rmdir()


def old_spreadsheet(path: Path) -> None:
    """The binary spreadsheet of the nineties, under the name of a table."""
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512))


def empty_table(path: Path) -> None:
    """A header and no row."""
    _csv(path, [HEAD])


def areas_without_rules(path: Path) -> None:
    """Protected areas as the world database gives them: a category, and no rule."""
    frame = gpd.GeoDataFrame(
        {"WDPAID": [1, 2], "NAME": ["Core", "Park"], "IUCN_CAT": ["Ia", "VI"], "STATUS": ["Designated", "Proposed"]},
        geometry=[outline((18, 27), (23, 27), (23, 33), (18, 33)), outline((30, 0), (60, 0), (60, 40), (30, 40))],
        crs=CRS.from_epsg(EPSG),
    )
    frame.to_crs(4326).to_file(path)


def depths_without_a_system(path: Path) -> None:
    """A grid of depths in feet that does not say where it lies."""
    rows, cols = np.mgrid[0:40, 0:60]
    depth = ((3.0 + 0.05 * cols + 0.02 * rows) / 0.3048).astype(np.float32)
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH)
    with rasterio.open(
        path, "w", driver="GTiff", width=60, height=40, count=1, dtype="float32", transform=where
    ) as file:
        file.write(depth, 1)


def stock_of_dates(path: Path) -> None:
    """A stock list in which the spreadsheet turned a genet's name into a day."""
    import datetime

    head = ["species", "genet", "ready", "size_cm", "health"]
    rows = [["APAL", "a1", 30, 10, "healthy"], ["APAL", datetime.date(2026, 3, 12), 30, 10, "healthy"]]
    rows += [["ACER", "c1", 90, 10, "healthy"]]
    _book(path, [head, *rows])


Maker = Callable[[Path], None]
