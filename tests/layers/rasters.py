"""Small rasters written for tests."""

import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS

from sitekit.layers.grid import Grid

UTM = CRS.from_epsg(32620)
WEST, NORTH = 500_000.0, 2_000_000.0


def grid(rows=40, cols=50, cell=1.0, west=WEST, north=NORTH):
    return Grid(UTM, west, north, cell, (rows, cols))


def write(path, values, *, cell=1.0, west=WEST, north=NORTH, crs="EPSG:32620", nodata=None, transform=None, **tags):
    """Write one band; `scales` and `offsets` pack it."""
    values = np.asarray(values)
    transform = Affine(cell, 0, west, 0, -cell, north) if transform is None else transform
    shape = {"height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": values.dtype}
    with rasterio.open(path, "w", driver="GTiff", crs=crs, transform=transform, nodata=nodata, **shape) as file:
        file.write(values, 1)
        for name, value in tags.items():
            setattr(file, name, (value,))
    return path


def read(path):
    with rasterio.open(path) as file:
        return file.read(1)


def plane(east, north):
    """Depth of a slope: 10 m, one in fifty to the east, one in forty to the north."""
    return 10.0 + (east - WEST) / 50.0 + (north - NORTH) / 40.0
