"""Light: the share of surface light that reaches the bottom, from a diffuse attenuation coefficient.

Not a default criterion: published needs differ by growth form so much that one limit would shut staghorn coral out of
its own depths.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Faults
from sitekit.seabed.tide import depth_at

SECCHI_COEFFICIENT = 1.7  # Poole & Atkins 1929, Kd = 1.7 / Secchi depth (recalled, unverified); 1.4-1.7 by water type
KD_NAMES = {
    "par": "Kd(PAR), all light that plants use: what light needs of corals are stated in.",
    "490": "Kd(490) is for blue-green light, not Kd(PAR): in clear water Kd(PAR) is larger; these shares are too high.",
}


def light_share(depth_m: ArrayLike, kd_per_m: ArrayLike, tide_m: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the share of the light just below the surface that reaches the bottom.

    Parameters
    ----------
    depth_m : array
        Charted depth, positive down [m].
    kd_per_m : float or array
        Diffuse attenuation coefficient [1/m], above 0; NaN where unknown. Say with `kd_caution` which one it is.
    tide_m : float or array
        Height of tide above chart datum [m].

    Returns
    -------
    array
        0 to 1; 1 where dry; NaN where depth or Kd is unknown.

    Raises
    ------
    InputFault
        If a Kd is 0 or less or above 20, or the tide is out of range.

    Notes
    -----
    exp(-Kd · depth), Kd constant from top to bottom. Reflection at the surface, slope, and shade are left out.

    References
    ----------
    `beer-lambert` (trade value TV-030; recalled, unverified); `kirk2011`.

    Examples
    --------
    >>> light_share([10.0, 10.0, -1.0], [0.15, 0.25, 0.15]).round(3)
    array([0.223, 0.082, 1.   ])
    """
    kd = _checked_kd(kd_per_m)
    return np.asarray(np.exp(-kd * np.maximum(depth_at(depth_m, tide_m), 0.0)))


def depth_of_share(share: ArrayLike, kd_per_m: ArrayLike) -> NDArray[np.float64]:
    """Return the depth of water at which a share of the light is left, ln(1/share) / Kd [m].

    Parameters
    ----------
    share : float or array
        0 < share ≤ 1.
    kd_per_m : float or array
        As `light_share`.

    Raises
    ------
    InputFault
        If a share lies outside 0 to 1 (percent was perhaps given), or Kd is out of range.

    References
    ----------
    `erftemeijer2012` (trade values TV-028, TV-029).

    Examples
    --------
    >>> depth_of_share([0.4, 0.1], 0.15).round(2)
    array([ 6.11, 15.35])
    """
    part = np.asarray(share, np.float64)
    with Faults() as faults:
        if np.any(~((part > 0) & (part <= 1))):
            faults.add("share", str(share), "above 0, at most 1", "Divide percent by 100.")
    return np.asarray(-np.log(part) / _checked_kd(kd_per_m)) + 0.0


def kd_from_secchi(secchi_m: ArrayLike, *, coefficient: float = SECCHI_COEFFICIENT) -> NDArray[np.float64]:
    """Return Kd(PAR) from a Secchi depth, coefficient / depth [1/m].

    Parameters
    ----------
    secchi_m : float or array
        Depth at which the disc vanishes [m], above 0.
    coefficient : float
        1.0 to 2.0; 1.4 to 1.7 by water type.

    Raises
    ------
    InputFault
        If a depth is not above 0 or the coefficient is out of range.

    References
    ----------
    `poole1929` (recalled, unverified).

    Examples
    --------
    >>> kd_from_secchi([8.0, 20.0])
    array([0.2125, 0.085 ])
    """
    secchi = np.asarray(secchi_m, np.float64)
    with Faults() as faults:
        if np.any(secchi <= 0):
            faults.add("secchi_m", f"{float(np.nanmin(secchi))} m", "above 0 m", "Leave out casts that hit the bottom.")
        if not 1.0 <= coefficient <= 2.0:
            faults.add("secchi coefficient", f"{coefficient}", "1.0 to 2.0", "1.4 to 1.7 by water type.")
    return np.asarray(coefficient / secchi)


def kd_caution(name: str) -> str:
    """Return the sentence to print beside results of a named coefficient: `par`, or `490` (satellite, blue-green).

    Raises
    ------
    InputFault
        If the coefficient has no known name.

    References
    ----------
    Trade values TV-027 and TV-030.

    Examples
    --------
    >>> kd_caution("490")[:7]
    'Kd(490)'
    """
    with Faults() as faults:
        if name not in KD_NAMES:
            faults.add("kd name", f"{name!r}", ", ".join(sorted(KD_NAMES)), "Say which coefficient the values are.")
    return KD_NAMES[name]


def _checked_kd(kd_per_m: ArrayLike) -> NDArray[np.float64]:
    """Return Kd as an array, or refuse values that no water has."""
    kd = np.asarray(kd_per_m, np.float64)
    wrong = kd[(kd <= 0) | (kd > 20)]
    with Faults() as faults:
        if wrong.size:
            faults.add(
                "kd_per_m",
                f"{wrong.size} values such as {wrong[0]:g} per m",
                "above 0, at most 20 per m (pure water is about 0.02)",
                "Mark missing values as missing; give Kd per metre.",
            )
    return kd
