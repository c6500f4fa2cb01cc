"""The team's own picture under the map: read from any CRS, refused with words."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from pyproj import Transformer

from sitekit.errors import FileFault
from sitekit.outputs.map_html.mercator import screen_of
from sitekit.outputs.map_html.overlays import check_picture, picture_overlay
from sitekit.outputs.map_html.write import map_page

_spec = importlib.util.spec_from_file_location("map_scene", Path(__file__).with_name("map_scene.py"))
assert _spec
assert _spec.loader
made = importlib.util.module_from_spec(_spec)
sys.modules["map_scene"] = made
_spec.loader.exec_module(made)


def _picture(path: Path, grid: Any, *, bands: int = 3, dtype: str = "uint8", crs: Any = "EPSG:4326") -> Path:
    """Write a picture in degrees: green, but red west of the grid's middle."""
    to = Transformer.from_crs(grid.crs, 4326, always_xy=True)
    west, south, east, north = grid.bounds
    lon0, lat0 = to.transform(west - 50, south - 50)
    lon1, lat1 = to.transform(east + 50, north + 50)
    middle, _ = to.transform((west + east) / 2, (south + north) / 2)
    rows, cols = 300, 400
    step = (lon1 - lon0) / cols
    values = np.zeros((bands, rows, cols), dtype)
    red = lon0 + (np.arange(cols) + 0.5) * step < middle
    values[0, :, red] = 200
    values[min(1, bands - 1), :, ~red] = 180
    profile = {
        "driver": "GTiff", "height": rows, "width": cols, "count": bands, "dtype": dtype,
        "transform": rasterio.Affine(step, 0, lon0, 0, -(lat1 - lat0) / rows, lat1),
    }  # fmt: skip
    with rasterio.open(path, "w", crs=crs, **profile) as file:
        file.write(values)
    return path


def test_a_picture_in_degrees_lies_where_it_belongs(tmp_path: Path) -> None:
    """The photograph would be shifted against the plots drawn on it."""
    grid = made.grid()
    path = _picture(tmp_path / "p.tif", grid)
    overlay = picture_overlay(path, screen_of(grid))
    pixels = np.asarray(overlay.image)
    row = pixels[pixels.shape[0] // 2]
    edge = overlay.west + (np.flatnonzero(row[:, 0] < 100)[0]) * overlay.pixel
    west, south, east, north = grid.bounds
    want, _ = Transformer.from_crs(grid.crs, 3857, always_xy=True).transform((west + east) / 2, (south + north) / 2)
    assert abs(edge - want) < grid.cell
    assert check_picture(path) == ["colour picture, 400 × 300 pixels, EPSG:4326"]


def test_the_picture_stands_below_the_map_and_may_be_changed_for_depth(tmp_path: Path) -> None:
    """A team's photograph would be hidden, or the shaded depth lost."""
    grid = made.grid()
    page = map_page(made.scene(grid, picture=_picture(tmp_path / "p.tif", grid)))
    assert '"photo":true' in page
    assert "data:image/webp;base64," in page


@pytest.mark.parametrize(
    ("change", "words"),
    [({"dtype": "uint16"}, "holds uint16 values"), ({"crs": None}, "has no CRS")],
)
def test_a_picture_that_cannot_be_laid_is_refused(tmp_path: Path, change: dict[str, Any], words: str) -> None:
    """A picture of heights or without a place would be drawn as nonsense."""
    path = _picture(tmp_path / "p.tif", made.grid(), **change)
    with pytest.raises(FileFault, match=words):
        check_picture(path)


def test_a_file_that_is_no_picture_is_refused(tmp_path: Path) -> None:
    """The run would end in a library's own words."""
    path = tmp_path / "p.tif"
    path.write_text("not a picture")
    with pytest.raises(FileFault, match=r"layers\.picture"):
        check_picture(path)
