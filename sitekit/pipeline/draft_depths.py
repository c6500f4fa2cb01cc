"""Depths of a draft's tables beside the depths of its raster: years that look like feet or fathoms are asked about."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitekit.layers.depth_units import depth_units
from sitekit.layers.sampling import values_at
from sitekit.pipeline.draft_seen import Seen, optional, plain


def tell_feet(seen: Sequence[Seen]) -> None:
    """Add to tables of colonies whose depths do not fit the raster what they may be in; nothing is changed.

    Parameters
    ----------
    seen : sequence of Seen
        Files after a first look; tables with depths hold their colonies as the fact `depths`, the raster its `crs`.

    Notes
    -----
    Heights are taken by their size, whatever their sign. Where the raster's unit is not told, it is taken for metres, and the
    question says so.
    """
    maps = [one for one in seen if one.role == "layers.bathymetry" and "crs" in one.facts]
    if not maps:
        return
    first = min(maps, key=lambda s: float(s.facts.get("cell_m", 0.0)))
    for one in (s for s in seen if "depths" in s.facts):
        there = one.facts["depths"].to_crs(first.facts["crs"])
        mapped = np.abs(values_at(first.path, there.geometry.x.to_numpy(), there.geometry.y.to_numpy()))
        read_in = dict(zip(there["year"], there["depth_unit"], strict=True))
        for group in depth_units(there["depth_read"].to_numpy(np.float64), mapped, list(there["year"])):
            if group.unit is None or group.unit == read_in[group.group]:
                continue
            of = f"of {group.group}" if group.group else "without a year"
            name = plain(first.path.name, 80)
            said = f"{group.rows} depths {of} are {group.ratio:.2f} times those of {name}, if it is in metres: {group.unit}?"
            key = (
                f'depth_units_by_year = {{ {group.group} = "{group.unit}" }}'
                if group.group
                else f'depth_units = "{group.unit}"'
            )
            one.said.append(said)
            one.lines += [f"# asked: {said} Ask who read them, then take in:", optional(key)]
