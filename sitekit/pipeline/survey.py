"""Stage: units as planted beside the plan, what lives of them, and when to look again."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.tables import build
from sitekit.errors import Fault
from sitekit.pipeline.bottoms import planned_separation
from sitekit.pipeline.fields import Ground, read_ground
from sitekit.pipeline.planted import SAME_PLACE_M, drawn_places, planted_units
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.set_pins import RECORDS, pin_errors
from sitekit.pipeline.surveyed import looks
from sitekit.survey.curves import interval_at, log_rank, share_at, survival_curve
from sitekit.survey.histories import Histories, unit_histories
from sitekit.survey.schedule import due_dates
from sitekit.survey.shares import share_interval

YEAR_DAYS = 365
NOT_SEEN = "planted"  # state of a unit that nobody has looked at since
GROUPS = ("species", "genet", "site", "plot")


def run(project: Project, run_id: str) -> Done:
    """Write the tables `as_planted`, `survival` and `visits`."""
    tables = project.season()
    ground = read_ground(project)
    crs = ground.grid.crs
    units = planted_units(project)
    if not len(units):
        for name in ("as_planted", "survival", "visits"):
            tables[name] = build(name, [], [] if name == "as_planted" else None, crs)
        project.write_season(tables, crs)
        return Done(["season.gpkg"], {"planted": 0, "notes": []})
    seen, former = _since_planting(units, looks(project))
    colonies = gpd.GeoDataFrame(tables["colonies"])
    drawn = drawn_places(project, units, colonies, gpd.GeoDataFrame(tables["plots"]))
    rows, points = _as_planted(_with_errors(project, units, drawn), seen, drawn, crs)
    tables["as_planted"] = build("as_planted", rows, points, crs)
    histories = _histories(project, units, seen)
    tables["survival"] = build("survival", list(_survival(pd.DataFrame(rows), histories)))
    tables["visits"] = build("visits", _visits(project, pd.DataFrame(rows), seen))
    project.write_season(tables, crs)
    planted = gpd.GeoDataFrame(tables["as_planted"])
    figures = {
        "planted": len(units),
        "this_season": int((units["season"] == "this").sum()),
        "as_drawn": len(drawn),
        "planned": len(colonies),
        "looked_at_before": former,
        "looked_at": int((planted["state"] != NOT_SEEN).sum()),
        "nearest_m": _nearest(planted),
        "planned_m": min(planned_separation(project, ground, s.code) for s in project.settings.species),
        "compared": _compared(pd.DataFrame(rows), histories),
        "counts": histories.counts(),
        "missing": project.settings.survey.missing,
        "notes": [],
    }
    return Done(["season.gpkg"], figures, [*_stray(planted), *_too_near(project, ground, planted, colonies)])


def _as_planted(
    units: pd.DataFrame, seen: pd.DataFrame, drawn: dict[tuple[str, int], tuple[float, float]], crs: Any
) -> tuple[list[dict[str, Any]], list[Any]]:
    """Rows of the table and their points: where the plan draws a unit today, else where it was recorded."""
    last = {(str(r["site"]), int(r["sequence"])): r for r in seen.to_dict("records")}  # rows come by day
    x, y = transform_points(units["longitude_deg"], units["latitude_deg"], WGS84, crs)
    rows, points = [], []
    for unit, east, north in zip(units.to_dict("records"), x, y, strict=True):
        key = (str(unit["site"]), int(unit["sequence"]))
        place = drawn.get(key, (float(east), float(north)))
        lon, lat = transform_points([place[0]], [place[1]], crs, WGS84)
        look = last.get(key)
        days = None if look is None else (_day(look["date"]) - _day(unit["date"])).days
        copied = ("site", "plot", "sequence", "tag", "species", "genet", "fragments", "season", "along_m", "offset_m",
                  "angle_deg", "depth_m", "error_m")  # fmt: skip
        rows.append(
            {
                **{name: unit[name] for name in copied},
                "planted": unit["date"],
                "as_drawn": key in drawn,
                "longitude_deg": float(lon[0]),
                "latitude_deg": float(lat[0]),
                "state": NOT_SEEN if look is None else look["state"],
                "seen": None if look is None else look["date"],
                "days": days,
                "live_pct": None if look is None else look["live_pct"],
                "cause": None if look is None else look["cause"],
            }
        )
        points.append(shapely.Point(place))
    return rows, points


def _with_errors(
    project: Project, units: pd.DataFrame, drawn: dict[tuple[str, int], tuple[float, float]]
) -> pd.DataFrame:
    """Units that follow their pins have the error of the pins as last measured, not of the day they were recorded."""
    errors = pin_errors(project.folder)
    rows = units[["site", "sequence", "plot", "pin_error_m", "laid_error_m"]].itertuples(index=False)
    return units.assign(
        error_m=[(errors[p] if (s, n) in drawn and p in errors else pin) + laid for s, n, p, pin, laid in rows]
    )


def _since_planting(units: pd.DataFrame, seen: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Looks from the day on which what stands was planted, and how many units have earlier ones.

    A number planted anew begins anew; so does one whose date was corrected to a later day.
    """
    start = {(s, n): d for s, n, d in units[["site", "sequence", "date"]].itertuples(index=False)}
    keys = list(zip(seen["site"], seen["sequence"], strict=True))
    early = [d < start.get(k, "") for k, d in zip(keys, seen["date"], strict=True)]
    return seen[~np.array(early, bool)], len({k for k, e in zip(keys, early, strict=True) if e})


def _day(text: Any) -> datetime.date:
    return datetime.date.fromisoformat(str(text))


def _histories(project: Project, units: pd.DataFrame, seen: pd.DataFrame) -> Histories:
    """One history per unit, in the order of the units."""
    columns = ["site", "sequence", "date"]
    planted = [(f"{s} {n}", _day(d)) for s, n, d in units[columns].itertuples(index=False)]
    visits = [(f"{s} {n}", _day(d), str(state)) for s, n, d, state in seen[[*columns, "state"]].itertuples(index=False)]
    known = {unit for unit, _ in planted}  # looks at units that were taken back say nothing
    return unit_histories(planted, [v for v in visits if v[0] in known], missing=project.settings.survey.missing)


def _groups(rows: pd.DataFrame) -> Iterator[tuple[str, str, Any]]:
    yield "all", "all units", np.ones(len(rows), bool)
    for of in GROUPS:
        names = rows["species"] + " " + rows["genet"] if of == "genet" else rows[of]  # genet names may repeat
        for name in sorted(set(names)):
            yield of, str(name), (names == name).to_numpy(bool)


def _survival(rows: pd.DataFrame, histories: Histories) -> Iterator[dict[str, Any]]:
    for of, name, mask in _groups(rows):
        own, followed = rows[mask], histories.part(mask)
        states = own["state"].value_counts()
        looked_at = int((own["state"] != NOT_SEEN).sum())
        row: dict[str, Any] = {"of": of, "name": name, "planted": len(own), "looked_at": looked_at}
        row |= {state: int(states.get(state, 0)) for state in ("alive", "dead", "missing")}
        if looked_at:
            low, high = share_interval(row["alive"], looked_at)
            row |= {
                "alive_pct": 100.0 * row["alive"] / looked_at,
                "alive_low_pct": 100 * low,
                "alive_high_pct": 100 * high,
            }
            row |= _curve_figures(followed)
        live = own["live_pct"][own["state"] == "alive"].dropna()
        row["live_pct"] = float(live.mean()) if len(live) else None
        yield row


def _curve_figures(followed: Histories) -> dict[str, Any]:
    watched = followed.part(~followed.never_seen)
    if not watched.days.size:
        return {}
    curve = survival_curve(watched.days, watched.died)
    last = float(watched.days.max())
    low, high = interval_at(curve, last)
    year = share_at(curve, YEAR_DAYS)
    return {
        "days": int(last),
        "survival_pct": 100.0 * share_at(curve, last),
        "survival_low_pct": 100.0 * low if np.isfinite(low) else None,
        "survival_high_pct": 100.0 * high if np.isfinite(high) else None,
        "year_pct": 100.0 * year if np.isfinite(year) else None,
    }


def _visits(project: Project, rows: pd.DataFrame, seen: pd.DataFrame) -> list[dict[str, Any]]:
    """When each plot is due: a row per visit and day of planting."""
    setting = project.settings.survey
    last = {(str(s), int(n)): str(d) for s, n, d in seen[["site", "sequence", "date"]].itertuples(index=False)}
    standing = rows[rows["state"].isin([NOT_SEEN, "alive", "missing"])]
    out = []
    for (site, plot, planted), part in standing.groupby(["site", "plot", "planted"], sort=True):
        looks_of = [last.get((str(s), int(n)), "") for s, n in zip(part["site"], part["sequence"], strict=True)]
        early = (setting.early_days[0], setting.early_days[1])
        out += [
            {
                "site": str(site),
                "plot": str(plot),
                "visit": due.label,
                "first": due.first.isoformat(),
                "last": due.last.isoformat(),
                "units": len(part),
                "done": sum(day >= due.first.isoformat() for day in looks_of),
            }
            for due in due_dates(_day(planted), months=setting.months, early_days=early)
        ]
    return sorted(out, key=lambda r: (r["first"], r["plot"]))


def _nearest(planted: gpd.GeoDataFrame) -> float | None:
    """Least distance between two units that stand [m]."""
    standing = planted[planted["state"] != "dead"]
    if len(standing) < 2:
        return None
    xy = np.column_stack([standing.geometry.x, standing.geometry.y])
    return float(cKDTree(xy).query(xy, k=2)[0][:, 1].min())


def _compared(rows: pd.DataFrame, histories: Histories) -> list[dict[str, Any]]:
    """Whether groups live alike, by the log-rank test over all groups of a kind that were looked at."""
    out = []
    for of in ("species", "genet", "site"):
        groups = {
            name: (watched.days, watched.died)
            for kind, name, mask in _groups(rows)
            if kind == of
            for watched in [histories.part(mask & ~histories.never_seen)]
            if watched.days.size
        }
        if len(groups) < 2 or not any(died.any() for _, died in groups.values()):
            continue
        test = log_rank(groups)
        due = np.fromiter(test.expected.values(), np.float64)
        enough = bool((due >= 1.0).all() and (due >= 5.0).mean() >= 0.8)  # Cochran's rule [source key: cochran-1954]
        out.append(
            {
                "of": of,
                "groups": len(groups),
                "chi2": test.chi2
                if test.degrees
                else None,  # of units that all died at one visit nothing is told apart
                "degrees": test.degrees,
                "p": test.p if enough and test.degrees else None,
            }
        )
    return out


def _stray(planted: gpd.GeoDataFrame) -> list[Fault]:
    """Units of this season that the plan no longer draws where they stand, one fault per plot."""
    off = planted[(planted["season"] == "this") & ~planted["as_drawn"].astype(bool)]
    return [
        Fault(
            f"{RECORDS}, plot {plot}",
            f"{len(part)} units were planted where this plan draws none of the same number, species and reading",
            f"the units of the plan they were planted after, within {SAME_PLACE_M:g} m",
            "The plan has changed since. Name the plots and colonies of that day in [plots] and [colonies], or set "
            "survey.season_from if they are an earlier season's.",
        )
        for plot, part in off.groupby("plot", sort=True)
    ]


def _too_near(project: Project, ground: Ground, planted: gpd.GeoDataFrame, colonies: gpd.GeoDataFrame) -> list[Fault]:
    """Units still to be planted that would stand too near to units that stand outside the plan."""
    standing = planted[~planted["as_drawn"].astype(bool) & planted["state"].isin([NOT_SEEN, "alive"])]
    drawn = planted[planted["as_drawn"].astype(bool)]
    done = set(zip(drawn["site"], drawn["sequence"], strict=True))
    keys = list(zip(colonies["site"], colonies["sequence"], strict=True))
    left = colonies[[k not in done for k in keys]] if len(colonies) else colonies
    if not len(standing) or not len(left):
        return []
    tree = cKDTree(np.column_stack([standing.geometry.x, standing.geometry.y]))
    away = tree.query(np.column_stack([left.geometry.x, left.geometry.y]))[0]
    least = left["species"].map({s.code: planned_separation(project, ground, s.code) for s in project.settings.species})
    near = left[away < least.to_numpy(float)]
    if not len(near):
        return []
    plots = ", ".join(sorted(set(near["plot"].astype(str))))
    earlier = bool((standing["season"] == "earlier").any())
    return [
        Fault(
            f"{RECORDS}, planted",
            f"{len(near)} units of this plan ({plots}) would stand nearer than planned to units already planted",
            "the planned separation to all that stands",
            "Bring last season's living outplants as a layer: [[layers.colonies]] with origin = 'outplant'; see "
            "out/outplants.csv of the season they were planted in."
            if earlier
            else "Name the plots and colonies that were planted in [plots] and [colonies], so that the plan is that of the "
            "day; plant none of these until then.",
        )
    ]
