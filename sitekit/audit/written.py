"""The written files, read again as a stranger would read them: with nothing but their formats.

Each file is read once. A file that cannot be read is noted with the reason, and every promise that needs it is broken.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from sitekit.base.tables import table, table_names
from sitekit.errors import SitekitError
from sitekit.season.plan_tables import read_table

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

READABLE = "every written file can be read"
_UNDO = "'"  # put before text cells by the writer of CSV; one is taken off
DEGREES = CRS.from_epsg(4326)


@dataclass
class Written:
    """What stands in `out/`.

    Parameters
    ----------
    out : Path
        The folder.
    manifest : dict
        `manifest.json`; empty if it cannot be read.
    tables : dict of str to DataFrame
        Tables of `season.gpkg` that could be read.
    candidates, colonies : GeoDataFrame or None
        The GeoJSON files, longitude and latitude; None where the file is absent or unreadable.
    listed : DataFrame or None
        `colonies.csv`, all cells as text.
    unread : dict of str to str
        File -> why it cannot be read.
    """

    out: Path
    manifest: dict[str, Any] = field(default_factory=dict)
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    candidates: GeoDataFrame | None = None
    colonies: GeoDataFrame | None = None
    listed: pd.DataFrame | None = None
    unread: dict[str, str] = field(default_factory=dict)

    @property
    def crs(self) -> CRS | None:
        """The working system, as `season.gpkg` states it."""
        frame: Any = self.tables.get("candidates")
        return CRS.from_user_input(frame.crs) if frame is not None and frame.crs is not None else None

    def table(self, name: str) -> pd.DataFrame | None:
        """Return a table of the season, or None if it could not be read."""
        return self.tables.get(name)

    def planned(self) -> pd.DataFrame | None:
        """Return the colonies of the GeoJSON with `x_m`, `y_m` in the working system and `lon`, `lat` in degrees."""
        if self.colonies is None or self.crs is None:
            return None
        frame = pd.DataFrame(self.colonies.drop(columns="geometry"))
        lon = self.colonies.geometry.x.to_numpy(dtype=np.float64)
        lat = self.colonies.geometry.y.to_numpy(dtype=np.float64)
        x, y = working(lon, lat, self.crs)
        return frame.assign(lon=lon, lat=lat, x_m=x, y_m=y)


def working(
    lon: NDArray[np.float64], lat: NDArray[np.float64], crs: CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return easting and northing [m] of longitudes and latitudes [degrees]; not finite where they have none."""
    x, y = Transformer.from_crs(DEGREES, crs, always_xy=True).transform(lon, lat)
    return np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)


def read_written(out: Path) -> Written:
    """Read everything in `out/` that the audit looks at; unreadable files are noted, never raised."""
    written = Written(out)
    _read_manifest(written)
    season = out / "season.gpkg"
    for name in table_names():
        try:
            written.tables[name] = read_table(season, name)
        except (SitekitError, OSError, ValueError) as error:
            written.unread["season.gpkg"] = f"table {name}: {_first_line(error)}"
    for name in ("candidates", "colonies"):
        path = out / f"{name}.geojson"
        if path.is_file():
            frame = _read_geojson(path, "Point" if name == "colonies" else "Polygon", written)
            if name == "candidates":
                written.candidates = frame
            else:
                written.colonies = frame
    path = out / "colonies.csv"
    if path.is_file():
        written.listed = _read_csv(path, written)
    return written


def _read_manifest(written: Written) -> None:
    path = written.out / "manifest.json"
    try:
        data = json.loads(path.read_text("utf-8"))
        if not isinstance(data, dict) or not isinstance(data.get("files"), dict):
            raise ValueError("it lists no files")
        written.manifest = data
    except (OSError, ValueError) as error:
        written.unread[path.name] = _first_line(error)


def _read_geojson(path: Path, kind: str, written: Written) -> GeoDataFrame | None:
    try:
        with open(path, "rb") as stream:
            stream.seek(max(0, path.stat().st_size - 64))
            if not stream.read().rstrip().endswith(b"}"):  # readers of features one by one may not notice
                raise ValueError("it ends in the middle: the collection is not closed")
        frame: Any = pyogrio.read_dataframe(path)
        if "geometry" not in frame.columns or len(frame) == 0:
            import geopandas as gpd

            plain = pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))
            names = [*plain.columns, *(n for n in table(path.stem).names if n not in plain.columns)]
            none = gpd.GeoSeries([None] * len(plain), index=plain.index)
            frame = gpd.GeoDataFrame(plain.reindex(columns=names), geometry=none, crs=4326)
        if len(frame) and not set(frame.geometry.geom_type) <= {kind, f"Multi{kind}"}:
            raise ValueError(f"holds {sorted(set(map(str, frame.geometry.geom_type)))}, due: {kind}")
        if frame.crs is not None and CRS.from_user_input(frame.crs) != DEGREES:
            raise ValueError(f"states the system {CRS.from_user_input(frame.crs).name}; RFC 7946 knows WGS 84 only")
    except (OSError, ValueError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        written.unread[path.name] = _first_line(error)
        return None
    return frame


def _read_csv(path: Path, written: Written) -> pd.DataFrame | None:
    try:
        raw = path.read_bytes()
        if not raw.startswith(b"\xef\xbb\xbf"):
            raise ValueError("has no byte order mark: spreadsheets would misread names")
        frame: pd.DataFrame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        written.unread[path.name] = _first_line(error)
        return None
    for column in frame.columns:
        frame[column] = frame[column].str.removeprefix(_UNDO)
    return frame


def _first_line(error: BaseException) -> str:
    return (str(error) or type(error).__name__).splitlines()[0]
