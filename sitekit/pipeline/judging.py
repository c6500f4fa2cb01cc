"""What a block of cells is judged by: the fields of its criteria and the masks of its exclusions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Fault, InputFault
from sitekit.layers.protected import RULE_CODES
from sitekit.layers.substrate import substrate_codes
from sitekit.layers.tiled import Block, Input
from sitekit.pipeline.fields import FieldReader, Ground, raster
from sitekit.pipeline.project import Project
from sitekit.pipeline.sea_rules import lowest_tide_m
from sitekit.seabed.tide import workable
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.exclusions import FORBIDDEN, KEEP_CLEAR, NO_PERMIT, OUTSIDE, UNWORKABLE, Limits


class BlockJudge:
    """Fields and masks of blocks; the score stage and `explain` both look through it, so that they agree.

    Parameters
    ----------
    project : Project
        With the layers stage done.
    ground : Ground
        Its grid.
    criteria : mapping of species code to list of Criterion
        Decides which fields are worked out.

    Raises
    ------
    InputFault
        Naming every excluded class that the standard does not know.
    """

    def __init__(self, project: Project, ground: Ground, criteria: Mapping[str, Sequence[Criterion]]) -> None:
        tide = project.settings.tide
        self.lowest = lowest_tide_m(project)
        self.least_work = tide.least_work_depth_m if tide else None
        self.limits = _limits(project)
        self.reader = FieldReader(project, ground, criteria, slope=self.limits.greatest_slope_deg is not None)
        self.halo = self.reader.halo
        self.inputs = dict(self.reader.inputs)
        for name in ("protected", "no_permit", "area", "keep_clear"):
            if name in ground.layers:
                self.inputs[name] = Input(raster(project, name), 0)

    def __call__(
        self, arrays: Mapping[str, NDArray[Any]], block: Block
    ) -> tuple[dict[str, NDArray[Any]], dict[int, NDArray[np.bool_]]]:
        """Return field name -> values, and exclusion code -> where it holds, of the block without its halo."""
        fields = self.reader(arrays, block)
        masks: dict[int, NDArray[np.bool_]] = {}
        if "area" in arrays:
            masks[OUTSIDE] = arrays["area"][block.core] == 0
        if "protected" in arrays:
            rules = arrays["protected"][block.core]
            masks[FORBIDDEN] = rules == RULE_CODES["forbidden"]
            masks[NO_PERMIT] = arrays["no_permit"][block.core] != 0
        if "keep_clear" in arrays:
            masks[KEEP_CLEAR] = arrays["keep_clear"][block.core] != 0
        if self.lowest is not None and self.least_work is not None:
            masks[UNWORKABLE] = ~workable(fields["depth_m"], self.lowest, self.least_work)
        return fields, masks


def _limits(project: Project) -> Limits:
    wanted = project.settings.exclusions
    codes = substrate_codes()
    with_faults = [name for name in wanted.substrate if name not in codes]
    if with_faults:
        raise InputFault(
            *[
                Fault("exclusions.substrate", repr(n), "one of " + ", ".join(sorted(codes)), "Correct the class name.")
                for n in with_faults
            ]
        )
    return Limits(
        wanted.least_depth_m,
        wanted.greatest_depth_m,
        wanted.greatest_slope_deg,
        frozenset(codes[n] for n in wanted.substrate),
        wanted.unknown_substrate and project.settings.layers.substrate is not None,
    )
