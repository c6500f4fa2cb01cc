"""Sections of the decision record about method: criteria, weights, exclusions, sensitivity, sources, versions."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from typing import Any

import pandas as pd

from sitekit.base.sources import sources
from sitekit.base.wording import length_text, length_unit, retell, retell_parts, say
from sitekit.layers.substrate import substrate_names
from sitekit.outputs.charts import RankRange
from sitekit.outputs.decision import Picture, Rows, Section, heads
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
        say(
            "record.combined",
            combine=retell(settings.score.combine),
            passing=f"{settings.score.passing:g}",
            most=f"{100 * settings.score.max_unknown_weight:g}",
        ),
    ]
    for species in settings.species:
        rows = species_criteria(settings)[species.code]
        total = sum(c.weight for c in rows) or 1.0
        said = origin[species.code]
        told = _weighed_by(said["said"])
        if said.get("who"):
            told = say("record.decided_by", said=told, who=said["who"])
        parts.append(
            Rows(
                heads("criterion", "weight", "curve", "source", "verified"),
                [
                    (
                        retell(c.name, typed=True),
                        100 * c.weight / total,
                        curve_words(c.curve, units.get(c.field, ""), substrate_names()),
                        _cited(c.source),
                        c.verified,
                    )
                    for c in rows
                ],
                (None, 1, None, None, None),
                say("record.weights_by", species=species.code, name=species.name, said=told),
            )
        )
        if said.get("judged"):
            key = "record.pairs" if " over " in said["judged"][0] else "record.lines"
            parts.append(say(key, lines="; ".join(retell(line) for line in said["judged"])))
        noted = [f"{retell(c.name, typed=True)}: {c.note}" for c in rows if c.note and not c.verified]
        if noted:
            parts += [say("record.noted"), noted]
        dropped = [retell(c.name, typed=True) for c in all_criteria(settings)[species.code] if c.weight == 0]
        if dropped:
            parts.append(say("record.dropped", species=species.code, names=", ".join(dropped)))
    parts += [say("record.excludes"), _exclusions(settings)]
    return Section(say("record.criteria"), parts)


def records(frame: pd.DataFrame) -> list[Any]:
    """Return the rows of a table, columns as attributes."""
    return list(frame.itertuples())


def source_line(key: str) -> str:
    """Return the citation of a source key, or the team's own words as they stand."""
    known = sources()
    return known[key].line() if key in known else key


def _cited(key: str) -> str:
    line = source_line(key)
    return line if len(line) <= 90 else say("record.see_sources", source=key) if line != key else key


def _exclusions(settings: Settings) -> list[str]:
    e = settings.exclusions
    said = [retell("outside the area of interest")] if settings.layers.area else []
    said.append(retell("no depth"))
    if settings.tide and settings.tide.least_work_depth_m:
        said.append(say("record.x_water", length=length_text(settings.tide.least_work_depth_m)))
    if e.least_depth_m is not None:
        said.append(say("record.x_shallow", length=length_text(e.least_depth_m)))
    if e.greatest_depth_m is not None:
        said.append(say("record.x_deep", length=length_text(e.greatest_depth_m)))
    if e.greatest_slope_deg is not None:
        said.append(say("record.x_steep", degrees=f"{e.greatest_slope_deg:g}°"))
    if e.substrate:
        said.append(say("record.x_bottom", classes=", ".join(e.substrate)))
    said.append(say("record.x_unknown" if e.unknown_substrate else "record.x_unknown_open"))
    if settings.layers.protected:
        said.append(say("record.x_protected", names=", ".join(e.permit_held) or say("record.x_no_permit")))
    said += [
        say("record.x_within", label=c.label, length=length_text(c.keep_clear_m))
        if c.keep_clear_m
        else say("record.x_inside", label=c.label)
        for c in settings.layers.constraints.values()
        if c.keep_clear_m is not None
    ]
    return said


def _weighed_by(text: str) -> str:
    """How weights came about; a ranking names its criteria."""
    head, colon, ranks = text.partition("): ")
    if not colon or not head.startswith("centroid"):
        return retell(text)
    told = []
    for one in ranks.split(", "):
        rank, _, name = one.partition(" ")
        told.append(f"{rank} {retell(name, typed=True)}")
    return retell(f"{head}): {', '.join(told)}")


def far(value_m: Any) -> Any:
    """Return a length [m] in the unit of lengths in force, None where there is none."""
    return None if value_m is None or pd.isna(value_m) else value_m / length_unit()[1]


def span(low: Any, high: Any) -> str:
    """Return a range in words."""
    return say("record.range", low=low, high=high)


def sensitivity_section(project: Project, tables: Tables, pictures: Mapping[str, str]) -> Section:
    """Return what the ranking withstands: ranges of ranks, fragile candidates by name, what each criterion moves."""
    settings = project.settings
    s = settings.sensitivity
    ranks, influence = tables["candidate_ranks"], tables["influence"]
    if not len(ranks):
        return Section(say("record.holds"), [say("record.no_ranked")])
    parts: list[Any] = [
        say(
            "record.drawn",
            draws=s.draws,
            concentration=f"{s.concentration:g}",
            range=f"{s.range_pct:g}",
            high=f"{100 * s.high_share:g}",
            steady=f"{100 * s.steady_share:g}",
            misread=f"{100 * s.misread_share:g}",
            source=source_line("wirt-2015"),
        ),
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
                    say("record.ranks_picture", species=species.code),
                )
            )
        fragile = own[own["fragile"]]
        said = ", ".join(
            say(
                "record.fragile_one",
                candidate=names[str(r.candidate)],
                rank=r.rank,
                low=r.rank_low,
                high=r.rank_high,
                what=_under(r.holds_not_under),
            )
            for r in records(fragile)
        )
        parts.append(say("record.fragile_for", species=species.code, candidates=said or say("record.no_fragile")))
        shown = shown_ranks(tables, species.code)
        parts.append(
            Rows(
                (
                    *heads("candidate", "rank", "other_weights", "depth_error"),
                    *heads("misread", share=f"{s.range_pct / 2 + 50:g}"),
                    *heads("first", "fragile", "falls"),
                ),
                [
                    (
                        names[str(r.candidate)],
                        r.rank,
                        span(r.rank_low, r.rank_high),
                        _to(r.rank_depth_low, r.rank_depth_high),
                        r.rank_misread,
                        100 * r.share_first,
                        bool(r.fragile),
                        _under(r.holds_not_under),
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
                    *heads("changed", "how", "moves", "most", "moved"),
                    *heads("replaced", share=f"{s.best_pct:g}"),
                ),
                [
                    (
                        retell(r.criterion, typed=True),
                        retell(r.tried),
                        r.effect,
                        r.effect_most,
                        names.get(str(r.candidate_most), r.candidate_most),
                        100 * r.best_changed,
                    )
                    for r in records(moves)
                ],
                (None, None, 1, 0, None, 0),
                say("record.one_change", species=species.code),
            )
        )
    return Section(say("record.holds"), parts)


def _to(low: Any, high: Any) -> str | None:
    return None if pd.isna(low) or pd.isna(high) else span(low, high)


def _under(what: Any) -> str | None:
    return None if what is None or pd.isna(what) else retell_parts(str(what), between=", ")


def names_of(tables: Tables) -> dict[str, str]:
    """Return candidate -> what people call it: label, site code and its name, else the nearest name."""
    sites = tables["sites"]
    own = {str(r.site): str(r.name) for r in records(sites[sites["coded"] & sites["name"].notna()])}
    found = {}
    for row in records(tables["candidates"]):
        site = "" if pd.isna(row.site) else f" {row.site}"
        named = f"{row.candidate}{site}"
        if site and str(row.site) in own:
            named = f"{named}, {own[str(row.site)]}"
        elif not pd.isna(row.nearest_name):
            named = say("record.near", candidate=named, name=row.nearest_name)
        found[str(row.candidate)] = named
    return found


def maximised(settings: Settings) -> tuple[str, str]:
    """Return the column of what the choice maximises, and its name for people."""
    column = "units_alive" if settings.choose.survival else "suitability"
    return column, heads("alive" if settings.choose.survival else "suitability")[0]


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
        say(
            "record.l_depths",
            file=b.file,
            sign=retell(b.sign),
            units=b.units,
            datum=b.datum,
            error=length_text(b.depth_error_m),
        )
    ]
    if settings.layers.substrate:
        r = settings.layers.substrate.resolution_m
        file = settings.layers.substrate.file
        layers.append(
            say("record.l_mapped", file=file, size=length_text(r)) if r else say("record.l_bottom", file=file)
        )
    layers += [
        say("record.l_living", file=c.file, area=c.surveyed_area)
        if c.surveyed_area
        else say("record.l_living_anywhere", file=c.file)
        for c in settings.layers.colonies
    ]
    if settings.layers.protected:
        layers.append(say("record.l_protected", file=settings.layers.protected.file))
    layers += [say("record.l_named", label=c.label, file=c.file) for c in settings.layers.constraints.values()]
    layers += [f"{r.label}: {r.file}, {r.units}, {r.source}" for r in settings.layers.rasters.values()]
    layers += _other_inputs(settings)
    parts: list[Any] = [
        say("record.layers"),
        layers,
        say("record.curve_sources"),
        [*cited, *(say("record.own_words", text=k) for k in own)],
    ]
    parts += [
        say(
            "record.versions",
            versions=", ".join([f"Python {platform.python_version()}", *(f"{k} {v}" for k, v in versions().items())]),
        )
    ]
    return Section(say("record.sources"), parts)


def _other_inputs(settings: Settings) -> list[str]:
    """Return the rest of the team's files, each with what it says and its source where the plan states one."""
    found = []
    for what, layer in (
        ("record.l_area", settings.layers.area),
        ("record.l_places", settings.layers.named_places),
        ("record.l_coastline", settings.layers.coastline),
    ):
        found += [say("record.l_named", label=say(what), file=layer.file)] if layer is not None else []
    tide, waves, heat, light = settings.tide, settings.waves, settings.heat, settings.light
    if tide is not None:
        found.append(say("record.l_tide", file=tide.file or say("record.l_typed_tide"), source=tide.source))
    if waves is not None:
        files = ", ".join(name for name in (waves.wind, waves.swell) if name)
        found.append(say("record.l_waves", files=files, source=waves.source))
    if light is not None:
        value = light.raster or say("record.l_per_m", value=f"{light.kd_per_m:g}")
        found.append(say("record.l_light", value=value, source=light.source))
    if heat is not None:
        found.append(say("record.l_heat", file=heat.file, source=heat.source))
    if settings.scout.from_file:
        found.append(say("record.l_scout", file=settings.scout.from_file))
    if settings.stock is not None:
        found.append(say("record.l_stock", file=settings.stock.file))
    return found
