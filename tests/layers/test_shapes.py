"""Areas, lines and points as somebody drew them: named, in the working system, refused where they cannot be used."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from pyproj import CRS

from sitekit.errors import FileFault, InputFault
from sitekit.layers.shapes import read_shapes

UTM = CRS.from_epsg(32622)


def _file(folder: Path, shapes: list[object], crs: int | None = 32622, **columns: list[object]) -> Path:
    path = folder / "shapes.gpkg"
    gpd.GeoDataFrame(columns, geometry=shapes, crs=crs).to_file(path)
    return path


def test_areas_lines_and_points_come_back_as_they_were(tmp_path: Path) -> None:
    """A cable read as nothing, or an area as its outline, would let people work on it."""
    shapes = [shapely.box(5e5, 2e6, 5e5 + 10, 2e6 + 10), shapely.LineString([(5e5, 2e6), (5e5 + 9, 2e6)]), None]
    frame, notes = read_shapes(_file(tmp_path, shapes, name=["bed", None, "gone"]), to_crs=UTM)
    assert frame["name"].tolist() == ["bed", "row 2"]
    assert [g.geom_type for g in frame.geometry] == ["Polygon", "LineString"]
    assert frame.geometry.iloc[0].equals(shapes[0])
    assert notes == ("1 rows without a shape left out",)


def test_shapes_go_through_degrees_and_back(tmp_path: Path) -> None:
    """A shape a hundred metres off keeps the wrong reef clear."""
    shape = shapely.box(574_100, 1_995_700, 574_200, 1_995_800)
    degrees = gpd.GeoSeries([shape], crs=32622).to_crs(4326).iloc[0]
    frame, _ = read_shapes(_file(tmp_path, [degrees], 4326), to_crs=UTM)
    assert shapely.hausdorff_distance(frame.geometry.iloc[0], shape) < 1e-3


def test_shapes_on_an_older_datum_say_so(tmp_path: Path) -> None:
    """A cable on an old chart drawn where it is not, without a word."""
    cable = gpd.GeoDataFrame(geometry=[shapely.LineString([(-64.80, 17.80), (-64.79, 17.81)])], crs=4267)
    cable.to_file(tmp_path / "cable.gpkg")
    frame, notes = read_shapes(tmp_path / "cable.gpkg", to_crs=CRS.from_epsg(32620))
    assert "datum shift: NAD27 to WGS 84 by 'NAD27 to WGS 84 (1)', 16 m" in notes
    off = frame.geometry.iloc[0].hausdorff_distance(
        cable.set_crs(4326, allow_override=True).to_crs(32620).geometry.iloc[0]
    )
    assert 20.0 < off < 250.0


def test_what_cannot_be_used_is_refused_by_name(tmp_path: Path) -> None:
    """A layer that is silently empty protects nothing."""
    with pytest.raises(FileFault, match=r"layers.constraints.cable: no.gpkg is missing"):
        read_shapes(tmp_path / "no.gpkg", to_crs=UTM, where="layers.constraints.cable")
    path = _file(tmp_path, [shapely.Point(5e5, 2e6)], None, label=["x"])
    with pytest.raises(InputFault, match=r"does not say its coordinate system"):
        read_shapes(path, to_crs=UTM)
    with pytest.raises(InputFault, match=r"name_field: no column 'nom'; due: one of label"):
        read_shapes(path, to_crs=UTM, name_field="nom")
    with pytest.raises(InputFault, match="holds no shape"):
        read_shapes(_file(tmp_path, [None]), to_crs=UTM)
