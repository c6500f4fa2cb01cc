"""Sections of the decision record about method: criteria, weights, exclusions, sensitivity, sources, versions."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from typing import Any

import pandas as pd

from sitekit.base.sources import sources
from sitekit.layers.substrate import substrate_names
from sitekit.outputs.charts import RankRange
from sitekit.outputs.decision import Picture, Rows, Section
from sitekit.pipeline.fields import all_criteria, field_units, species_criteria, weights_origin
from sitekit.pipeline.project import Project
from sitekit.pipeline.skip import versions
from sitekit.season.settings import Settings
from sitekit.suitability.explain import curve_words

Tables = Mapping[str, pd.DataFrame]
SHOWN = 15  # candidates in tables and charts; all of them stand in candidates.geojson


def criteria_section(project: Project) -> Section:
    """Return the criteria of every species with curve, weight and source, how weights came about, and the exclusions."""
    settings = project.settings
    units = field_units(settings)
    origin = weights_origin(settings)
    parts: list[Any] = [
        f"Responses from 0 to 1 are combined by the {settings.score.combine}; a cell passes from a score of "
        f"{settings.score.passing:g}. A cell with more than {100 * settings.score.max_unknown_weight:g} % of its weight "
        "unknown is excluded as unknown.",
    ]
    for species in settings.species:
        rows = species_criteria(settings)[species.code]
        total = sum(c.weight for c in rows) or 1.0
        said = origin[species.code]
        parts.append(
            Rows(
                ("criterion", "weight [%]", "curve (response at value)", "source", "all numbers from it"),
                [
                    (
                        c.name,
                        100 * c.weight / total,
                        curve_words(c.curve, units.get(c.field, ""), substrate_names()),
                        _cited(c.source),
                        c.verified,
                    )
                    for c in rows
                ],
                (None, 1, None, None, None),
                f"{species.code}, {species.name}. How the weights came about: {said['said']}"
                + (f"; decided by {said['who']}" if said.get("who") else "")
                + ".",
            )
        )
        if said.get("judged"):
            head = "Judgements of pairs, how many times as much one counts as the other: "
            parts.append((head if " over " in said["judged"][0] else "") + "; ".join(said["judged"]) + ".")
        noted = [f"{c.name}: {c.note}" for c in rows if c.note and not c.verified]
        if noted:
            parts += ["What of these numbers is read in the source and what is a house choice, unverified:", noted]
        dropped = [c.name for c in all_criteria(settings)[species.code] if c.weight == 0]
        if dropped:
            parts.append(f"Weight 0, so not used for {species.code}: {', '.join(dropped)}.")
    parts += ["What excludes a cell whatever its score:", _exclusions(settings)]
    return Section("Criteria, weights and exclusions", parts)


def records(frame: pd.DataFrame) -> list[Any]:
    """Return the rows of a table, columns as attributes."""
    return list(frame.itertuples())


def source_line(key: str) -> str:
    """Return the citation of a source key, or the team's own words as they stand."""
    known = sources()
    return known[key].line() if key in known else key


def _cited(key: str) -> str:
    line = source_line(key)
    return line if len(line) <= 90 else f"{key} (see sources)" if line != key else key


def _exclusions(settings: Settings) -> list[str]:
    e = settings.exclusions
    said = ["outside the area of interest"] if settings.layers.area else []
    said.append("no depth")
    if settings.tide and settings.tide.least_work_depth_m:
        said.append(f"less than {settings.tide.least_work_depth_m:g} m of water at the lowest tide")
    if e.least_depth_m is not None:
        said.append(f"shallower than {e.least_depth_m:g} m")
    if e.greatest_depth_m is not None:
        said.append(f"deeper than {e.greatest_depth_m:g} m")
    if e.greatest_slope_deg is not None:
        said.append(f"steeper than {e.greatest_slope_deg:g}°")
    if e.substrate:
        said.append("bottom: " + ", ".join(e.substrate))
    said.append("bottom unknown" if e.unknown_substrate else "bottom unknown does not exclude")
    if settings.layers.protected:
        said.append(
            "protected areas where planting is forbidden, or for which no permit is held; held: "
            + (", ".join(e.permit_held) or "none")
        )
    said += [
        f"{c.label}: "
        + (f"within {c.keep_clear_m:g} m" if c.keep_clear_m else "inside it")
        + " (the team's own buffer; no published number is known)"
        for c in settings.layers.constraints.values()
        if c.keep_clear_m is not None
    ]
    return said


def sensitivity_section(project: Project, tables: Tables, pictures: Mapping[str, str]) -> Section:
    """Return what the ranking withstands: ranges of ranks, fragile candidates by name, what each criterion moves."""
    settings = project.settings
    s = settings.sensitivity
    ranks, influence = tables["candidate_ranks"], tables["influence"]
    if not len(ranks):
        return Section("Does the ranking hold?", ["No candidate was ranked."])
    parts: list[Any] = [
        f"Weights were drawn {s.draws} times around the chosen ones (concentration {s.concentration:g}); ranges hold "
        f"{s.range_pct:g} % of the draws. A candidate among the best {100 * s.high_share:g} % that stays there in fewer than "
        f"{100 * s.steady_share:g} % of the draws is called fragile: its place rests on the weights. Depths were moved by the "
        f"stated error, all at once, up and down. On average {100 * s.misread_share:g} % of cells were taken as misread "
        f"bottom with a score of 0, a share of its own in each candidate ({source_line('wirt-2015')}; taking an error of "
        f"omission for that share is this project's assumption). Last column: what alone takes a candidate out of the best "
        f"{100 * s.high_share:g} %: weights, where it is fragile; depth, where one of the two shifts does; bottom, where more "
        "than half of those draws do; a dash where nothing does or it is not among them.",
    ]
    names = names_of(tables)
    for species in settings.species:
        own = ranks[ranks["species"] == species.code].sort_values("rank", kind="stable")
        if not len(own):
            continue
        if species.code in pictures:
            parts.append(
                Picture(
                    pictures[species.code],
                    f"Rank ranges of candidates for {species.code}; the table below has the figures",
                )
            )
        fragile = own[own["fragile"]]
        said = ", ".join(
            f"{names[str(r.candidate)]} (rank {r.rank}, {r.rank_low} to {r.rank_high}; falls with {r.holds_not_under})"
            for r in records(fragile)
        )
        parts.append(f"Fragile for {species.code}: {said or 'none'}.")
        shown = shown_ranks(tables, species.code)
        parts.append(
            Rows(
                (
                    "candidate",
                    "rank",
                    "under other weights",
                    "with depth error",
                    f"worst of {s.range_pct / 2 + 50:g} % of draws with misread bottom",
                    "ranks first in [% of draws]",
                    "fragile",
                    "high rank falls with",
                ),
                [
                    (
                        names[str(r.candidate)],
                        r.rank,
                        f"{r.rank_low} to {r.rank_high}",
                        _to(r.rank_depth_low, r.rank_depth_high),
                        r.rank_misread,
                        100 * r.share_first,
                        bool(r.fragile),
                        r.holds_not_under,
                    )
                    for r in records(shown)
                ],
                (None, 0, None, None, 0, 0, None, None),
            )
        )
        moves = influence[influence["species"] == species.code]
        parts.append(
            Rows(
                (
                    "what is changed",
                    "how",
                    "ranks move by, mean",
                    "at most",
                    "most moved candidate",
                    f"of the best {s.best_pct:g} % of cells, replaced [%]",
                ),
                [
                    (
                        r.criterion,
                        r.tried,
                        r.effect,
                        r.effect_most,
                        names.get(str(r.candidate_most), r.candidate_most),
                        100 * r.best_changed,
                    )
                    for r in records(moves)
                ],
                (None, None, 1, 0, None, 0),
                f"One change at a time, {species.code}:",
            )
        )
    return Section("Does the ranking hold?", parts)


def _to(low: Any, high: Any) -> str | None:
    return None if pd.isna(low) or pd.isna(high) else f"{low} to {high}"


def names_of(tables: Tables) -> dict[str, str]:
    """Return candidate -> what people call it: label, site code and its name, else the nearest name."""
    sites = tables["sites"]
    own = {str(r.site): str(r.name) for r in records(sites[sites["coded"] & sites["name"].notna()])}
    found = {}
    for row in records(tables["candidates"]):
        site = "" if pd.isna(row.site) else f" {row.site}"
        near = "" if pd.isna(row.nearest_name) else f", near {row.nearest_name}"
        name = f", {own[str(row.site)]}" if site and str(row.site) in own else near
        found[str(row.candidate)] = f"{row.candidate}{site}{name}"
    return found


def maximised(settings: Settings) -> tuple[str, str]:
    """Return the column of what the choice maximises, and its name for people."""
    return ("units_alive", "units alive") if settings.choose.survival else ("suitability", "suitability")


def shown_ranks(tables: Tables, species: str) -> pd.DataFrame:
    """Return the ranks to show: the best ones, and every candidate with a site code."""
    own = tables["candidate_ranks"]
    own = own[own["species"] == species].sort_values("rank", kind="stable")
    coded = set(tables["candidates"].loc[tables["candidates"]["site"].notna(), "candidate"])
    keep = (own["rank"] <= SHOWN) | own["candidate"].isin(coded)
    return own[keep]


def rank_ranges(tables: Tables, species: str) -> list[RankRange]:
    """Return the bars of the chart of rank ranges."""
    names = names_of(tables)
    sites = tables["sites"]
    chosen = set(sites.loc[sites["chosen"], "candidate"])
    return [
        RankRange(
            names[str(r.candidate)],
            int(r.rank),
            int(r.rank_low),
            int(r.rank_high),
            bool(r.fragile),
            r.candidate in chosen,
        )
        for r in records(shown_ranks(tables, species))
    ]


def sources_section(project: Project) -> Section:
    """Return sources of curves, layers with system, datum and error, and versions."""
    settings = project.settings
    keys = sorted(
        {c.source for rows in species_criteria(settings).values() for c in rows}
        | {"course-deciding", "course-site-selection", "johnson-2011-siting", "wirt-2015"}
        | {one.source for one in settings.choose.survival.values()}
    )
    cited = [f"{k}: {source_line(k)}" for k in keys if source_line(k) != k]
    own = [k for k in keys if source_line(k) == k]
    b = settings.layers.bathymetry
    layers = [
        f"depths: {b.file}, given as {b.sign} in {b.units}, datum {b.datum}, stated error ± {b.depth_error_m:g} m"
    ]
    if settings.layers.substrate:
        r = settings.layers.substrate.resolution_m
        layers.append(f"bottom: {settings.layers.substrate.file}" + (f", mapped at {r:g} m" if r else ""))
    layers += [
        f"living colonies: {c.file}"
        + (
            f", looked for inside {c.surveyed_area}"
            if c.surveyed_area
            else ", no surveyed area given: absence is taken as seen"
        )
        for c in settings.layers.colonies
    ]
    if settings.layers.protected:
        layers.append(f"protected areas: {settings.layers.protected.file}")
    layers += [f"{c.label}: {c.file}" for c in settings.layers.constraints.values()]
    layers += [f"{r.label}: {r.file}, {r.units}, {r.source}" for r in settings.layers.rasters.values()]
    layers += _other_inputs(settings)
    parts: list[Any] = [
        "Layers:",
        layers,
        "Sources of curves and rules:",
        [*cited, *(f"the plan's own words: {k}" for k in own)],
    ]
    parts += [
        f"Versions: Python {platform.python_version()}, "
        + ", ".join(f"{k} {v}" for k, v in versions().items())
        + ". Hashes of every input stand in manifest.json."
    ]
    return Section("Layers, sources, versions", parts)


def _other_inputs(settings: Settings) -> list[str]:
    """Return the rest of the team's files, each with what it says and its source where the plan states one."""
    found = []
    for what, layer in (
        ("area of interest", settings.layers.area),
        ("named places", settings.layers.named_places),
        ("coastline", settings.layers.coastline),
    ):
        found += [f"{what}: {layer.file}"] if layer is not None else []
    tide, waves, heat, light = settings.tide, settings.waves, settings.heat, settings.light
    if tide is not None:
        found.append(f"tide: {tide.file or 'heights typed in the plan'}; {tide.source}")
    if waves is not None:
        files = ", ".join(name for name in (waves.wind, waves.swell) if name)
        found.append(f"wind and swell: {files}; {waves.source}")
    if light is not None:
        found.append(f"clearness of the water: {light.raster or f'{light.kd_per_m:g} per m'}; {light.source}")
    if heat is not None:
        found.append(f"water temperature: {heat.file}; {heat.source}")
    if settings.scout.from_file:
        found.append(f"returned scout forms: {settings.scout.from_file}")
    if settings.stock is not None:
        found.append(f"stock: {settings.stock.file}")
    return found
