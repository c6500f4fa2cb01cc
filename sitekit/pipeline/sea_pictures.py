"""The sea as the map shows it: wave fields as layers, shelter by wind as words on each site."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pandas as pd
from numpy.typing import NDArray

from sitekit.base.wording import say
from sitekit.outputs.map_html.scene import RasterLayer
from sitekit.pipeline.fields import SEA_FILE, SEA_RASTER
from sitekit.pipeline.project import Project

# field -> label of what people read, bin edges (ours: halves and doubles of the 0.30 m/s of `kenyon2023`; half metres of height)
_SHOWN: dict[str, tuple[str, tuple[float, ...]]] = {
    "orbital_velocity_ms": ("map.wave_motion", (0.0, 0.15, 0.3, 0.6, 0.9, 1.2, 1.8, 2.4)),
    "wave_height_m": ("map.wave_height", (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)),
}
_POINTS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip

Read = Callable[[str, int], NDArray[Any]]


def sea_rasters(project: Project, read: Read) -> list[RasterLayer]:
    """Return the wave fields as layers of the map; none without `[waves]`.

    Parameters
    ----------
    project : Project
    read : callable
        File below `out/` and band -> values on the map's grid.
    """
    waves = project.settings.waves
    if waves is None:
        return []
    bands = {f["field"]: f for f in json.loads(project.result(SEA_FILE).read_text("utf-8"))["fields"]}
    note = say(
        "map.waves_with_swell" if waves.swell else "map.waves_wind_only",
        share=f"{100 * waves.high_share:.0f}",
        method=waves.method,
    )
    found = []
    for name, (label, edges) in _SHOWN.items():
        found.append(
            RasterLayer(
                name,
                say(label),
                bands[name]["unit"],
                read(SEA_RASTER, bands[name]["band"]),
                edges,
                ramp="warm",
                note=note,
                group=say("map.sea"),
            )
        )
    return found


def shelter_words(table: pd.DataFrame) -> dict[str, str]:
    """Return for each site from where a wind finds it sheltered, and from where nothing is known.

    Parameters
    ----------
    table : DataFrame
        The table `shelter`.
    """
    found = {}
    for site, rows in table.groupby("site", sort=True):
        sheltered, unknown = (
            ", ".join(point(d) for d in rows.loc[rows["shelter"] == word, "direction_deg"])
            for word in ("sheltered", "unknown")
        )
        wind = f"{float(rows['wind_ms'].iloc[0]):g} m/s"
        words = say("layer.sheltered_from", points=sheltered) if sheltered else say("layer.sheltered_nowhere")
        if unknown:
            said = say("layer.unknown_from", points=unknown)
            found[str(site)] = say("layer.shelter_unknown", wind=wind, sheltered=words, unknown=said)
        else:
            found[str(site)] = say("layer.shelter", wind=wind, sheltered=words)
    return found


def point(direction_deg: float) -> str:
    """Return the nearest of the sixteen points of the compass."""
    return _POINTS[int(direction_deg / 22.5 + 0.5) % 16]
