"""How well each cell suits each criterion: the responses behind the scores, for looking at them one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.layers.blocks import in_order
from sitekit.layers.tiled import TILE, Block, Reader
from sitekit.pipeline.fields import FieldReader, Ground
from sitekit.pipeline.project import Project
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import Curve, response
from sitekit.suitability.score import combine


@dataclass(frozen=True)
class Shared:
    """A field and a curve, with the criteria that read them.

    Parameters
    ----------
    field : str
        Name of the field.
    curve : Curve
        Value to response.
    users : tuple of (species code, criterion name)
        Every criterion with this field and curve.
    """

    field: str
    curve: Curve
    users: tuple[tuple[str, str], ...]


def shared(criteria: Mapping[str, Sequence[Criterion]]) -> list[Shared]:
    """Return each pair of field and curve once, in the order in which species and criteria name them."""
    found: dict[tuple[str, Any], tuple[Curve, list[tuple[str, str]]]] = {}
    for code, rows in criteria.items():
        for one in rows:
            key = (one.field, repr(one.curve))  # text: classes that are not judged hold NaN, which equals nothing
            found.setdefault(key, (one.curve, []))[1].append((code, one.name))
    return [Shared(field, curve, tuple(users)) for (field, _), (curve, users) in found.items()]


def responses(
    project: Project,
    ground: Ground,
    criteria: Mapping[str, Sequence[Criterion]],
    *,
    step: int = 1,
    into: Callable[[NDArray[np.float64]], NDArray[Any]] | None = None,
    dtype: str = "float32",
) -> tuple[list[Shared], NDArray[Any]]:
    """Return the responses of every criterion in every cell.

    Parameters
    ----------
    project, ground
        With the layers stage done.
    criteria : mapping of species code to list of Criterion
        Of the plan.
    step : int
        Keep every `step`-th row and column only, beginning at half a step.
    into : callable, optional
        Turns responses in 64 bits (0–1, NaN unknown) into what is kept; without it they are kept in 32 bits, worked out by
        the score's own kernel, which a run has compiled already.
    dtype : str
        Of what is kept.

    Returns
    -------
    list of Shared
        What each plane shows.
    array, shape (planes, rows // step, columns // step)
        Responses.
    """
    planes = shared(criteria)
    rows, cols = (max(n // step, 1) for n in ground.grid.shape)
    out = np.zeros((len(planes), rows, cols), dtype=dtype)
    reader = FieldReader(project, ground, criteria, slope=False)

    def work(block: Block) -> None:
        fields = reader({name: source.read(block) for name, source in readers.items()}, block)
        first = [(-(at - step // 2)) % step for at in (block.row, block.col)]
        target = [(at + k) // step for at, k in zip((block.row, block.col), first, strict=True)]
        for k, one in enumerate(planes):
            values = fields[one.field][first[0] :: step, first[1] :: step]
            kept = _alone(one.curve, values) if into is None else into(response(one.curve, values))
            room = out[k, target[0] : target[0] + kept.shape[0], target[1] : target[1] + kept.shape[1]]
            room[...] = kept[: room.shape[0], : room.shape[1]]

    with ExitStack() as stack:
        readers = {n: stack.enter_context(Reader(n, source, ground.grid)) for n, source in reader.inputs.items()}
        blocks = (Block(*tile, reader.halo) for tile in ground.grid.tiles(TILE))
        for _ in in_order(work, blocks, project.machine.threads):
            pass
    return planes, out


def _alone(curve: Curve, values: NDArray[Any]) -> NDArray[np.float32]:
    """Return responses as the score of a single criterion: the lowest of one response is that response."""
    return combine(
        np.asarray(values, dtype=np.float32)[None],
        [curve],
        [1.0],
        exclusion=np.zeros(values.shape, np.uint8),
        method="lowest",
        max_unknown_weight=1.0,
    ).score
