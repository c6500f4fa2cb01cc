"""The order in which a boat visits places: exact to ten stops, a good one beyond; names that a receiver keeps whole."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Fault, Faults, InputFault
from sitekit.layout.routes import visiting_order

MOST_EXACT = 10  # stops; 10 · 2¹⁰ · 10 sums


def boat_order(x_m: ArrayLike, y_m: ArrayLike, *, start: tuple[float, float] | None = None) -> NDArray[np.int64]:
    """Return the order of a short open way through places.

    Parameters
    ----------
    x_m, y_m : array_like, shape (n,)
        Map positions [m].
    start : tuple of float, optional
        Where the boat comes from [m]; by default the way begins at the most north-western place.

    Returns
    -------
    ndarray of int64, shape (n,)
        The shortest way for up to ten places (Held and Karp's dynamic programming), else nearest neighbour and 2-opt
        of `layout.routes`. Straight lines: a reef in between is not seen.

    References
    ----------
    Held M. & Karp R.M. 1962, J. SIAM 10:196-210 (recalled, unverified; the sums are checked by trying all orders).
    """
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    n = x.size
    if n <= 1 or n > MOST_EXACT:
        return visiting_order(x, y, start=start)
    first = start
    if first is None:
        k = int(np.lexsort((x, -y, np.round(x - y, 6)))[0])
        first = float(x[k]), float(y[k])
    from_start = np.hypot(x - first[0], y - first[1])
    leg = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :])
    best = np.full((1 << n, n), np.inf)
    came = np.full((1 << n, n), -1, np.int64)
    best[1 << np.arange(n), np.arange(n)] = from_start
    members = [np.flatnonzero((s >> np.arange(n)) & 1) for s in range(1 << n)]
    for done in range(1, 1 << n):
        inside = members[done]
        if inside.size < 2:
            continue
        for last in inside.tolist():
            before = done & ~(1 << last)
            ways = best[before] + leg[:, last]
            came[done, last] = k = int(np.argmin(np.round(ways, 9)))
            best[done, last] = ways[k]
    last = int(np.argmin(np.round(best[-1], 9)))
    order, done = [last], (1 << n) - 1
    while came[done, last] >= 0:
        done, last = done & ~(1 << last), int(came[done, last])
        order.append(last)
    return np.array(order[::-1], np.int64)


def receiver_names(names: Sequence[str], length: int) -> list[str]:
    """Return names in A–Z and 0–9 that are unique and no longer than a receiver keeps.

    Parameters
    ----------
    names : sequence of str
        Plot and pin, e.g. `OT-06 A`; the number and the letter at the end are kept, the code before is cut.
    length : int
        Characters the receiver keeps, ≥ 4.

    Raises
    ------
    InputFault
        Naming every two that are the same after shortening, and names without a letter or digit.

    Examples
    --------
    >>> receiver_names(["OT-06 A", "OT-06 B", "LONGREEF-12 A"], 8)
    ['OT06A', 'OT06B', 'LONGR12A']
    """
    if length < 4:
        raise InputFault(Fault("receiver.name_length", str(length), "4 or more", "See the receiver's manual."))
    out: list[str] = []
    seen: dict[str, str] = {}
    with Faults() as faults:
        for name in names:
            plain = re.sub(r"[^A-Z0-9]", "", name.upper())
            if not plain:
                faults.add(f"waypoint {name!r}", "no letter A–Z or digit", "at least one", "Name the plot otherwise.")
            tail = re.search(r"\d*[A-Z]?$", plain)
            end = tail[0] if tail and len(tail[0]) < len(plain) else ""
            short = plain if len(plain) <= length else plain[: max(length - len(end), 1)] + end
            short = short[:length]
            if short in seen and seen[short] != name:
                faults.add(
                    "receiver.name_length",
                    f"{seen[short]!r} and {name!r} both become {short!r} at {length} characters",
                    "names that stay unique",
                    "Raise name_length if the receiver keeps more, or choose other site codes.",
                )
            seen.setdefault(short, name)
            out.append(short)
    return out


def rounded_bearing(bearing_deg: float, step_deg: float = 5.0) -> float:
    """Return a bearing to the nearest step, 0 ≤ value < 360 [°]: a compass in surge is read to 5°, 358 prints 000.

    Parameters
    ----------
    bearing_deg : float
        After all sums [°].
    step_deg : float
        Divides 360.
    """
    return math.floor(bearing_deg / step_deg + 0.5) * step_deg % 360.0
