"""Makes the files of a made-up reef, Tarrowenne Reef: FICTIONAL, at a spot of open ocean with no land near.

`make(folder)` writes every file of the demo project; the same library versions give the same bytes. README.md tells
what each file holds. `reef_surface.py` makes the sea floor; `stock.csv`, `plan.toml` and `README.md` are copied as
they stand here. Run by hand: python data_samples/make_reef.py FOLDER
"""

from __future__ import annotations

import csv
import datetime
import importlib.util
import io
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import rasterio
import shapely
from contourpy import contour_generator
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.transform import Affine

Floats = NDArray[np.float64]
Row = dict[str, Any]
HERE = Path(__file__).resolve().parent


def _load_surface() -> ModuleType:
    """`reef_surface.py`, found beside this file whichever way this one was imported."""
    spec = importlib.util.spec_from_file_location("sitekit_samples_reef_surface", HERE / "reef_surface.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


surface = _load_surface()

FICTIONAL = "FICTIONAL: made-up reef for trying the software; no such place exists"
SEED = 20260415
EPSG = 32622  # UTM zone 22 north: 54 to 48 degrees west
WEST, SOUTH = 574_000.0, 1_995_600.0  # about 18 deg 03 min N, 50 deg 18 min W: Atlantic, over 900 km from any land
NODATA = -9999.0
COPIED = ("README.md", "plan.toml", "stock.csv")

# All positions below: x east, y north [m] of the south-west corner of the depth raster.
NURSERY = (104.0, 84.0)
AREA = [(12, 12), (588, 12), (588, 320), (515, 388), (12, 388)]
SURVEYED = [(55, 4), (597, 4), (597, 190), (500, 262), (446, 398), (128, 398), (118, 300), (150, 205), (55, 195)]
PROTECTED = (
    ("Tarrowenne Reef Park", "permit", [(160, 399), (440, 399), (599, 300), (599, 178), (330, 172), (232, 238)]),
    ("Spawning Core", "forbidden", [(388, 296), (418, 352), (474, 338), (470, 268), (420, 258)]),
    ("Restoration Reserve", "preferred", [(285, 214), (418, 240), (568, 122), (568, 16), (372, 16), (318, 92)]),
    ("Lagoon Fishing Area", "none", [(8, 8), (214, 8), (188, 152), (16, 160)]),
)
NAMED_REEFS = (
    ("North Spurs", 247, 362, 55), ("Middle Spurs", 278, 238, 55), ("South Spurs", 404, 96, 60),
    ("Pavement Field", 471, 200, 50), ("Outer Terrace", 556, 62, 50), ("Gannet Knoll", 415, 323, 30),
    ("Señal Patch", 150, 108, 25), ("Baker's Patch", 205, 62, 20),
)  # fmt: skip
MOORINGS = (("Mooring 1", 372, 172), ("Mooring 2", 478, 132), ("Mooring 3", 132, 196), ("Mooring 4", 352, 290))
LAST_PLOT = (486.0, 188.0, 35.0)  # first pin of last season's plot, bearing of its tape [degrees from grid north]
HERITAGE = [(352, 344), (364, 350), (369, 340), (357, 334)]
ANCHORAGE = [(20, 205), (62, 212), (58, 232), (16, 226)]
CABLE = [(-3900, -900), (-1500, -250), (-200, 20), (60, 52), (190, 82), (285, 106), (400, 160), (520, 232), (640, 330)]
ISLAND = (-5400.0, -1500.0, 1750.0)  # centre and mean radius [m] of the larger land to the west
# species, how many, clusters, spread of a cluster [m], least and greatest depth [m], median size [cm]
WILD = (
    ("APAL", 62, 11, 6.0, 0.8, 4.8, 55),
    ("ACER", 56, 9, 5.0, 4.0, 13.5, 45),
    ("OFAV", 22, 6, 9.0, 3.5, 15.0, 60),
    ("DLAB", 18, 6, 9.0, 1.0, 13.0, 28),
    ("PAST", 14, 5, 8.0, 0.9, 9.0, 14),
)


class _Map:
    """From local metres to longitude and latitude, and to GeoJSON."""

    def __init__(self) -> None:
        self._to_degrees = Transformer.from_crs(EPSG, 4326, always_xy=True)

    def degrees(self, x: Any, y: Any) -> tuple[Floats, Floats]:
        lon, lat = self._to_degrees.transform(np.asarray(x, float) + WEST, np.asarray(y, float) + SOUTH)
        return np.round(lon, 7), np.round(lat, 7)

    def feature(self, shape: shapely.Geometry, **properties: Any) -> Row:
        points = shapely.transform(shape, lambda xy: np.column_stack(self.degrees(xy[:, 0], xy[:, 1])))
        if isinstance(points, shapely.Polygon):
            points = shapely.geometry.polygon.orient(points)  # RFC 7946: outer rings anticlockwise
        return {
            "type": "Feature",
            "properties": {**properties, "note": FICTIONAL},
            "geometry": shapely.geometry.mapping(points),
        }


def _write_text(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))


def _write_geojson(path: Path, features: Sequence[Row]) -> None:
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, separators=(",", ":")) for f in features)
    _write_text(path, f'{{"type":"FeatureCollection","description":"{FICTIONAL}","features":[\n{lines}\n]}}\n')


def _write_csv(path: Path, rows: Sequence[Row]) -> None:
    out = io.StringIO()
    table = csv.DictWriter(out, [*rows[0], "note"], lineterminator="\n")
    table.writeheader()
    table.writerows({**row, "note": "FICTIONAL"} for row in rows)
    _write_text(path, out.getvalue())


def _write_bathymetry(path: Path, elevation: Floats, gaps: NDArray[np.bool_]) -> None:
    data = np.where(gaps, NODATA, np.round(elevation, 2)).astype(np.float32)
    height, width = data.shape
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, SOUTH + height)
    form: Row = {"driver": "GTiff", "dtype": "float32", "nodata": NODATA, "compress": "deflate", "predictor": 3}
    with rasterio.open(
        path, "w", width=width, height=height, count=1, crs=f"EPSG:{EPSG}", transform=where, **form
    ) as file:
        file.write(data, 1)
        file.update_tags(TIFFTAG_IMAGEDESCRIPTION=FICTIONAL, FICTIONAL="YES", VERTICAL_DATUM="MLLW", UNITS="m")
        file.update_tags(SIGN="elevation, negative below datum")
        file.set_band_unit(1, "m")
        file.set_band_description(1, "elevation")


def _write_picture(path: Path, colours: NDArray[np.uint8]) -> None:
    _, height, width = colours.shape
    where = Affine(1.0, 0.0, WEST, 0.0, -1.0, SOUTH + height)
    form: Row = {"driver": "GTiff", "dtype": "uint8", "compress": "jpeg", "photometric": "ycbcr", "jpeg_quality": 80}
    form |= {"tiled": True, "blockxsize": 256, "blockysize": 256}
    with rasterio.open(
        path, "w", width=width, height=height, count=3, crs=f"EPSG:{EPSG}", transform=where, **form
    ) as file:
        file.write(colours)
        file.update_tags(TIFFTAG_IMAGEDESCRIPTION=FICTIONAL, FICTIONAL="YES")


def colonies(rng: np.random.Generator, elevation: Floats, kind: NDArray[np.uint8]) -> list[Row]:
    """Living colonies as a survey would report them: clustered on hard bottom, each moved by its position error."""
    height, width = elevation.shape
    rows, cols = np.mgrid[0:height, 0:width]
    seen = shapely.contains_xy(shapely.Polygon(SURVEYED), cols + 0.5, height - rows - 0.5)
    hard = np.isin(kind, surface.HARD) & seen
    out: list[Row] = []

    def report(spot: tuple[float, float], error_m: float, facts: Row) -> None:
        x, y = np.array(spot) + rng.normal(0.0, error_m / 2, 2)
        out.append({"x": x, "y": y, **facts, "position_error_m": error_m})

    for species, count, clusters, spread, least, greatest, median in WILD:
        fit = np.argwhere(hard & (-elevation >= least) & (-elevation <= greatest))
        parents = fit[rng.choice(len(fit), clusters, replace=False)]
        made = 0
        while made < count:
            row, col = np.rint(parents[rng.integers(clusters)] + rng.normal(0.0, spread, 2)).astype(int)
            if not (0 <= row < height and 0 <= col < width) or not hard[row, col]:
                continue
            if not least <= -elevation[row, col] <= greatest:
                continue
            day = datetime.date(2025, 2, 10) + datetime.timedelta(days=int(rng.integers(90)))
            who = ("team A", "team B", "volunteers")[int(rng.integers(3))]
            size = round(float(median * np.exp(rng.normal(0.0, 0.5))))
            facts = {"species": species, "size_cm": size, "origin": "wild", "date": day.isoformat(), "observer": who}
            spot = (col + rng.random(), height - row - rng.random())
            report(spot, float(rng.choice([0.5, 1.0, 3.0], p=[0.35, 0.45, 0.2])), facts)
            made += 1
    x0, y0, bearing = LAST_PLOT
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    for along in range(7):
        for offset in (-2.25, -0.75, 0.75, 2.25):
            spot = (x0 + 1.5 * along * east + offset * north, y0 + 1.5 * along * north - offset * east)
            facts = {"species": "ACER", "size_cm": round(float(rng.normal(24, 3))), "origin": "outplant"}
            report(spot, 0.5, {**facts, "date": "2025-06-18", "observer": "team A"})
    return out


def island(rng: np.random.Generator) -> tuple[shapely.Polygon, tuple[float, float]]:
    """The larger land some kilometres to the west, with a bight for the harbour; and the harbour mouth."""
    x, y, mean = ISLAND
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    towards = np.arctan2(-y, -x)
    waves = [(2, 0.20, 1.0), (3, 0.12, 0.5), (5, 0.05, 2.2), (9, 0.025, 0.3), (17, 0.015, 1.1)]
    shape = 1 + sum(size * np.sin(n * angle + shift) for n, size, shift in waves) + rng.normal(0, 0.004, angle.size)
    bight = 0.16 * np.exp(-(((angle - towards) / 0.09) ** 2))
    radius = mean * (shape - bight)
    ring = np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
    at = mean * np.interp(towards, angle, shape - bight) + 90.0
    return shapely.Polygon(ring), (float(x + at * np.cos(towards)), float(y + at * np.sin(towards)))


def islet(elevation: Floats) -> shapely.Polygon:
    """The largest closed line of zero elevation."""
    height, width = elevation.shape
    lines = contour_generator(np.arange(width) + 0.5, height - 0.5 - np.arange(height), elevation).lines(0.0)
    return max((shapely.Polygon(line) for line in lines if len(line) > 3), key=lambda shape: shape.area)


def winds() -> list[Row]:
    """Shares of time by direction and speed, summing to 1: trade wind from east-north-east, fronts from north."""
    cells = []
    for direction in np.arange(0.0, 360.0, 22.5):
        trade = np.exp(5.0 * (np.cos(np.radians(direction - 75)) - 1))
        front = 0.10 * np.exp(4.0 * (np.cos(np.radians(direction + 10)) - 1))
        for speed, in_trade, in_front in ((3.0, 0.18, 0.2), (6.0, 0.42, 0.3), (9.0, 0.32, 0.3), (12.0, 0.08, 0.2)):
            cells.append((direction, speed, trade * in_trade + front * in_front + 0.0008))
    weight = np.array([c[2] for c in cells])
    share = 10_000 * weight / weight.sum()
    whole = np.floor(share).astype(int)
    whole[np.argsort(whole - share, kind="stable")[: 10_000 - whole.sum()]] += 1
    return [
        {"direction_deg": c[0], "speed_ms": c[1], "share": f"{w / 1e4:.4f}"}
        for c, w in zip(cells, whole, strict=True)
        if w
    ]


def swell() -> list[Row]:
    """Sea that comes in from the open ocean: height and period by direction and share of time."""
    rows = ((45, 1.4, 8, 0.16), (67.5, 1.6, 8, 0.34), (90, 1.5, 8, 0.28), (112.5, 1.2, 7, 0.10), (0, 2.2, 13, 0.07))
    last = ((22.5, 1.8, 11, 0.05),)
    return [{"direction_deg": d, "height_m": h, "period_s": t, "share": f"{s:.2f}"} for d, h, t, s in rows + last]


def tides() -> list[Row]:
    """Predicted heights above MLLW every hour for 16 days, local time of UTC-03:00, from four made-up constituents."""
    start = datetime.datetime(2026, 5, 4, tzinfo=datetime.timezone(datetime.timedelta(hours=-3)))
    hour = np.arange(16 * 24)
    height = np.full(hour.size, 0.31)
    for size_m, period_h, shift in (
        (0.19, 12.4206, 0.4),
        (0.05, 12.0, 1.7),
        (0.07, 23.9345, 2.9),
        (0.05, 25.8193, 5.0),
    ):
        height += size_m * np.cos(2 * np.pi * hour / period_h - shift)
    return [
        {"time": (start + datetime.timedelta(hours=int(h))).isoformat(timespec="minutes"), "height_m": f"{z:.2f}"}
        for h, z in zip(hour, height, strict=True)
    ]


def sea_temperatures(rng: np.random.Generator) -> list[Row]:
    """Daily sea surface temperature [degrees Celsius], one pixel: a hot late summer in 2023, four days of 2017 lost."""
    first = datetime.date(2014, 1, 1)
    days = [first + datetime.timedelta(days=k) for k in range((datetime.date(2026, 1, 1) - first).days)]
    step = np.arange(len(days))
    season = 27.15 - 1.55 * np.cos(2 * np.pi * (step - 58) / 365.2425) + 0.012 * step / 365.2425
    weather = np.zeros(step.size)
    kick = rng.normal(0.0, 0.09, step.size)
    for k in step[1:]:
        weather[k] = 0.94 * weather[k - 1] + kick[k]
    hot = (datetime.date(2023, 9, 12) - first).days
    event = 1.45 * np.exp(-(((step - hot) / 42.0) ** 2))
    lost = {datetime.date(2017, 9, 19) + datetime.timedelta(days=k) for k in range(4)}
    values = season + weather + event
    return [{"date": d.isoformat(), "sst_c": f"{t:.2f}"} for d, t in zip(days, values, strict=True) if d not in lost]


def make(folder: Path) -> None:
    """Write all files of the demo project into a folder, which is made if missing."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    floor_rng, colony_rng, island_rng, sst_rng = (np.random.default_rng([SEED, k]) for k in range(4))
    elevation, kind, gaps = surface.reef(floor_rng)
    place = _Map()
    _write_bathymetry(folder / "bathymetry.tif", elevation, gaps)
    _write_picture(folder / "orthophoto.tif", surface.seen_from_above(elevation, kind))

    unmapped = shapely.contains_xy(
        shapely.Polygon([(0, 320), (48, 400), (0, 400)]), *np.meshgrid(np.arange(600) + 0.5, 399.5 - np.arange(400))
    )
    polygons = surface.substrate_polygons(kind, (elevation < 0) & ~unmapped)
    _write_geojson(folder / "substrate.geojson", [place.feature(p, bottom=name) for name, p in polygons])
    grass = [
        place.feature(p, name=f"bed {k + 1}") for k, (_, p) in enumerate(q for q in polygons if q[0] == "seagrass")
    ]
    _write_geojson(folder / "seagrass.geojson", grass)

    found = colonies(colony_rng, elevation, kind)
    lon, lat = place.degrees([c.pop("x") for c in found], [c.pop("y") for c in found])
    rows = [{"lon": f"{a:.7f}", "lat": f"{b:.7f}"} | c for a, b, c in zip(lon, lat, found, strict=True)]
    _write_csv(folder / "colonies.csv", rows)

    shapes = {
        "area": [(AREA, {"name": "area of interest"})],
        "surveyed_area": [(SURVEYED, {"name": "searched for colonies", "date": "2025-05-10"})],
        "protected": [(ring, {"name": name, "rule": rule}) for name, rule, ring in PROTECTED],
        "heritage": [(HERITAGE, {"name": "old anchor"})],
        "anchorage": [(ANCHORAGE, {"name": "islet anchorage"})],
    }
    for name, parts in shapes.items():
        _write_geojson(folder / f"{name}.geojson", [place.feature(shapely.Polygon(r), **p) for r, p in parts])
    _write_geojson(folder / "cable.geojson", [place.feature(shapely.LineString(CABLE), name="telephone cable")])

    land, harbour = island(island_rng)
    coast = [(land, "Tarrowenne Island"), (islet(elevation), "Little Tarrowenne")]
    _write_geojson(folder / "coastline.geojson", [place.feature(shape, name=name) for shape, name in coast])
    points = [(name, "reef", x, y, {"radius_m": r}) for name, x, y, r in NAMED_REEFS]
    points += [(name, "mooring", x, y, {}) for name, x, y in MOORINGS]
    named = [place.feature(shapely.Point(x, y), name=n, kind=k, **more) for n, k, x, y, more in points]
    x, y, bearing = LAST_PLOT
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    ends = shapely.LineString([(x - east, y - north), (x + 10 * east, y + 10 * north)])
    named.append(place.feature(ends.buffer(3.2, cap_style="flat"), name="Plot of 2025", kind="plot"))
    _write_geojson(folder / "named_places.geojson", named)
    stations = [("Nursery", *NURSERY), ("Tarrowenne Harbour", *harbour)]
    _write_geojson(folder / "stations.geojson", [place.feature(shapely.Point(x, y), name=n) for n, x, y in stations])

    _write_csv(folder / "wind.csv", winds())
    _write_csv(folder / "swell.csv", swell())
    _write_csv(folder / "tide.csv", tides())
    _write_csv(folder / "sst_daily.csv", sea_temperatures(sst_rng))
    for name in COPIED:
        _write_text(folder / name, (HERE / name).read_text("utf-8"))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python data_samples/make_reef.py FOLDER")
    make(Path(sys.argv[1]))
