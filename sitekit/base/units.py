"""Exact factors between the units people write and the metres, square metres and degrees Celsius kept inside."""

from __future__ import annotations

import difflib

from sitekit.errors import Fault, InputFault

# International foot and fathom: exact since the agreement of 1959 (1 ft = 0.3048 m, 1 fathom = 6 ft). The US survey
# foot (1200/3937 m) differs by 2 parts per million, 0.06 mm at 30 m: charts in either are read with this factor.
METRES_PER = {"m": 1.0, "cm": 0.01, "km": 1000.0, "ft": 0.3048, "fathom": 1.8288, "nmi": 1852.0}
SQUARE_METRES_PER = {
    "m2": 1.0,
    "ha": 10_000.0,
    "acre": 4046.8564224,  # international acre: 43,560 square international feet
    "ft2": 0.09290304,
}
KELVIN_OFFSET = 273.15  # K at 0 °C, by definition of the Celsius scale (BIPM SI brochure)


def metres_per(unit: str) -> float:
    """Length of one `unit` [m].

    Parameters
    ----------
    unit : str
        One of `m`, `cm`, `km`, `ft`, `fathom`, `nmi`.

    Raises
    ------
    InputFault
        On any other word; the nearest known one is named.
    """
    return _factor(unit, METRES_PER, "unit of length")


def square_metres_per(unit: str) -> float:
    """Area of one `unit` [m²]: `m2`, `ha`, `acre` or `ft2`.

    Raises
    ------
    InputFault
        On any other word.
    """
    return _factor(unit, SQUARE_METRES_PER, "unit of area")


def celsius_from(unit: str) -> tuple[float, float]:
    """Factor and offset that turn a temperature in `unit` into degrees Celsius: value × factor + offset.

    Parameters
    ----------
    unit : str
        `degC`, `K` or `degF`.

    Raises
    ------
    InputFault
        On any other word.
    """
    known = {"degC": (1.0, 0.0), "K": (1.0, -KELVIN_OFFSET), "degF": (5.0 / 9.0, -160.0 / 9.0)}
    if unit not in known:
        raise InputFault(Fault("unit of temperature", repr(unit), ", ".join(known), "Write one of these."))
    return known[unit]


def _factor(unit: str, known: dict[str, float], what: str) -> float:
    if unit in known:
        return known[unit]
    near = difflib.get_close_matches(unit.lower(), known, n=1)
    hint = f"Did you mean {near[0]!r}?" if near else "Write one of these."
    raise InputFault(Fault(what, repr(unit), ", ".join(known), hint))
