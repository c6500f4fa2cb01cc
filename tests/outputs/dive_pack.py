"""A diver's pack made by hand, without any code of the layout: the tests' own."""

from __future__ import annotations

from typing import Any

import pandas as pd
import shapely

from sitekit.outputs.dive_pdf.scene import About, DayPack, DivePack, PlotPages, Segment, SiteView, Unit

ABOUT = About(
    "Test reef", "2026-04-15", "0badcafe", True, ("Planning aid only: not a permit.",),
    "Planning aid only: dive supervisor, team tables and local rules decide.", 5.0, 0.2,
)  # fmt: skip


def facts(plot: str = "OT-01", **more: Any) -> dict[str, Any]:
    return {
        "plot": plot, "order": 1, "site": plot.split("-", maxsplit=1)[0], "kind": "exact", "species": "ACER",
        "longitude_deg": -50.296100574, "latitude_deg": 18.048697915, "second_longitude_deg": -50.29595,
        "second_latitude_deg": 18.04861, "bearing_true_deg": 120.0, "bearing_magnetic_deg": 135.0,
        "declination_deg": -16.02, "declination_error_deg": 0.32, "bearing_date": "2026-05-04",
        "bearing_note": "WMM2025", "tape_m": 18.0, "depth_min_m": 9.1, "depth_max_m": 9.91, "datum": "MLLW",
        "depth_error_m": 0.3, "tide_low_m": 0.09, "tide_high_m": 0.44, "tide_depth_min_m": 9.19,
        "tide_depth_max_m": 10.35, "tide_note": "07:00–11:22 on the planned day", "dates": "2026-05-04",
        "numbers": "1–28", "pins_as_set": None, **more,
    }  # fmt: skip


def units(number: int, first: int = 1) -> tuple[Unit, ...]:
    """Two lanes, four from 29 units on, at most 18 m along."""
    lanes = (0.7, -0.6) if number <= 28 else (0.6, -0.6, 1.8, -1.8)
    return tuple(
        Unit(first + i, "ABCDEFGHJK"[i % 10], f"g{i % 10}", "ACER", f"{first + i:04d}",
             min(18.0, round(1.2 * (i // len(lanes)), 1)), lanes[i % len(lanes)])
        for i in range(number)
    )  # fmt: skip


def plot(name: str = "OT-01", number: int = 28, **more: Any) -> PlotPages:
    stretches = (Segment(0.0, 3.0, {"A": 2, "B": 1}), Segment(3.0, 6.0, {"C": 12, "AA": 3, "D": 1}))
    return PlotPages(facts(name, **more), "Outer Terrace", False, 4.0, units(number), stretches, 1.2)


def circle(name: str = "OT-09") -> PlotPages:
    own = tuple(Unit(i + 1, "A", "g", "ACER", "", 1.2 * (1 + i // 6), 0.0, float(60 * (i % 6))) for i in range(18))
    return PlotPages(facts(name, tape_m=5.0, numbers="1–18"), "Outer Terrace", True, 10.0, own)


def waypoints(number: int = 3) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "order": k + 1, "name": f"OT{k + 1:02d}{'AB'[p - 1]}", "plot": f"OT-{k + 1:02d}", "pin": p,
                "as_set": False, "longitude_deg": -50.2961 + 3e-4 * k, "latitude_deg": 18.0487 - 2e-4 * k,
                "leg_m": 40.0 if p == 1 else None, "leg_true_deg": 80.0, "leg_magnetic_deg": 96.0,
                "leg_from": "Harbour", "depth_min_m": 9.0, "depth_max_m": 9.9, "lee": "248–292°",
            }
            for k in range(number)
            for p in (1, 2)
        ]
    )  # fmt: skip


def site(*plots: str, name: str = "Outer Terrace") -> SiteView:
    rows = tuple(
        (p, shapely.box(30.0 * k, 0.0, 30.0 * k + 18.0, 4.0), (30.0 * k, 2.0), (30.0 * k + 18.0, 2.0), k + 1)
        for k, p in enumerate(plots)
    )
    return SiteView("OT", name, rows, ("2 plots", "Planned: 2026-05-04"))


def pack(*plots: PlotPages, paper: str = "half letter", **more: Any) -> DivePack:
    own = plots or (plot(), plot("OT-02", 64))
    given = {
        "about": ABOUT, "paper": paper, "plots": own, "sites": (site(*(p.name for p in own)),),
        "waypoints": waypoints(len(own)),
        "letters": tuple((c, "ACER", f"g{k}") for k, c in enumerate("ABCDEFGHJK")),
        "tasks": ("Find pin A.", "Photograph with a scale."), "notes": ("Table: US Navy.",), **more,
    }  # fmt: skip
    return DivePack(**given)


def day_pack(**more: Any) -> DayPack:
    days = pd.DataFrame(
        [
            {
                "day": 1, "date": "2026-05-04", "sites": "OT", "plots": "OT-01, OT-02", "dives": 2, "divers": 4,
                "cylinders": 4, "units": 20, "fragments": 20, "spares": 2, "tags": 20, "adhesive_ml": 552.0,
                "leave": "07:00", "back": "11:22", "boat_min": 262.0, "first_out": "07:12", "last_attached": "11:03",
                "clock_min": 231.0, "tide_low_m": 0.09, "tide_high_m": 0.44, "tide_window": None,
                "limits": "wind at most 9 m/s (17 kn)", "alternates": "OT not in the lee of wind from 000°: none",
                "note": None,
            }
        ]
    )  # fmt: skip
    dives = pd.DataFrame(
        [
            {
                "dive": f"D01-{r}{p}", "day": 1, "date": "2026-05-04", "round": 1, "pair": p, "kind": k, "site": s,
                "plot": t, "numbers": n, "units": 10, "fragments": 22, "depth_m": 12.4, "first_of_day": f,
                "gas_min": 32.0, "table_row_ft": 50.0 if f else None, "table_min": 92.0 if f else None,
                "supervisor_min": 45.0, "allowed_min": 32.0, "limited_by": "gas", "bottom_min": 32.0, "work_min": 25.0,
                "gas_used": 64.2, "gas_unit": "ft³", "turn_pressure": 900.0, "pressure_unit": "psi", "start": "08:48",
                "end": "09:26", "note": None if f else "later dive: no table read; the supervisor decides",
            }
            for r, p, k, s, t, n, f in (
                ("H", "A", "harvest", "nursery", None, None, True), (1, "A", "plant", "OT", "OT-01", "1–10", False)
            )
        ]
    )  # fmt: skip
    pulls = pd.DataFrame(
        [
            {"day": 1, "date": "2026-05-04", "structure": f"tree {k}", "species": "ACER", "genet": f"g{k}",
             "letter": "ABCD"[k], "take": 5, "spare": k % 2, "crate": "SPARE" if k % 2 else "OT-01/1"}
            for k in range(4)
        ]
    )  # fmt: skip
    crates = pd.DataFrame(
        [{"day": 1, "date": "2026-05-04", "crate": "OT-01/1", "plot": "OT-01", "numbers": "1–20", "fragments": 20}]
    )
    materials = pd.DataFrame(
        [{"day": d, "item": "tags", "number": 22.0, "unit": None, "note": "20 + 10 % spare"} for d in (1, None)]
    )
    leftovers = pd.DataFrame(
        [
            {
                "structure": "tree 1",
                "species": "ACER",
                "genet": "g1",
                "ready": 40,
                "planted": 0,
                "pulled": 5,
                "spare": 1,
                "left": 34,
            }
        ]
    )
    given = {
        "about": ABOUT, "paper": "letter", "days": days, "dives": dives, "pull_list": pulls, "crates": crates,
        "leftovers": leftovers, "materials": materials, "notes": ("Gas: 80.",), **more,
    }  # fmt: skip
    return DayPack(**given)
