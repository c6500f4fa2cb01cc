"""Stage 6: where each unit stands, in which plot, which genet, under which number and tag."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.north import convergence, true_bearing
from sitekit.base.tables import build
from sitekit.errors import Fault
from sitekit.layers.blocks import in_order
from sitekit.layout.genets import assign_genets
from sitekit.layout.keep_off import Standing
from sitekit.layout.numbering import Used, give_tags, number_site
from sitekit.pipeline.bottoms import Bottom, between_species, planned_separation, read_bottom, read_colonies
from sitekit.pipeline.control_plots import control_plots
from sitekit.pipeline.fields import Ground, read_ground
from sitekit.pipeline.free_points import clear_of, lay_points
from sitekit.pipeline.given import given_colonies
from sitekit.pipeline.given_plots import given_plots, lay_given
from sitekit.pipeline.mixes import site_mixes
from sitekit.pipeline.open_rasters import OpenRasters
from sitekit.pipeline.partners import with_origins
from sitekit.pipeline.pins import follow_pins
from sitekit.pipeline.planted import earlier_numbers
from sitekit.pipeline.plotting import Laid, free_slots, lay_plots
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.room_lacking import NO_PLOT, room_lacking
from sitekit.pipeline.set_pins import latest_pins
from sitekit.season.records import read_records
from sitekit.stock.diversity import largest_remainder

RECORDS = "records.gpkg"
LEFT_OUT = (
    "left out"  # marks units that a set pin rules out: they keep their number and tag, so that no other one moves
)


@dataclass(frozen=True)
class SitePlan:
    """What is planned at one site: its bottom and, per species in planting order, the plots with their genets.

    `free` counts the slots of each species' plots that no unit takes.
    """

    site: str
    candidate: str
    bottom: Bottom
    laid: list[tuple[str, list[Laid], list[str]]]
    unplaced: list[dict[str, Any]]
    free: dict[str, int]


def run(project: Project, run_id: str) -> Done:
    """Write the tables `plots` and `colonies`; add to `unplaced`."""
    ground = read_ground(project)
    tables = project.season()
    crs = ground.grid.crs
    outlines = dict(zip(tables["candidates"]["candidate"], tables["candidates"].geometry, strict=True))
    sites = tables["sites"]
    chosen = [(str(s.site), str(s.candidate)) for s in sites[sites["chosen"]].itertuples()]
    colonies = read_colonies(project)
    allotment = tables["allotment"]

    apart = max(planned_separation(project, ground, s.code) for s in project.settings.species)
    moved = given_plots(project, crs, [name for name, _ in chosen], apart_m=apart)

    before = _neighbours_before(project, ground, [outlines[candidate] for _, candidate in chosen])
    by_size = sorted(range(len(chosen)), key=lambda k: (-outlines[chosen[k][1]].area, k))  # the longest work first
    planned: dict[int, SitePlan] = {}

    def work(k: int) -> SitePlan:
        bottom = read_bottom(project, ground, outlines[chosen[k][1]], colonies, rasters)
        own = allotment[allotment["site"] == chosen[k][0]]
        own_plots = None if moved is None else moved.get(chosen[k][0], [])
        beside = [planned[i] for i in before[k]]
        return _plan_site(project, ground, chosen[k], bottom, own, own_plots, beside)

    with OpenRasters() as rasters:
        while len(planned) < len(chosen):
            ready = [k for k in by_size if k not in planned and all(i in planned for i in before[k])]
            for k, plan in zip(ready, in_order(work, iter(ready), project.machine.threads), strict=True):
                planned[k] = plan
                project.machine.progress(len(planned), len(chosen))
    plans = [planned[k] for k in range(len(chosen))]
    used = _used(project)
    pins = latest_pins(project.folder)
    stray: list[Fault] = []
    plot_rows: list[dict[str, Any]] = []
    shapes: list[Any] = []
    unit_rows: list[dict[str, Any]] = []
    points: list[Any] = []
    for plan in plans:
        stray += _number(project, ground, plan, used, pins, plot_rows, shapes, unit_rows, points)
    short_tags = _tag(project, unit_rows, plot_rows, used)
    kept = [i for i, row in enumerate(unit_rows) if not row.pop(LEFT_OUT)]
    unit_rows, points = [unit_rows[i] for i in kept], [points[i] for i in kept]
    # rows with a site are this stage's own, from a run that was killed before it noted them
    earlier: list[Any] = tables["unplaced"][tables["unplaced"]["site"].isna()].to_dict("records")
    empty_rows, empty_shapes, not_laid = control_plots(project, ground, tables["control_areas"])
    unplaced = [*earlier, *(row for p in plans for row in p.unplaced)]
    if project.settings.spacing.mode == "fill":  # an estimate: what fits is what is handed out
        tables["allotment"] = with_origins(build("allotment", _counted(unit_rows)), tables["stock"])
    tables["plots"] = build("plots", plot_rows + empty_rows, shapes + empty_shapes, crs)
    edited = given_colonies(project, tables["plots"], crs)
    placed = build("colonies", unit_rows, points, crs) if edited is None else edited
    tables["colonies"] = with_origins(placed, tables["stock"])
    tables["unplaced"] = build("unplaced", unplaced)
    project.write_season(tables, crs)
    figures = {**_figures(project, tables, plans), "mixes": site_mixes(project, ground, tables)}
    return Done(["season.gpkg"], figures, [*_shortfalls(project, plans, short_tags), *stray])


def _used(project: Project) -> pd.DataFrame:
    """Numbers never given again: those noted, and those of units of earlier seasons."""
    noted, earlier = read_records(project.folder / RECORDS, "used_numbers"), earlier_numbers(project)
    return pd.concat([noted, earlier]) if len(noted) and len(earlier) else (earlier if len(earlier) else noted)


def _plan_site(
    project: Project, ground: Ground, pair: tuple[str, str], bottom: Bottom, allotment: pd.DataFrame,
    given: list[Any] | None, beside: list[SitePlan],
) -> SitePlan:  # fmt: skip
    spacing = project.settings.spacing
    taken = [(species, plot) for plan in beside for species, plots, _ in plan.laid for plot in plots]
    laid: list[tuple[str, list[Laid], list[str]]] = []
    unplaced: list[dict[str, Any]] = []
    slots_left: dict[str, int] = {}
    numbers = {s.code: int(allotment["number"][allotment["species"] == s.code].sum()) for s in project.settings.species}
    numbers = {species: wanted for species, wanted in numbers.items() if wanted > 0}
    points = (
        {}
        if spacing.mode == "plots"
        else lay_points(project, ground, clear_of(project, ground, bottom, taken), numbers)
    )
    for species, wanted in numbers.items():
        own = allotment[allotment["species"] == species].sort_values("genet", kind="stable")
        if spacing.mode == "plots":
            if given is None:
                gaps = {s: max(spacing.plot.gap_m, between_species(project, ground, species, s)) for s, _ in taken}
                standing = [Standing(plot.outline, gaps[s]) for s, plot in taken]
                plots = lay_plots(project, ground, bottom, species, wanted, standing)
            else:
                plots, given = lay_given(project, ground, bottom, species, wanted, given)
        else:
            plots = points[species]
        placed = sum(p.x_m.size for p in plots)
        counts = own["number"].to_numpy(np.int64)
        kept = counts if placed == wanted else largest_remainder(counts, placed)
        unplaced += [
            {
                "site": pair[0],
                "species": species,
                "genet": genet,
                "number": int(n),
                "reason": NO_PLOT if spacing.mode == "plots" else "no room at the planned separation",
            }
            for genet, n in zip(own["genet"], counts - kept, strict=True)
            if n > 0 and spacing.mode != "fill"
        ]
        taken += [(species, plot) for plot in plots]
        slots_left[species] = 0 if spacing.mode != "plots" else free_slots(project, ground, bottom, species, plots)
        if placed:
            laid.append((species, plots, _genets(project, ground, species, plots, own["genet"].tolist(), kept)))
    return SitePlan(pair[0], pair[1], bottom, laid, unplaced, slots_left)


def _neighbours_before(project: Project, ground: Ground, outlines: list[Any]) -> list[list[int]]:
    """Return for each site the larger ones (of equals, those chosen before) whose units or plots could come too near."""
    spacing = project.settings.spacing
    codes = [s.code for s in project.settings.species]
    reach = max(between_species(project, ground, a, b) for a in codes for b in codes)
    if spacing.mode == "plots":  # a plot may stand partly outside its candidate
        plot = spacing.plot
        reach = max(reach, spacing.plot.gap_m) + 2.0 * max(plot.length_m, plot.width_m, 2.0 * plot.radius_m)
    if not outlines:
        return []
    one, other = shapely.STRtree(outlines).query(outlines, predicate="dwithin", distance=reach)
    rank = [(-shape.area, k) for k, shape in enumerate(outlines)]
    return [sorted(int(i) for i in other[one == k] if rank[i] < rank[k]) for k in range(len(outlines))]


def _genets(
    project: Project, ground: Ground, species: str, plots: list[Laid], names: list[str], counts: Any
) -> list[str]:
    x, y = np.concatenate([p.x_m for p in plots]), np.concatenate([p.y_m for p in plots])
    group = np.repeat(np.arange(len(plots)), [p.x_m.size for p in plots])
    plan = assign_genets(x, y, counts, separation_m=planned_separation(project, ground, species), group=group)
    return [names[k] for k in plan.kind]


def _number(
    project: Project,
    ground: Ground,
    plan: SitePlan,
    used: pd.DataFrame,
    pins: dict[str, dict[int, tuple[float, float]]],
    plot_rows: list[dict[str, Any]],
    shapes: list[Any],
    unit_rows: list[dict[str, Any]],
    points: list[Any],
) -> list[Fault]:
    """Name and number the plots and units of a site, let plots follow pins that were set; append their rows."""
    plots = [(species, p) for species, many, _ in plan.laid for p in many]
    if not plots:
        return []
    genets = [g for _, _, many in plan.laid for g in many]
    spacing = min(planned_separation(project, ground, s) for s, _ in plots)
    own = used[used["site"] == plan.site]
    numbers = number_site(
        plan.site,
        [p.outline.centroid.x for _, p in plots],
        [p.outline.centroid.y for _, p in plots],
        plot_of=np.repeat(np.arange(len(plots)), [p.x_m.size for _, p in plots]),
        along_m=np.concatenate([p.along_m for _, p in plots]),
        offset_m=np.concatenate([p.offset_m for _, p in plots]),
        angle_deg=np.concatenate([p.angle_deg for _, p in plots]),
        spacing_m=spacing,
        used=Used(frozenset(own["plot"].dropna()), frozenset(int(v) for v in own["sequence"])),
    )
    followed = follow_pins(project, plan.bottom, numbers.plot_names, plots, pins, separation_m=spacing)
    fragments = {s.code: s.fragments_per_unit for s in project.settings.species}
    first = 0
    rows: list[tuple[int, dict[str, Any], Any]] = []
    for k, (species, _) in enumerate(plots):
        plot, reasons = followed.plots[k], followed.reasons[k]
        name = numbers.plot_names[k]
        own_sequence = numbers.sequence[first : first + plot.x_m.size]
        stands = [i for i, reason in enumerate(reasons) if not reason]
        plan.unplaced.extend(_left_out(plan.site, species, genets[first : first + plot.x_m.size], reasons, name))
        if stands:  # else nothing may stand where the pins were set: the plot is given up, and told
            plot_rows.append(_plot_row(ground, plan, species, plot, name, own_sequence, stands, followed.notes[k]))
            shapes.append(plot.outline)
        x, y = plot.x_m[stands], plot.y_m[stands]
        depth = dict(zip(stands, plan.bottom.depth_at(x, y).tolist(), strict=True))
        row, col = plan.bottom.grid.cell_of(x, y)
        score = dict(zip(stands, plan.bottom.score[species][row, col].tolist(), strict=True))
        for i in range(plot.x_m.size):
            unit = {
                "tag": None,
                "sequence": int(own_sequence[i]),
                "site": plan.site,
                "candidate": plan.candidate,
                "plot": name,
                "species": species,
                "genet": genets[first + i],
                "units": 1,
                "fragments": fragments[species],
                "depth_m": depth.get(i),
                "along_m": float(plot.along_m[i]),
                "offset_m": float(plot.offset_m[i]),
                "angle_deg": float(plot.angle_deg[i]) if plot.circle else None,
                "score": score.get(i),
                LEFT_OUT: i not in depth,
            }
            rows.append((int(own_sequence[i]), unit, shapely.Point(float(plot.x_m[i]), float(plot.y_m[i]))))
        first += plot.x_m.size
    rows.sort(key=lambda r: r[0])
    unit_rows += [r[1] for r in rows]
    points += [r[2] for r in rows]
    return followed.faults


def _left_out(site: str, species: str, genets: list[str], reasons: list[str], plot: str) -> list[dict[str, Any]]:
    """Rows of `unplaced` for units that may not stand where their plot's pins were set."""
    counted = Counter((g, r) for g, r in zip(genets, reasons, strict=True) if r)
    return [
        {"site": site, "species": species, "genet": g, "number": n, "reason": f"plot {plot} {r}"}
        for (g, r), n in sorted(counted.items())
    ]


def _plot_row(
    ground: Ground, plan: SitePlan, species: str, plot: Laid, name: str, sequence: Any, stands: list[int], note: str
) -> dict[str, Any]:
    line = plot.line
    lon, lat = transform_points([line.pin_x_m], [line.pin_y_m], ground.grid.crs, WGS84)
    turn = convergence(ground.grid.crs, lon, lat)
    x, y = line.second_pin
    depth = plan.bottom.depth_at(plot.x_m[stands], plot.y_m[stands])
    return {
        "plot": name,
        "site": plan.site,
        "role": "planted",
        "shape": "circle" if plot.circle else "rectangle",
        "pin_x_m": line.pin_x_m,
        "pin_y_m": line.pin_y_m,
        "second_pin_x_m": x,
        "second_pin_y_m": y,
        "bearing_true_deg": float(true_bearing([line.bearing_grid_deg], turn)[0]),
        "length_m": line.length_m,
        "tape_m": line.tape_m,
        "width_m": plot.width_m,
        "hard_pct": 100.0 * plot.allowed_share,
        "robust_pct": None if np.isnan(plot.robust_share) else 100.0 * plot.robust_share,
        "depth_min_m": float(np.nanmin(depth)),
        "depth_max_m": float(np.nanmax(depth)),
        "units": len(stands),
        "numbers": f"{int(min(sequence))}–{int(max(sequence))}",
        "note": f"species {species}" + (f"; {note}" if note else ""),
    }


def listed_tags(project: Project) -> list[str]:
    """Return the tags of the list on hand, as printed; none without a list.

    Raises
    ------
    InputFault
        If a tag stands twice.
    """
    setting = project.settings.tagging
    if not setting.numbers_from:
        return []
    text = project.input(setting.numbers_from, "tagging.numbers_from").read_text("utf-8-sig")
    on_hand = [line.strip() for line in text.splitlines() if line.strip()]
    give_tags([], on_hand, tagging=setting.which, share=setting.share, used=[])
    return on_hand


def _tag(project: Project, rows: list[dict[str, Any]], plots: list[dict[str, Any]], used: pd.DataFrame) -> int:
    """Give tags from the list on hand, or count upward from the first; return how many are missing."""
    setting = project.settings.tagging
    if project.settings.spacing.mode == "fill" or not rows:
        return 0
    if setting.numbers_from:
        on_hand = listed_tags(project)
    else:
        taken = set(used["tag"].dropna())
        on_hand = []
        number = setting.first
        while len(on_hand) < len(rows):
            if f"{number:04d}" not in taken:
                on_hand.append(f"{number:04d}")
            number += 1
    tags = give_tags(
        [str(r["plot"]) for r in rows],
        on_hand,
        tagging=setting.which,
        share=setting.share,
        used=[str(t) for t in used["tag"].dropna()],
    )
    for row, tag in zip(rows, tags.units, strict=True):
        row["tag"] = tag or None
    for plot in plots:
        plot["tag"] = tags.plots.get(str(plot["plot"]))
    return tags.short


def _counted(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    keys = [(str(r["site"]), str(r["species"]), str(r["genet"])) for r in rows]
    return [{"site": s, "species": c, "genet": g, "number": n} for (s, c, g), n in Counter(keys).items()]


def _figures(project: Project, tables: dict[str, pd.DataFrame], plans: list[SitePlan]) -> dict[str, Any]:
    colonies, plots = tables["colonies"], tables["plots"]
    robust = plots["robust_pct"][plots["role"] == "planted"].dropna()
    return {
        "mode": project.settings.spacing.mode,
        "estimate": project.settings.spacing.mode == "fill",
        "sites": len(plans),
        "plots": int((plots["role"] == "planted").sum()),
        "control_plots": int((plots["role"] != "planted").sum()),
        "units": {str(k): int(v) for k, v in colonies.groupby("species").size().items()},
        "fragments": int(colonies["fragments"].sum()),
        "genets": int(colonies.groupby(["species", "genet"]).ngroups) if len(colonies) else 0,
        "robust_pct_mean": round(float(robust.mean()), 1) if len(robust) else None,
        "unplaced": int(tables["unplaced"]["number"].sum()),
    }


def _shortfalls(project: Project, plans: list[SitePlan], short_tags: int) -> list[Fault]:
    unplaced = [row for plan in plans for row in plan.unplaced]
    found = room_lacking(project, unplaced, {plan.site: plan.free for plan in plans})
    if short_tags:
        found.append(
            Fault("tagging", f"{short_tags} tags are missing on the list", "a tag per unit to tag", "Get more tags.")
        )
    return found
