"""Three norths: true (the meridian), grid (the map's columns), magnetic (the compass needle, WMM2025)."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Proj

# World Magnetic Model 2025, epoch 2025.0, five years (NOAA NCEI and BGS; header of the coefficient file, seen).
FIRST_DATE = datetime.date(2025, 1, 1)
LAST_DATE = datetime.date(2029, 12, 31)
# WMM2025 error model of declination: sqrt(0.26² + (5417 / H)²) degrees, H in nT (seen quoted; pygeomag gives the same).
ERROR_BASE_DEG, ERROR_PER_FIELD_DEG_NT = 0.26, 5417.0
# Horizontal field below which the model's makers call a compass unreliable or ask for caution (recalled, unverified).
BLACKOUT_NT, CAUTION_NT = 2000.0, 6000.0


@dataclass(frozen=True)
class Declination:
    """How far the needle points east of true north.

    Parameters
    ----------
    declination_deg : float
        East positive [degrees].
    uncertainty_deg : float
        One standard deviation of the model [degrees]; iron in the bottom or on the boat comes on top.
    change_deg_per_year : float
        Yearly change [degrees].
    horizontal_nt : float
        Horizontal strength [nT].
    """

    declination_deg: float
    uncertainty_deg: float
    change_deg_per_year: float
    horizontal_nt: float

    @property
    def usable(self) -> bool:
        """Whether the horizontal field is strong enough for a compass."""
        return self.horizontal_nt >= BLACKOUT_NT


def decimal_year(date: datetime.date) -> float:
    """Year with the days passed as a fraction: 2028-02-29 is 2028 + 59/366."""
    first = datetime.date(date.year, 1, 1)
    days = (datetime.date(date.year + 1, 1, 1) - first).days
    return date.year + (date - first).days / days


def declination(lon: float, lat: float, date: datetime.date, *, height_m: float = 0.0) -> Declination | None:
    """Declination at a place and date, or None where no number may be printed.

    None before 2025 and after 2029: the model does not hold there, and the sheet then says "no bearing".

    Parameters
    ----------
    lon, lat : float
        WGS 84 [degrees].
    date : datetime.date
        Day of use.
    height_m : float
        Above the ellipsoid [m].

    References
    ----------
    NOAA NCEI and BGS 2024, World Magnetic Model 2025; coefficients as shipped by pygeomag.
    """
    if not FIRST_DATE <= date <= LAST_DATE:
        return None
    year = decimal_year(date)
    model = _model()
    field = model.calculate(glat=lat, glon=(lon + 180.0) % 360.0 - 180.0, alt=height_m / 1000.0, time=year)
    # The yearly change is the difference over the model's span: the coefficients change linearly with time.
    one = model.calculate(glat=lat, glon=(lon + 180.0) % 360.0 - 180.0, alt=height_m / 1000.0, time=2025.0)
    other = model.calculate(glat=lat, glon=(lon + 180.0) % 360.0 - 180.0, alt=height_m / 1000.0, time=2030.0)
    change = ((other.d - one.d + 180.0) % 360.0 - 180.0) / 5.0
    error = math.hypot(ERROR_BASE_DEG, ERROR_PER_FIELD_DEG_NT / field.h) if field.h > 0 else 180.0
    return Declination(float(field.d), min(error, 180.0), float(change), float(field.h))


@cache
def _model() -> Any:
    from pygeomag import GeoMag

    return GeoMag()


def convergence(crs: CRS, lon: ArrayLike, lat: ArrayLike) -> NDArray[np.float64]:
    """Angle from true north to grid north [degrees], clockwise positive, as PROJ counts it.

    Some manuals print the other sign (they add it to an azimuth where this one is taken off).
    """
    factors = Proj(crs).get_factors(np.asarray(lon, dtype=float), np.asarray(lat, dtype=float))
    return np.asarray(factors.meridian_convergence, dtype=float)


def grid_bearing(true_deg: ArrayLike, convergence_deg: ArrayLike) -> NDArray[np.float64]:
    """Bearing on the map's grid from a true bearing: true − convergence, 0 ≤ value < 360 [degrees]."""
    return _turn(np.asarray(true_deg, dtype=float) - np.asarray(convergence_deg, dtype=float))


def true_bearing(grid_deg: ArrayLike, convergence_deg: ArrayLike) -> NDArray[np.float64]:
    """True bearing from a grid bearing: grid + convergence, 0 ≤ value < 360 [degrees]."""
    return _turn(np.asarray(grid_deg, dtype=float) + np.asarray(convergence_deg, dtype=float))


def magnetic_bearing(true_deg: ArrayLike, declination_deg: ArrayLike) -> NDArray[np.float64]:
    """Compass bearing from a true bearing: true − declination (east positive), 0 ≤ value < 360 [degrees]."""
    return _turn(np.asarray(true_deg, dtype=float) - np.asarray(declination_deg, dtype=float))


def true_from_magnetic(magnetic_deg: ArrayLike, declination_deg: ArrayLike) -> NDArray[np.float64]:
    """True bearing from a compass bearing: magnetic + declination, 0 ≤ value < 360 [degrees]."""
    return _turn(np.asarray(magnetic_deg, dtype=float) + np.asarray(declination_deg, dtype=float))


def bearing_text(bearing_deg: float) -> str:
    """Three digits for a sheet, rounded after all sums: `000` to `359` (359.6 reads 000, never 360)."""
    return f"{math.floor(bearing_deg + 0.5) % 360:03d}"


def _turn(degrees: NDArray[np.float64]) -> NDArray[np.float64]:
    turned = np.asarray(degrees % 360.0)
    return np.where(turned >= 360.0, 0.0, turned)
