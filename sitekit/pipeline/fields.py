"""What criteria read, per block: each field from the aligned layers, with the neighbours it needs.

This is the one place that knows which field comes from which layer.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.grid import Grid
from sitekit.layers.substrate import hard_codes, substrate_codes
from sitekit.layers.tiled import Block, Input
from sitekit.pipeline.project import Project
from sitekit.seabed.distance import distance, distance_halo
from sitekit.seabed.terrain import terrain, terrain_halo
from sitekit.season.settings import Settings
from sitekit.suitability.criteria import FIELDS, TERRAIN_FIELDS, Criterion, criteria_set, make_curve, merged
from sitekit.suitability.curves import KNOTS
from sitekit.suitability.judgements import Weighed, weigh_numbers, weigh_pairs, weigh_ranks

RASTERS = "layers"  # folder of aligned rasters below out/
GRID_FILE = f"{RASTERS}/grid.json"
SEA_RASTER, SEA_FILE, SEA_WINDS = (f"{RASTERS}/sea{end}" for end in (".tif", ".json", "_winds.tif"))

# field -> unit, meaning, table of plan.toml that gives it; the order is that of the bands of SEA_RASTER
SEA_FIELDS: dict[str, tuple[str, str, str]] = {
    "lowest_tide_depth_m": ("m", "depth of water at the lowest tide, 0 where it falls dry", "tide"),
    "orbital_velocity_ms": (
        "m/s",
        "near-bed velocity under the significant wave, not passed most of the time (waves.high_share)",
        "waves",
    ),
    "wave_height_m": ("m", "significant wave height, not passed most of the time (waves.high_share)", "waves"),
    "share_above_mobile": ("0-1", "share of time with a near-bed velocity that moves loose rubble", "waves"),
    "fetch_m": ("m", "mean length of water that the wind crosses, weighted by time", "waves"),
    "unknown_wave_share": ("0-1", "share of time with wind from unknown, open directions", "waves"),
    "light_share": ("0-1", "share of the light just below the surface that reaches the bottom", "light"),
    "mmm_c": ("°C", "maximum monthly mean of the water", "heat"),
    "annual_range_c": ("°C", "warmest less coolest monthly mean", "heat"),
    "dhw_weeks": ("°C-weeks", "most degree heating weeks in the series", "heat"),
    "days_above": ("days/year", "days a year at the team's limit or above", "heat"),
}


SCOUT_FIRST = (
    "If the bottom was mapped more finely, correct layers.substrate.resolution_m; else take a run's areas as places to "
    "look at (sitekit scout writes the forms) and to map more finely"
)


@dataclass(frozen=True)
class Ground:
    """The grid of a run and what the layers stage found out about it.

    Parameters
    ----------
    grid : Grid
        The working grid.
    layers : frozenset of str
        Names of aligned rasters.
    scale : float
        Largest scale factor of the working system in the area: grid distance / distance on the ellipsoid.
    scout : bool
        True where the bottom is known too coarsely to place colonies.
    scout_reason : str
        Why, empty if not.
    """

    grid: Grid
    layers: frozenset[str]
    scale: float
    scout: bool
    scout_reason: str


def write_ground(path: Path, ground: Ground) -> None:
    """Keep the grid of a run beside its rasters."""
    from sitekit.base.files import write_json

    write_json(
        path,
        {
            "crs": ground.grid.crs.to_wkt(),
            "west": ground.grid.west,
            "north": ground.grid.north,
            "cell_m": ground.grid.cell,
            "shape": list(ground.grid.shape),
            "layers": sorted(ground.layers),
            "scale": ground.scale,
            "scout": ground.scout,
            "scout_reason": ground.scout_reason,
        },
    )


def read_ground(project: Project) -> Ground:
    """Return the grid of the newest layers stage."""
    data = json.loads(project.result(GRID_FILE).read_text("utf-8"))
    grid = Grid(CRS.from_wkt(data["crs"]), data["west"], data["north"], data["cell_m"], tuple(data["shape"]))
    return Ground(grid, frozenset(data["layers"]), data["scale"], data["scout"], data["scout_reason"])


def raster(project: Project, name: str) -> Path:
    """Return the path of an aligned raster, e.g. `depth`."""
    return project.result(f"{RASTERS}/{name}.tif")


def species_criteria(settings: Settings) -> dict[str, list[Criterion]]:
    """Return the criteria of every species: its built-in set with the plan's own ones merged in, as `[weights]` says.

    Raises
    ------
    InputFault
        Naming every wrong class, set or criterion name, and weights that cannot be.
    """
    found: dict[str, list[Criterion]] = {}
    with Faults() as faults:
        for code, rows in all_criteria(settings).items():
            try:
                origin = _weighed(settings, code, [c.name for c in rows])
            except InputFault as error:
                faults.found.extend(error.faults)
                continue
            given = rows if origin is None else [replace(c, weight=origin.weights[c.name]) for c in rows]
            found[code] = [c for c in given if c.weight > 0]
    return found


def weights_origin(settings: Settings) -> dict[str, dict[str, Any]]:
    """Return how the weights of each species came about, for figures and the decision record.

    Returns
    -------
    dict of str to dict
        `method`, `said` (a sentence), `weights` (criterion -> share), `judged` (lines), `who`; for judgements of pairs
        also `consistency_ratio`, `consistent`, `random_index` (a source) and `worst`.
    """
    found: dict[str, dict[str, Any]] = {}
    for species in settings.species:
        rows = all_criteria(settings)[species.code]
        origin = _weighed(settings, species.code, [c.name for c in rows])
        if origin is not None:
            found[species.code] = {**origin.as_dict(), "who": settings.weights[species.code].who}
            continue
        total = sum(c.weight for c in rows)
        said = [f"built-in set {species.criteria!r} (house choices, unverified)"] if species.criteria else []
        own = [c.name for c in settings.criteria if not c.species or species.code in c.species]
        said += [f"[[criteria]] of the plan ({', '.join(own)})"] if own else []
        found[species.code] = {
            "method": "as given",
            "said": "weights of " + " and ".join(said),
            "weights": {c.name: c.weight / total for c in rows},
            "judged": [],
            "who": None,
        }
    return found


def all_criteria(settings: Settings) -> dict[str, list[Criterion]]:
    """Return the criteria of every species before `[weights]`; those of weight 0 are switched off."""
    codes = substrate_codes()
    found: dict[str, list[Criterion]] = {}
    for one in settings.species:
        base = criteria_set(one.criteria, codes) if one.criteria else []
        own = [
            (
                Criterion(
                    c.name,
                    c.field,
                    make_curve(
                        c.curve.shape,
                        at=c.curve.at,
                        points=[(x, y) for x, y in c.curve.points],
                        class_responses=c.curve.classes,
                        codes=codes,
                    ),
                    c.weight,
                    c.source,
                    verified=True,
                ),
                c.replaces,
            )
            for c in settings.criteria
            if not c.species or one.code in c.species
        ]
        found[one.code] = [c for c in merged(base, own) if c.weight > 0]
        if not found[one.code]:
            raise InputFault(
                Fault(f"criteria of {one.code}", "all weights are 0", "one above 0", "Give a criterion a weight.")
            )
    return found


def _weighed(settings: Settings, code: str, names: Sequence[str]) -> Weighed | None:
    given = settings.weights.get(code)
    if given is None:
        return None
    where = f"weights.{code}"
    if given.method == "direct":
        return weigh_numbers(names, given.numbers, where=where)
    if given.method == "ranked":
        return weigh_ranks(names, given.ranks, where=where)
    return weigh_pairs(names, [(j.criterion, j.over, j.times) for j in given.judgements], where=where)


def check_fields(settings: Settings, criteria: Mapping[str, Sequence[Criterion]]) -> None:
    """Refuse criteria that read a field no layer gives.

    Raises
    ------
    InputFault
        Naming each of them, with the fields that there are.
    """
    have = available_fields(settings)
    faults = [
        Fault(
            f"criterion {c.name!r} of {code}",
            f"reads {c.field!r}",
            "one of " + ", ".join(sorted(have)),
            f"Bring a raster as [layers.rasters.{c.field}], or the layer or table that gives one of these; or replace the "
            "criterion by one of weight 0.",
        )
        for code, rows in criteria.items()
        for c in rows
        if c.field not in have
    ]
    if faults:
        raise InputFault(*faults)


def available_fields(settings: Settings) -> set[str]:
    """Return the names of the fields that the plan's layers give."""
    have = {"depth_m", *TERRAIN_FIELDS, *settings.layers.rasters}
    if settings.layers.substrate:
        have |= {"substrate", "distance_edge_m"}
    if settings.layers.colonies:
        have.add("distance_colonies_m")
    return have | set(sea_fields(settings))


def sea_fields(settings: Settings) -> list[str]:
    """Return the fields that `[tide]`, `[waves]`, `[light]` and `[heat]` give, in the order of the raster's bands."""
    return [name for name, (_, _, table) in SEA_FIELDS.items() if getattr(settings, table) is not None]


def field_units(settings: Settings) -> dict[str, str]:
    """Return field -> unit, for all that criteria may read."""
    found = {name: unit.split(",")[0] for name, unit in FIELDS.items()}
    found = {name: {"degrees": "°", "0-1": ""}.get(unit, unit) for name, unit in found.items()}
    found |= {name: "" if unit == "0-1" else unit for name, (unit, _, _) in SEA_FIELDS.items()}
    return found | {name: layer.units for name, layer in settings.layers.rasters.items()}


class FieldReader:
    """Turns the aligned layers of a block into the fields that criteria ask for.

    Parameters
    ----------
    project : Project
        With the layers stage done.
    ground : Ground
        Its grid.
    criteria : mapping of species code to list of Criterion
        Decides which fields are worked out, and how far distances must be known: to the last knot of their curves.
    slope : bool
        Whether the slope is due for an exclusion.
    """

    def __init__(
        self, project: Project, ground: Ground, criteria: Mapping[str, Sequence[Criterion]], *, slope: bool
    ) -> None:
        settings = project.settings
        self.cell = ground.grid.cell
        self.names = sorted({c.field for rows in criteria.values() for c in rows} | {"depth_m"})
        self.terrain = [n for n in TERRAIN_FIELDS if n in self.names or (slope and n == "slope_deg")]
        self.windows = settings.terrain
        every = [c for rows in criteria.values() for c in rows]
        self.reach = {
            name: max((_end(c) for c in every if c.field == name), default=0.0)
            for name in ("distance_colonies_m", "distance_edge_m")
        }
        self.users = [n for n in settings.layers.rasters if n in self.names]
        self.surveyed = "surveyed" in ground.layers
        self.inputs: dict[str, Input] = {"depth": Input(raster(project, "depth"))}
        if "substrate" in ground.layers:
            self.inputs["substrate"] = Input(raster(project, "substrate"), 0)
        if "distance_colonies_m" in self.names:
            self.inputs["colonies"] = Input(raster(project, "colonies"), 0)
            if self.surveyed:
                self.inputs["surveyed"] = Input(raster(project, "surveyed"), 0)
        for name in self.users:
            self.inputs[f"user {name}"] = Input(raster(project, f"raster_{name}"))
        self.sea = [n for n in sea_fields(settings) if n in self.names]
        for name in self.sea:
            band = sea_fields(settings).index(name) + 1
            self.inputs[f"sea {name}"] = Input(project.result(SEA_RASTER), band=band)
        self.halo = self._halo()
        self.hard = np.zeros(256, bool)
        self.hard[hard_codes()] = True

    def _halo(self) -> int:
        need = 0
        if self.terrain:
            need = terrain_halo(
                self.cell,
                outer_m=self._outer(),
                ruggedness_radius_m=self._radius(),
                fields=self.terrain,
            )
        for name, reach in self.reach.items():
            if name in self.names:
                need = max(need, distance_halo(self.cell, self._cap(reach)))
        return need

    def _outer(self) -> float:
        """Return the ring's outer radius, at least two cells, so that coarse grids have a ring."""
        return max(self.windows.position_outer_m, 2.0 * self.cell)

    def _inner(self) -> float:
        return min(max(self.windows.position_inner_m, self.cell), self._outer() - self.cell)

    def _radius(self) -> float:
        """Return the ruggedness radius, at least the 3 × 3 window of the paper."""
        return max(self.windows.ruggedness_radius_m, 1.5 * self.cell)

    def farthest(self, name: str) -> float:
        """Return the largest distance that a distance field holds [m]; it stands for all larger ones."""
        return self._cap(self.reach[name])

    def _cap(self, reach: float) -> float:
        return max(math.ceil(reach / self.cell) + 1, 2) * self.cell

    def __call__(self, arrays: Mapping[str, NDArray[Any]], block: Block) -> dict[str, NDArray[Any]]:
        """Return field name -> array of the block without its halo."""
        core = block.core
        depth = arrays["depth"]
        fields: dict[str, NDArray[Any]] = {"depth_m": np.ascontiguousarray(depth[core])}
        if self.terrain:
            fields.update(
                terrain(
                    depth,
                    self.cell,
                    inner_m=self._inner(),
                    outer_m=self._outer(),
                    ruggedness_radius_m=self._radius(),
                    halo=block.halo,
                    fields=self.terrain,
                )
            )
        if "substrate" in arrays:
            fields["substrate"] = np.ascontiguousarray(arrays["substrate"][core])
        if "distance_edge_m" in self.names:
            fields["distance_edge_m"] = distance(
                ~self.hard[arrays["substrate"]],
                self.cell,
                greatest_m=self._cap(self.reach["distance_edge_m"]),
                halo=block.halo,
            )
        if "distance_colonies_m" in self.names:
            fields["distance_colonies_m"] = distance(
                arrays["colonies"] != 0,
                self.cell,
                greatest_m=self._cap(self.reach["distance_colonies_m"]),
                surveyed=(arrays["surveyed"] != 0) if self.surveyed else None,
                halo=block.halo,
            )
        for name in self.users:
            fields[name] = np.ascontiguousarray(arrays[f"user {name}"][core])
        for name in self.sea:
            fields[name] = np.ascontiguousarray(arrays[f"sea {name}"][core])
        return fields


def _end(criterion: Criterion) -> float:
    """Return the value beyond which a response hardly changes: the last knot, or six deviations of a bell (2e-8)."""
    x = criterion.curve.x
    return x[-1] if criterion.curve.kind == KNOTS else x[0] + 6.0 * x[1] if len(x) == 2 else 0.0
