"""The team's own limits of wind, swell and visibility, and which places lie in the lee. No forecast is made here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sitekit.errors import Faults


@dataclass(frozen=True)
class WindLimit:
    """Most wind from a sector.

    Parameters
    ----------
    from_deg, to_deg : float
        Sector clockwise, directions the wind blows from, true [°]; 315 to 45 goes through north.
    most_ms : float
        [m/s].
    """

    from_deg: float
    to_deg: float
    most_ms: float

    def holds(self, direction_deg: float) -> bool:
        """Whether a direction lies in the sector, its two edges too."""
        return (direction_deg - self.from_deg) % 360.0 <= (self.to_deg - self.from_deg) % 360.0


@dataclass(frozen=True)
class Limits:
    """What the team works in; a limit that is None is not used.

    Parameters
    ----------
    wind_ms : float, optional
        Most wind from any direction [m/s].
    by_direction : tuple of WindLimit
        Further limits; the lowest that applies counts.
    swell_m, visibility_m : float, optional
        Most swell; least visibility under water [m].
    """

    wind_ms: float | None = None
    by_direction: tuple[WindLimit, ...] = ()
    swell_m: float | None = None
    visibility_m: float | None = None

    def __post_init__(self) -> None:
        with Faults() as faults:
            for limit in self.by_direction:
                if not (0 <= limit.from_deg <= 360 and 0 <= limit.to_deg <= 360):
                    came = f"{limit.from_deg:g} to {limit.to_deg:g}°"
                    faults.add("fieldwork.limits", came, "0 to 360°, where the wind comes from", "Correct it.")
                if not limit.most_ms >= 0:
                    faults.add("fieldwork.limits", f"{limit.most_ms} m/s", "0 or more", "Correct it.")

    def wind_limit(self, direction_deg: float) -> float | None:
        """Return the lowest limit for wind from a direction [m/s], None without any."""
        found = [limit.most_ms for limit in self.by_direction if limit.holds(direction_deg % 360.0)]
        if self.wind_ms is not None:
            found.append(self.wind_ms)
        return min(found, default=None)

    def lines(self) -> list[str]:
        """Return the limits as short sentences for a sheet."""
        out = []
        if self.wind_ms is not None:
            out.append(f"wind at most {self.wind_ms:g} m/s ({self.wind_ms / 0.514444:.0f} kn)")
        for limit in self.by_direction:
            out.append(
                f"wind from {limit.from_deg:03.0f}° to {limit.to_deg:03.0f}° at most {limit.most_ms:g} m/s "
                f"({limit.most_ms / 0.514444:.0f} kn)"
            )
        if self.swell_m is not None:
            out.append(f"swell at most {self.swell_m:g} m")
        if self.visibility_m is not None:
            out.append(f"visibility at least {self.visibility_m:g} m")
        return out


def reasons_against(
    limits: Limits,
    *,
    wind_ms: float | None = None,
    wind_from_deg: float | None = None,
    swell_m: float | None = None,
    visibility_m: float | None = None,
) -> list[str]:
    """Return why the team's own limits speak against going out, empty if none does.

    Parameters
    ----------
    limits : Limits
        The team's.
    wind_ms, wind_from_deg, swell_m, visibility_m : float, optional
        As observed or forecast by others; what is not given is not judged.
    """
    found = []
    if wind_ms is not None:
        most = limits.wind_ms if wind_from_deg is None else limits.wind_limit(wind_from_deg)
        if most is not None and wind_ms > most:
            found.append(f"wind {wind_ms:g} m/s is above {most:g} m/s")
    if swell_m is not None and limits.swell_m is not None and swell_m > limits.swell_m:
        found.append(f"swell {swell_m:g} m is above {limits.swell_m:g} m")
    if visibility_m is not None and limits.visibility_m is not None and visibility_m < limits.visibility_m:
        found.append(f"visibility {visibility_m:g} m is below {limits.visibility_m:g} m")
    return found


def in_the_lee(shelter: Mapping[str, Sequence[tuple[float, str]]], direction_deg: float) -> dict[str, str]:
    """Return the shelter word of each site for wind from a direction: that of the nearest direction in the table.

    Parameters
    ----------
    shelter : mapping of str to sequence of (direction_deg, word)
        Per site, words `sheltered`, `exposed`, `unknown`.
    direction_deg : float
        The wind comes from, true [°].
    """
    found = {}
    for site, rows in shelter.items():
        if rows:
            turn = [abs((d - direction_deg + 180.0) % 360.0 - 180.0) for d, _ in rows]
            nearest = min(turn)
            words = {w for (_, w), t in zip(rows, turn, strict=True) if math.isclose(t, nearest, abs_tol=1e-9)}
            found[site] = words.pop() if len(words) == 1 else "unknown"
    return found


def leeward_places(shelter: Mapping[str, Sequence[tuple[float, str]]], site: str) -> list[tuple[float, list[str]]]:
    """Return for each direction in which a site is not sheltered the sites that are, in order of their code.

    Parameters
    ----------
    shelter : mapping
        As for `in_the_lee`.
    site : str
        The site of the day.
    """
    out = []
    for direction, word in shelter.get(site, ()):
        if word != "sheltered":
            lee = in_the_lee({s: rows for s, rows in shelter.items() if s != site}, direction)
            out.append((direction, sorted(s for s, w in lee.items() if w == "sheltered")))
    return out


def sheltered_sectors(rows: Sequence[tuple[float, str]]) -> list[tuple[float, float]]:
    """Return the sectors in which a site is sheltered, as first and last direction of each run, clockwise.

    Parameters
    ----------
    rows : sequence of (direction_deg, word)
        Of one site, directions evenly spread.

    Examples
    --------
    >>> sheltered_sectors([(0, "sheltered"), (90, "exposed"), (180, "unknown"), (270, "sheltered")])
    [(270, 0)]
    """
    ordered = sorted(rows)
    good = [word == "sheltered" for _, word in ordered]
    if not ordered or not any(good):
        return []
    if all(good):
        return [(ordered[0][0], ordered[-1][0])]
    n = len(ordered)
    out = []
    for k in range(n):
        if good[k] and not good[k - 1]:
            end = k
            while good[(end + 1) % n]:
                end += 1
            out.append((ordered[k][0], ordered[end % n][0]))
    return out
