"""Adhesive by method and contact points, batches within the working time, nails, ties, tags, tapes, floats, spares."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sitekit.errors import Faults


@dataclass(frozen=True)
class Method:
    """How units are attached; all figures are the team's or the product sheet's.

    Parameters
    ----------
    name : str
        E.g. cement, nail and tie.
    minutes_per_unit : float
        Of a pair, preparing the spot included [min], > 0.
    contact_points : int
        Spots of adhesive per unit. Common practice, no source: three for branching staghorn, one bed for elkhorn on
        a tile.
    adhesive_ml_per_point : float
        [mL], 0 without adhesive.
    working_min, cure_min : float, optional
        From mixing to too stiff, and to set, by the product sheet [min]. About 45 min to cure is common practice
        without a source: there is no default.
    nails_per_unit, ties_per_unit : int
        Pieces.
    """

    name: str
    minutes_per_unit: float
    contact_points: int = 0
    adhesive_ml_per_point: float = 0.0
    working_min: float | None = None
    cure_min: float | None = None
    nails_per_unit: int = 0
    ties_per_unit: int = 0

    def __post_init__(self) -> None:
        where = f"fieldwork.methods.{self.name}"
        with Faults() as faults:
            if not (math.isfinite(self.minutes_per_unit) and self.minutes_per_unit > 0):
                faults.add(where, f"minutes_per_unit {self.minutes_per_unit}", "above 0", "See the team's own logs.")
            if self.adhesive_ml_per_point > 0 and self.working_min is None:
                faults.add(where, "adhesive without working_min", "minutes", "See the product sheet; no default.")
            if self.adhesive_ml_per_point > 0 and self.contact_points < 1:
                faults.add(where, "adhesive without contact_points", "1 or more", "Count the spots per unit.")

    @property
    def adhesive_ml_per_unit(self) -> float:
        """Adhesive for one unit [mL]."""
        return self.contact_points * self.adhesive_ml_per_point

    @property
    def units_per_batch(self) -> int | None:
        """Most units stuck with one mix before it stiffens; None without adhesive."""
        if self.adhesive_ml_per_unit <= 0 or self.working_min is None:
            return None
        return math.floor(self.working_min / self.minutes_per_unit + 1e-9)


@dataclass(frozen=True)
class Item:
    """One line of a materials list."""

    item: str
    number: float
    unit: str
    note: str = ""


def materials(
    units: Mapping[str, int],
    methods: Mapping[str, Method],
    *,
    tags: int,
    plots: int,
    pairs: int,
    pins_per_plot: int = 2,
    floats_per_plot: int = 0,
    waste_pct: float = 0.0,
    spare_pct: float = 0.0,
) -> list[Item]:
    """Return what to bring for a number of units.

    Parameters
    ----------
    units : mapping of str to int
        Units per method.
    methods : mapping of str to Method
        By name.
    tags, plots, pairs : int
        Tags planned, plots worked on, pairs that dive.
    pins_per_plot, floats_per_plot : int
        Pieces per plot.
    waste_pct : float
        Added to adhesive [%], ≥ 0.
    spare_pct : float
        Added to pieces [%], ≥ 0, rounded up.

    Raises
    ------
    InputFault
        If a method is not described, a share is negative, or one batch stiffens before one unit is attached.
    """
    with Faults() as faults:
        for name in units:
            if name not in methods:
                faults.add("fieldwork.attach", repr(name), ", ".join(methods), "Describe it in fieldwork.methods.")
            elif methods[name].units_per_batch == 0:
                came = f"{methods[name].working_min:g} min of working time"
                due = f"at least the {methods[name].minutes_per_unit:g} min of one unit"
                faults.add(f"fieldwork.methods.{name}", came, due, "Use a slower product, or check the product sheet.")
        for key, value in (("waste_pct", waste_pct), ("spare_pct", spare_pct)):
            if not value >= 0:
                faults.add(f"fieldwork.{key}", f"{value} %", "0 or more", "Correct it.")
    spare = 1.0 + spare_pct / 100.0
    out: list[Item] = []
    nails = ties = 0
    for name, number in units.items():
        method = methods[name]
        nails += number * method.nails_per_unit
        ties += number * method.ties_per_unit
        most = method.units_per_batch
        if most is None or number == 0:
            continue
        ml = number * method.adhesive_ml_per_unit * (1.0 + waste_pct / 100.0)
        batch_ml = min(most, number) * method.adhesive_ml_per_unit * (1.0 + waste_pct / 100.0)
        note = (
            f"{number} units × {method.contact_points} points × {method.adhesive_ml_per_point:g} mL"
            + (f" + {waste_pct:g} % waste" if waste_pct else "")
            + f"; mix at most {batch_ml:.0f} mL for {min(most, number)} units at a time "
            + f"(working time {method.working_min:g} min)"
        )
        if method.cure_min is not None:
            note += f"; leave alone for {method.cure_min:g} min"
        out.append(Item(f"adhesive for {name}", math.ceil(ml - 1e-9), "mL", note))
        out.append(Item(f"batches of {name}", math.ceil(number / most), "", ""))
    for item, number in (("nails", nails), ("ties", ties), ("tags", tags)):
        if number:
            out.append(_pieces(item, number, spare, spare_pct))
    out.append(Item("tapes", pairs + 1, "", "one per pair and one spare"))
    if plots * pins_per_plot:
        out.append(_pieces("pins", plots * pins_per_plot, spare, spare_pct))
    if plots * floats_per_plot:
        out.append(_pieces("floats", plots * floats_per_plot, spare, spare_pct))
    return out


def _pieces(item: str, number: int, spare: float, spare_pct: float) -> Item:
    return Item(item, math.ceil(number * spare - 1e-9), "", f"{number} + {spare_pct:g} % spare" if spare_pct else "")
