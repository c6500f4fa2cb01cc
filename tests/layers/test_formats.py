"""Rasters as NetCDF (classic and HDF5) and ASCII grids: the same values in the same place as any other file."""

import base64
import zlib

import numpy as np
import pytest
import scipy.io
from pyproj import CRS

from sitekit.errors import InputFault
from sitekit.layers.grid import Grid
from sitekit.layers.raster import align_raster
from sitekit.layers.source_raster import open_source
from tests.layers.rasters import NORTH, UTM, WEST, read

ZONE_22 = CRS.from_epsg(32622)
# elevation -20 to -9 m on 3 x 4 cells of 0.01 degrees, longitudes 309.70 to 309.73: written by the netCDF4 library 1.7
HDF5 = (
    "c-rk)%}*0S6rbH~v6Q8)SVR=GAsUI03blGLqJ^@2#8QwNFB0p9U7)eul6K*siQ<7oqY-05VnQ@}Qx7C2CVrem6BFYfpo#Io$%6;t!9*|M"
    "n~$ZXPz^CEhxs+H+j;Zm&F{T8Y2Wl}S9?dfbGuV?IFN-UhM7Hd+{E<X-|yJp+tuDL%1^{PqLFL`OA6r>k$~qt9{m1Lq}ClMAC)x-yOD&V"
    "Ug+u@619)9btPNzyI^BZk(5ju^JQ${LaWdxTx%or%V!0_i#4Jk2$HqhdU`SA&AwxZCM1M{Whl4=({>l0k@n>hb+?l;TVND!6-2bDXhd=="
    "-P4O?5EPH<=Abqd45!l>En%ppo<$zmho;v@hziWPkQb8NfX5Ol0kU8lj<m*NXba9ajt-=~yGMz}x_hJXShzK!AbBU&OUO<aL|c0lVsB&i"
    "N!27yC3v}jn=Qw!J&{UiD_L1A>alK_#h8&Wv&3sT^Q!5?8C}oDjdaEw!S3zEJ+aQ3s-dYFEpDhOovd=?xFpOmO-JZs!*y40xa+u8akN}<"
    ")m*SnLk*p?>R75L^>Of!HfGAH=Iy)bLF~m*LDmZM%ygR-MiRULF*h7|s7b%lq4X=!uo91S$4;U{BF(C%nrc=z5vpQTwM0rcvak<wc+js)"
    "W-+mFXKvy!2^AZ-&RzV9>B$N`8Z1BYXt*zv9@R5uLZ?}+WBD1^GkDvUK%+q_)DrYJH~E_zN3@}XEdhVP-*oi;hfj2;K<M?i`hh7i5SsjQ"
    ";@M7nAanrZbT%~g3MSx*)syh-oImfKg(pJy<`B9KauehV$OOnJ$XSp+kPt`{h!4awhd4MmI5;>sHVjsGyjJ^U`-6_R-u)jsUg58FywJF<"
    "tK%gs_7>@Q<${h^SF@(v_?w2eG)HBab-cB;PZw$BE(^kLQaLeqSFsh`Sqdw;YngDB165suPj)A*B+(zKc|)uCf>p7tpo+HQRaDkpMeCLz"
    "<{e6s!w{`x892hOIugm`DK$B!uNlCaHy{W^9-!rQ!vXN-SD!TP)$Cwcz4}^wu(z4Y+~@o;wK+5W`9c20;RnmR@1I{BtZ~KY@M1orYTL@2"
    "x?DpK^s4hIu%J>G9zA}}zZ^L@I5;*WI>WsY`seA&FMq2WTPXM;v-HdVfik>w^IURpaBy&NaBy&NaBy&NY*hRNNE3RT"
)


def classic(path, *, longitude=309.7, variables=("elevation",), unit="m"):
    with scipy.io.netcdf_file(path, "w") as file:
        for name, size, first in (("lat", 3, 18.0), ("lon", 4, longitude)):
            file.createDimension(name, size)
            axis = file.createVariable(name, "f8", (name,))
            axis[:] = first + 0.01 * np.arange(size)
            axis.units = "degrees_north" if name == "lat" else "degrees_east"
        for name in variables:
            values = file.createVariable(name, "f4", ("lat", "lon"))
            values[:] = np.arange(12).reshape(3, 4) - 20.0
            values.units = unit
    return path


def hdf5(path):
    path.write_bytes(zlib.decompress(base64.b85decode(HDF5)))
    return path


def utm(cell=200.0):
    """Cells around 18.01 N, 50.285 W."""
    return Grid(ZONE_22, 574_500.0, 1_991_900.0, cell, (8, 8))


@pytest.mark.parametrize("make", [classic, hdf5], ids=["classic", "hdf5"])
def test_a_netcdf_grid_lies_where_its_axes_say(tmp_path, make):
    """South-up rows or longitudes to 360 would put it elsewhere."""
    path = make(tmp_path / "a.nc")
    with open_source(path, crs="EPSG:4326") as source:
        west, south, east, north = source.extent
        np.testing.assert_allclose((west, south, east, north), (-50.305, 17.995, -50.265, 18.025), atol=1e-6)
        np.testing.assert_array_equal(source.read(0, 0, 3, 4), np.arange(12).reshape(3, 4)[::-1] - 20.0)
    done = align_raster(path, utm(), tmp_path / "out.tif", crs="EPSG:4326", scale=-1.0)
    values = read(done.path)
    assert values[0, 0] < values[-1, 0]
    assert done.minimum >= 9.0
    assert done.maximum <= 20.0


def test_a_netcdf_grid_without_a_system_is_asked_for_one(tmp_path):
    """Axes in degrees do not say on which datum."""
    with pytest.raises(InputFault, match="no coordinate system; due: a raster that says where it lies"):
        align_raster(classic(tmp_path / "a.nc"), utm(), tmp_path / "out.tif")


def test_of_several_variables_one_must_be_named(tmp_path):
    """The first one would be read, whatever it is."""
    path = classic(tmp_path / "a.nc", variables=("elevation", "slope"))
    with pytest.raises(InputFault, match="holds 2 variables; due: elevation, slope"):
        align_raster(path, utm(), tmp_path / "out.tif", crs="EPSG:4326")
    done = align_raster(path, utm(), tmp_path / "out.tif", crs="EPSG:4326", variable="elevation")
    assert done.maximum <= -9.0
    with pytest.raises(InputFault, match="holds 2 variables"):
        align_raster(path, utm(), tmp_path / "out.tif", crs="EPSG:4326", variable="depth")


def ascii_grid(path, values, *, dx=1.0, dy=1.0, nodata=None):
    high = values.shape[0] * dy
    size = f"cellsize {dx}" if dx == dy else f"dx {dx}\ndy {dy}"
    head = f"ncols {values.shape[1]}\nnrows {values.shape[0]}\nxllcorner {WEST}\nyllcorner {NORTH - high}\n{size}\n"
    head += "" if nodata is None else f"NODATA_value {nodata}\n"
    rows = "\n".join(" ".join(f"{v:g}" for v in row) for row in values)
    path.write_text(head + rows + "\n")
    return path


def test_an_ascii_grid_is_read_in_place(tmp_path):
    """A lower-left corner taken for the upper one would move it by its height."""
    values = np.arange(1.0, 13.0).reshape(3, 4)
    done = align_raster(
        ascii_grid(tmp_path / "a.asc", values), Grid(UTM, WEST, NORTH, 1.0, (3, 4)), tmp_path / "o.tif", crs=UTM
    )
    np.testing.assert_array_equal(read(done.path), values)


def test_cells_that_are_not_square_keep_their_place_and_are_told(tmp_path):
    """A cell taken as square would stretch the reef."""
    values = np.repeat(np.arange(1.0, 5.0)[None, :], 3, axis=0)
    path = ascii_grid(tmp_path / "a.asc", values, dx=1.0, dy=2.0)
    done = align_raster(path, Grid(UTM, WEST, NORTH, 1.0, (6, 4)), tmp_path / "o.tif", crs=UTM)
    np.testing.assert_array_equal(read(done.path), np.repeat(np.arange(1.0, 5.0)[None, :], 6, axis=0))
    assert any("not square: 1 m by 2 m" in note for note in done.notes)


def test_a_gap_value_without_a_tag_is_found_and_asked_about(tmp_path):
    """Depths of 9,999 m would pass as sea floor."""
    values = np.full((3, 4), 5.0)
    values[1, 1] = -9999.0
    grid = Grid(UTM, WEST, NORTH, 1.0, (3, 4))
    with pytest.raises(InputFault, match=r"holds -9999 among values from 5 to 5, and no nodata value is declared"):
        align_raster(ascii_grid(tmp_path / "a.asc", values), grid, tmp_path / "o.tif", crs=UTM)
    done = align_raster(ascii_grid(tmp_path / "b.asc", values, nodata=-9999), grid, tmp_path / "o.tif", crs=UTM)
    assert np.isnan(read(done.path)[1, 1])
    told = align_raster(ascii_grid(tmp_path / "a.asc", values), grid, tmp_path / "o.tif", crs=UTM, nodata=-9999.0)
    assert np.isnan(read(told.path)).sum() == 1
