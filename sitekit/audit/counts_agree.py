"""Whether counts and numbers agree: season, map, list, allotment, stock and what was left over."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.audit.promises import Finding, judged, not_looked_at
from sitekit.audit.written import Written
from sitekit.base.files import inside
from sitekit.errors import SitekitError
from sitekit.layers.aliases import Aliases, read_aliases
from sitekit.layers.cells import Refused
from sitekit.season.settings import Settings
from sitekit.season.settings_method import Stock
from sitekit.stock.inventory import read_stock

UNITS = "season, map and list hold the same number of units"
CANDIDATES = "season and map hold the same candidates"
ALLOTTED = "every allotted unit is placed, or listed as unplaced with a reason"
GENETS = "no genet is planted more often than the stock list holds"
FRAGMENTS = "every unit has the fragments its species is planted in"
SEQUENCE = "no sequence number is used twice at a site"
TAGS = "no tag is used twice"
KNOWN = "every unit names a chosen site, a candidate and a plot that exist"
WANTED = "every unit asked for is placed or listed as unplaced"
BOUND = "no candidate holds more units than its proven bound"
SEASON = "out/season.gpkg"


def audit_counts(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on counts and numbers.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    colonies = written.table("colonies")
    if colonies is None or any(written.table(n) is None for n in ("sites", "allotment", "unplaced", "candidates")):
        due = (UNITS, CANDIDATES, ALLOTTED, FRAGMENTS, SEQUENCE, TAGS, KNOWN)
        return [not_looked_at(p, "the season cannot be read", SEASON) for p in due]
    findings = [_units(colonies, written), _candidates(written)]
    if len(colonies) or len(written.tables["allotment"]):
        findings += [
            _allotted(colonies, written.tables["allotment"], written.tables["unplaced"]),
            _fragments(colonies, settings),
            _sequence(colonies),
            _tags(colonies),
            _known(colonies, written),
        ]
    counted = settings.spacing.mode != "fill"  # an estimate of capacity draws on no stock
    if counted and settings.stock is not None and len(colonies):
        findings.append(_genets(project, settings, colonies))
    if counted and settings.spacing.numbers:
        findings.append(_wanted(colonies, written, settings))
    offered = written.table("candidate_species")
    if offered is not None and len(colonies):
        findings.append(_bound(colonies, offered))
    return findings


def _units(colonies: pd.DataFrame, written: Written) -> Finding:
    counts = {"season.gpkg": len(colonies)}
    broken = []
    for name, frame in (("colonies.geojson", written.colonies), ("colonies.csv", written.listed)):
        if frame is not None:
            counts[name] = len(frame)
        elif len(colonies):
            broken.append(f"{name}: {written.unread.get(name, 'is missing')}")
    if len(set(counts.values())) > 1:
        broken.append(", ".join(f"{n} in {name}" for name, n in counts.items()))
    if not broken:
        broken += _by_species(colonies, written)
    return judged(
        UNITS,
        broken,
        len(colonies),
        ", ".join(f"out/{n}" for n in counts),
        kept="in all and per site, species and genet",
        unit="units",
    )


def _by_species(colonies: pd.DataFrame, written: Written) -> list[str]:
    due = _tally(colonies)
    broken = []
    for name, frame in (("colonies.geojson", written.colonies), ("colonies.csv", written.listed)):
        if frame is None:
            continue
        found = _tally(frame)
        broken += [
            f"{' '.join(key)}: {due[key]} in season.gpkg, {found[key]} in {name}"
            for key in sorted({*due, *found})
            if due[key] != found[key]
        ]
    return broken


def _tally(frame: pd.DataFrame) -> Counter[tuple[str, str, str]]:
    return Counter(zip(frame["site"].map(str), frame["species"].map(str), frame["genet"].map(str), strict=True))


def _candidates(written: Written) -> Finding:
    season = Counter(map(str, written.tables["candidates"]["candidate"]))
    where = f"{SEASON}, out/candidates.geojson"
    if written.candidates is None:
        why = written.unread.get("candidates.geojson", "candidates.geojson is missing")
        return not_looked_at(CANDIDATES, why, where)
    mapped = Counter(map(str, written.candidates["candidate"])) if len(written.candidates) else Counter()
    broken = [
        f"{key}: {season[key]} in the season, {mapped[key]} on the map"
        for key in sorted({*season, *mapped})
        if season[key] != mapped[key] or season[key] > 1
    ]
    return judged(CANDIDATES, broken, season.total(), where, kept="label by label", unit="candidates")


def _allotted(colonies: pd.DataFrame, allotment: pd.DataFrame, unplaced: pd.DataFrame) -> Finding:
    """Per site, species and genet where the leftover names them, else per site and species, else per species."""
    broken = []
    for keys in (["site", "species", "genet"], ["site", "species"], ["species"]):
        placed = Counter(_keys(colonies, keys))
        given: Counter[tuple[str, ...]] = Counter()
        for key, n in zip(_keys(allotment, keys), allotment["number"], strict=True):
            given[key] += int(n)
        left: Counter[tuple[str, ...]] = Counter()
        vague = unplaced[unplaced[keys].isna().any(axis=1)]
        for key, n in zip(_keys(unplaced, keys), unplaced["number"], strict=True):
            left[key] += int(n)
        for key in sorted({*placed, *given}):
            if placed[key] > given[key]:
                broken.append(f"{' '.join(key)}: {placed[key]} placed, {given[key]} allotted")
            elif placed[key] + left[key] < given[key] and not _may_cover(vague, key, keys):
                broken.append(
                    f"{' '.join(key)}: {given[key]} allotted, {placed[key]} placed, {left[key]} listed as unplaced"
                )
        if broken:
            break
    return judged(
        ALLOTTED,
        broken,
        int(allotment["number"].sum()),
        SEASON,
        kept=f"{len(colonies)} placed, {int(unplaced['number'].sum())} unplaced",
        unit="units",
    )


def _may_cover(vague: pd.DataFrame, key: tuple[str, ...], keys: list[str]) -> bool:
    """Whether a leftover row that leaves some of the keys open can mean this one; a coarser pass then judges it."""
    if len(keys) == 1:
        return False
    return any(
        all(row[k] is None or pd.isna(row[k]) or str(row[k]) == v for k, v in zip(keys, key, strict=True))
        for row in vague[keys].to_dict("records")
    )


def _keys(frame: pd.DataFrame, keys: list[str]) -> list[tuple[str, ...]]:
    return list(zip(*(frame[k].map(str) for k in keys), strict=True))


def _fragments(colonies: pd.DataFrame, settings: Settings) -> Finding:
    due = {s.code: s.fragments_per_unit for s in settings.species}
    broken = [
        f"{s}-{n}: {u} units of {f} fragments, due 1 of {due.get(c, 'an unknown species')}"
        for s, n, c, u, f in colonies[["site", "sequence", "species", "units", "fragments"]].itertuples(index=False)
        if u != 1 or f != due.get(c)
    ]
    return judged(FRAGMENTS, broken, len(colonies), SEASON, kept="as in plan.toml", unit="units")


def _sequence(colonies: pd.DataFrame) -> Finding:
    twice = Counter(_keys(colonies, ["site", "sequence"]))
    broken = [f"{'-'.join(key)} is used {n} times" for key, n in sorted(twice.items()) if n > 1]
    return judged(SEQUENCE, broken, len(colonies), SEASON, kept="all differ", unit="numbers")


def _tags(colonies: pd.DataFrame) -> Finding:
    tags = colonies["tag"].dropna().map(str)
    broken = [f"tag {tag} is used {n} times" for tag, n in sorted(Counter(tags).items()) if n > 1]
    return judged(TAGS, broken, len(tags), SEASON, kept="all differ", unit="tags")


def _known(colonies: pd.DataFrame, written: Written) -> Finding:
    sites = written.tables["sites"]
    chosen = set(sites.loc[sites["chosen"], "site"].map(str))
    candidates = set(written.tables["candidates"]["candidate"].map(str))
    plots: Any = written.table("plots")
    names = set() if plots is None else set(plots["plot"].map(str))
    broken = []
    for site, number, candidate, plot in colonies[["site", "sequence", "candidate", "plot"]].itertuples(index=False):
        if str(site) not in chosen:
            broken.append(f"{site}-{number}: site {site} is not chosen")
        if pd.isna(candidate) or str(candidate) not in candidates:
            broken.append(f"{site}-{number}: candidate {candidate} is unknown")
        if not pd.isna(plot) and str(plot) not in names:
            broken.append(f"{site}-{number}: plot {plot} is unknown")
    return judged(KNOWN, broken, len(colonies), SEASON, kept="looked up in the season's own tables", unit="units")


def _genets(project: Path, settings: Settings, colonies: pd.DataFrame) -> Finding:
    assert settings.stock is not None
    where = f"{SEASON}, {settings.stock.file}"
    try:
        held = _held(project, settings, settings.stock)
    except (SitekitError, ValueError) as error:
        return not_looked_at(GENETS, str(error).splitlines()[0], where)
    used: Counter[tuple[str, str]] = Counter()
    for species, genet, fragments in colonies[["species", "genet", "fragments"]].itertuples(index=False):
        used[(str(species), str(genet))] += int(fragments)
    broken = [
        f"{species} {genet}: {n} fragments planned, {held[(species, genet)]} ready"
        for (species, genet), n in sorted(used.items())
        if n > held[(species, genet)]
    ]
    return judged(GENETS, broken, len(used), where, kept=f"{used.total()} fragments planned", unit="genets")


def _held(project: Path, settings: Settings, stock: Stock) -> Counter[tuple[str, str]]:
    """Fragments ready per species and genet of the plan, from the team's list and the partners' names; refused rows left out."""
    lost: list[Refused] | None = [] if stock.accept_partial else None
    columns = {str(k): v for k, v in stock.columns.items()}
    frame, _ = read_stock(inside(project, stock.file), reading=stock.reading, columns=columns, refused=lost)
    list_of_names = settings.partners.aliases
    names = Aliases() if list_of_names is None else read_aliases(inside(project, list_of_names))
    held: Counter[tuple[str, str]] = Counter()
    for row in frame.to_dict("records"):
        if lost is not None and not str(row["ready"]).strip().isdigit():
            continue
        partner = str(row.get("partner") or stock.partner or row.get("owner") or "")
        species = names.species(str(row["species"]), partner)
        held[(species, names.genet(str(row["genet"]), species, partner))] += int(float(row["ready"]))
    return held


def _wanted(colonies: pd.DataFrame, written: Written, settings: Settings) -> Finding:
    """What the choice's limits and rules did not hand out counts where it is listed as staying behind."""
    placed = Counter(colonies["species"].map(str))
    left, given, behind = (_numbers(written.table(name)) for name in ("unplaced", "allotment", "unallotted"))
    for species, n in settings.spacing.numbers.items():
        left[species] += min(max(n - given[species], 0), behind[species])
    broken = []
    for species, n in sorted(settings.spacing.numbers.items()):
        if placed[species] > n:
            broken.append(f"{species}: {n} asked for, {placed[species]} placed")
        elif placed[species] + left[species] < n:
            broken.append(f"{species}: {n} asked for, {placed[species]} placed, {left[species]} listed as unplaced")
    total = sum(settings.spacing.numbers.values())
    return judged(WANTED, broken, total, f"plan.toml, {SEASON}", kept="per species", unit="units")


def _numbers(table: pd.DataFrame | None) -> Counter[str]:
    found: Counter[str] = Counter()
    if table is not None:
        for species, n in zip(table["species"].map(str), table["number"], strict=True):
            found[species] += int(n)
    return found


def _bound(colonies: pd.DataFrame, offered: pd.DataFrame) -> Finding:
    placed = Counter(_keys(colonies, ["candidate", "species"]))
    known = offered.dropna(subset=["bound"])
    bounds = dict(zip(_keys(known, ["candidate", "species"]), known["bound"].map(int), strict=True))
    broken = [
        f"{' '.join(key)}: {n} units, bound {bounds[key]}"
        for key, n in sorted(placed.items())
        if key in bounds and n > bounds[key]
    ]
    return judged(BOUND, broken, len(bounds), SEASON, kept="candidate by candidate", unit="bounds")
