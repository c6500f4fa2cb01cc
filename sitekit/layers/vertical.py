"""Heights and depths: sign, unit and datum are declared; inside, depth is positive down in metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sitekit.base.units import metres_per
from sitekit.errors import Fault, InputFault

Sign = Literal["depth", "elevation"]
# House choice: a layer for planting that has under 5 % of its cells below the datum, as declared, was declared wrongly.
LEAST_WET_SHARE = 0.05


@dataclass(frozen=True)
class Vertical:
    """How the values of a bathymetry are counted.

    Parameters
    ----------
    sign : {"depth", "elevation"}
        Positive down, or positive up (sea floor negative).
    units : str
        `m`, `ft` or `fathom`.
    datum : str
        What they are counted from, e.g. "MLLW"; it is printed, never shifted.

    Raises
    ------
    InputFault
        On another sign or unit, or an empty datum.
    """

    sign: Sign
    units: str
    datum: str

    def __post_init__(self) -> None:
        if self.sign not in ("depth", "elevation"):
            raise InputFault(
                Fault("sign", repr(self.sign), "'depth' (positive down) or 'elevation' (positive up)", "Declare it.")
            )
        if not self.datum.strip():
            raise InputFault(
                Fault("datum", "empty", "the name of the vertical datum, e.g. MLLW", "Ask whoever made the survey.")
            )
        metres_per(self.units)

    @property
    def scale(self) -> float:
        """Factor from a value of the file to depth in metres, positive down."""
        return metres_per(self.units) * (1.0 if self.sign == "depth" else -1.0)


def depth_m(values: ArrayLike, vertical: Vertical) -> np.ndarray:
    """Depths in metres, positive down, of values as a file holds them; gaps (NaN) stay gaps."""
    return np.asarray(values, dtype=np.float64) * vertical.scale


def check_sign(where: str, vertical: Vertical, share_below: float, minimum: float, maximum: float) -> str:
    """Refuse a declared sign that the values contradict; return a remark where they leave a doubt, else "".

    Parameters
    ----------
    where : str
        Layer or file, for the message.
    vertical : Vertical
        As declared.
    share_below : float
        Share of the cells with a value that lie below the datum as declared, 0-1.
    minimum, maximum : float
        Shallowest and deepest depth as declared [m, positive down].

    Raises
    ------
    InputFault
        If under 5 % of the cells lie below the datum.
    """
    other = "elevation" if vertical.sign == "depth" else "depth"
    if share_below < LEAST_WET_SHARE:
        raise InputFault(
            Fault(
                f"{where}, sign",
                f"declared as {vertical.sign!r}, which puts {1 - share_below:.1%} of the cells above the datum "
                f"(depths from {minimum:.1f} to {maximum:.1f} m)",
                "a sea floor that lies below its datum",
                f"If the values are counted the other way, set sign = {other!r}.",
            )
        )
    if share_below < 0.5:
        return f"{1 - share_below:.0%} of the cells lie above the datum: check the sign if that is not land"
    return ""
