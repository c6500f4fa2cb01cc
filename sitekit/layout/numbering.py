"""The only maker of plot names, sequence numbers and tags.

A plot is named by its site's code and a number in visiting order; units count through a site in the order divers
swim; tags come from the list on hand. A number or tag found in the records is never given again. Nothing here looks at
a clock or at an earlier run: the same plan and records give the same numbers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.errors import Fault, Faults, InputFault
from sitekit.layout.routes import ring_order, swim_order, visiting_order

Ints = NDArray[np.int64]

TAGGING = ("all", "share", "plot")
# Online practitioner course page on monitoring transplanted corals: tag 5 to 20 % of outplants (trade value TV-109).
TAG_SHARE = 0.2


@dataclass(frozen=True)
class Used:
    """Numbers of one site that stand in the records and are not given again.

    Parameters
    ----------
    plots : collection of str
        Plot names.
    sequences : collection of int
        Sequence numbers.
    """

    plots: frozenset[str] = frozenset()
    sequences: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Numbers:
    """Names and numbers of one site.

    Parameters
    ----------
    plot_order : ndarray of int64
        Plots in visiting order.
    plot_names : tuple of str
        Name of each plot, in the order the plots were given.
    unit_order : ndarray of int64
        Units in the order of their numbers.
    sequence : ndarray of int64
        Sequence number of each unit, in the order the units were given.
    """

    plot_order: Ints
    plot_names: tuple[str, ...]
    unit_order: Ints
    sequence: Ints


def plot_name(site: str, number: int) -> str:
    """Return the name of a plot, e.g. `WS-03`: site code, hyphen, number of at least two digits."""
    return f"{site}-{number:02d}"


def number_site(
    site: str,
    plot_x_m: ArrayLike,
    plot_y_m: ArrayLike,
    *,
    plot_of: ArrayLike,
    along_m: ArrayLike,
    offset_m: ArrayLike,
    spacing_m: float,
    angle_deg: ArrayLike | None = None,
    start: tuple[float, float] | None = None,
    used: Used | None = None,
    kept_names: Mapping[int, str] | None = None,
) -> Numbers:
    """Name the plots of one site and number its units.

    Parameters
    ----------
    site : str
        Site code.
    plot_x_m, plot_y_m : array_like, shape (plots,)
        Middle of each plot [m].
    plot_of : array_like of int, shape (units,)
        Plot of each unit, from 0.
    along_m, offset_m : array_like, shape (units,)
        Readings [m].
    spacing_m : float
        Planned separation, or the width of a lane [m], > 0.
    angle_deg : array_like, optional
        For circles: degrees from the radius line; NaN for units of rectangles.
    start : tuple of float, optional
        Where the way begins, e.g. a mooring [m].
    used : Used, optional
        What the records hold for this site; new numbers begin above the highest of them.
    kept_names : mapping of int to str, optional
        Plots (by place in the input) whose name stands on the bottom already, from as-set pins.

    Returns
    -------
    Numbers
        Plot numbers 1, 2, … in visiting order, sequence numbers 1, 2, … plot by plot in swim order.

    Raises
    ------
    InputFault
        If a kept name is given twice, or a unit's plot does not exist.
    """
    used, kept = used or Used(), dict(kept_names or {})
    x, y = np.asarray(plot_x_m, np.float64), np.asarray(plot_y_m, np.float64)
    member = np.asarray(plot_of, np.int64)
    along, offset = np.asarray(along_m, np.float64), np.asarray(offset_m, np.float64)
    angle = np.full(member.size, np.nan) if angle_deg is None else np.asarray(angle_deg, np.float64)
    with Faults() as faults:
        for name in sorted({n for n in kept.values() if list(kept.values()).count(n) > 1}):
            faults.add(f"site {site}", f"two plots are named {name!r}", "each name once", "Correct the records.")
        if member.size and (member.min() < 0 or member.max() >= x.size):
            came = f"units of plots {int(member.min())} to {int(member.max())}"
            faults.add(f"site {site}", came, f"plots 0 to {x.size - 1}", "Give each unit its plot.")
    order = visiting_order(x, y, start=start)
    taken = {_number_of(site, n) for n in (*used.plots, *kept.values())}
    names, fresh = [""] * x.size, max(taken, default=0)
    for k in order.tolist():
        if k in kept:
            names[k] = kept[k]
        else:
            fresh += 1
            names[k] = plot_name(site, fresh)
    by_plot = np.argsort(member, kind="stable")
    bounds = np.searchsorted(member[by_plot], np.arange(x.size + 1))
    parts = []
    for k in order.tolist():
        mine = by_plot[bounds[k] : bounds[k + 1]]
        if np.isfinite(angle[mine]).all() and mine.size:
            parts.append(mine[ring_order(along[mine], angle[mine])])
        else:
            parts.append(mine[swim_order(along[mine], offset[mine], spacing_m=spacing_m)])
    units = np.concatenate(parts) if parts else np.zeros(0, np.int64)
    first = max(used.sequences, default=0) + 1
    sequence = np.zeros(member.size, np.int64)
    sequence[units] = np.arange(first, first + units.size)
    return Numbers(order, tuple(names), units.astype(np.int64), sequence)


@dataclass(frozen=True)
class Tags:
    """Physical tags given out.

    Parameters
    ----------
    units : tuple of str
        Tag of each unit, empty where none is planned or left.
    plots : mapping of str to str
        Tag of each plot, where plots are tagged.
    short : int
        Tags that were wanted and are not on hand.
    """

    units: tuple[str, ...]
    plots: Mapping[str, str] = field(default_factory=dict)
    short: int = 0


def give_tags(
    plots: Sequence[str],
    on_hand: Sequence[str],
    *,
    tagging: str = "all",
    share: float = TAG_SHARE,
    used: Iterable[str] = (),
) -> Tags:
    """Give tags from a list on hand, in the list's order.

    Parameters
    ----------
    plots : sequence of str
        Plot name of each unit, units in the order of their sequence numbers, site after site.
    on_hand : sequence of str
        Tags as printed on them; text, `007` stays `007`.
    tagging : str
        `all`: every unit; `share`: evenly through each plot, at least one; `plot`: one per plot, none per unit.
    share : float
        Share of units tagged when tagging is `share`, above 0 to 1.
    used : iterable of str
        Tags found in the records; passed over.

    Returns
    -------
    Tags
        In the order of the units; if the list runs out the last units stay without, and `short` says how many.

    Raises
    ------
    InputFault
        If a tag stands twice in the list or is empty, or tagging or share is not one of those.
    """
    gone = set(used)
    with Faults() as faults:
        if tagging not in TAGGING:
            faults.add("stock.tagging", repr(tagging), ", ".join(TAGGING), "Use one of these words.")
        if not 0 < share <= 1:
            faults.add("stock.tag_share", f"{share}", "above 0 to 1", "Give a share, not percent.")
        seen: dict[str, int] = {}
        for place, tag in enumerate(on_hand, start=1):
            if not tag.strip():
                faults.add(f"tag list, entry {place}", "empty", "a tag", "Delete the entry.")
            elif tag in seen:
                faults.add(
                    f"tag list, entry {place}",
                    f"{tag!r} stands in entry {seen[tag]} too",
                    "each tag once",
                    "Delete one.",
                )
            seen.setdefault(tag, place)
    free = [tag for tag in on_hand if tag not in gone]
    if tagging == "plot":
        names = list(dict.fromkeys(plots))
        given = dict(zip(names, free, strict=False))
        return Tags(("",) * len(plots), given, max(0, len(names) - len(free)))
    wanted = [True] * len(plots) if tagging == "all" else _evenly(plots, share)
    units, stock, short = [], iter(free), 0
    for want in wanted:
        tag = next(stock, "") if want else ""
        short += int(want and not tag)
        units.append(tag)
    return Tags(tuple(units), {}, short)


def used_tags_fault(planned: Iterable[str], recorded: Iterable[str]) -> None:
    """Refuse a plan that gives out a tag that stands in the records.

    Parameters
    ----------
    planned, recorded : iterable of str
        Tags; empty ones are ignored.

    Raises
    ------
    InputFault
        Naming each such tag.
    """
    twice = sorted({t for t in planned if t} & {t for t in recorded if t})
    if twice:
        came = f"{', '.join(twice)} in the plan and in the records"
        raise InputFault(Fault("tags", came, "tags never used before", "Take them off the list of tags on hand."))


def _number_of(site: str, name: str) -> int:
    found = re.fullmatch(re.escape(site) + r"-(\d+)", name)
    return int(found.group(1)) if found else 0


def _evenly(plots: Sequence[str], share: float) -> list[bool]:
    """Mark a share of each plot's units, evenly spread through their order, at least one."""
    held: dict[str, list[int]] = {}
    for unit, name in enumerate(plots):
        held.setdefault(name, []).append(unit)
    out = [False] * len(plots)
    for units in held.values():
        number = max(1, math.ceil(share * len(units) - 1e-9))
        for m in range(number):
            out[units[(2 * m + 1) * len(units) // (2 * number)]] = True
    return out
