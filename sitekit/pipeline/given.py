"""Results that a person edited and named in plan.toml: read, checked like any input, put in place of the computed ones."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pyogrio
from pyproj import CRS

from sitekit.base.tables import build, table
from sitekit.errors import Fault, Faults, FileFault, InputFault
from sitekit.pipeline.project import Project

ORIGINS = ("partner", "stock_rows")  # filled from the stock in any case
_ALLOTTED = [n for n in table("allotment").names if n not in ORIGINS]


def given_allotment(project: Project, sites: list[str], units: dict[tuple[str, str], int]) -> pd.DataFrame | None:
    """Return the allotment named by `[allotment] from`, None without one.

    Parameters
    ----------
    project : Project
        With its settings.
    sites : list of str
        Chosen sites.
    units : dict of (species, genet) to int
        What the stock yields.

    Raises
    ------
    InputFault
        Naming every missing column, unknown site, unknown genet, wrong number, and genet given out too often.
    """
    setting = project.settings.allotment
    if setting is None:
        return None
    path = project.input(setting.from_file, "allotment.from")
    try:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputFault(Fault("allotment.from", f"{path.name}: {error}", "a CSV in UTF-8", "Correct it.")) from error
    with Faults() as faults:
        for name in _ALLOTTED:
            if name not in frame.columns:
                faults.add("allotment.from", f"{path.name} lacks {name!r}", ", ".join(_ALLOTTED), "Add it.")
    given: dict[tuple[str, str], int] = {}
    rows = []
    with Faults() as faults:
        for line, row in enumerate(frame.to_dict("records"), start=2):
            where = f"{path.name}, line {line}"
            row["genet"] = fused(str(row["genet"]))
            key = (str(row["species"]), str(row["genet"]))
            if row["site"] not in sites:
                faults.add(where, f"site {row['site']!r} is not chosen", ", ".join(sites) or "no site", "Correct it.")
            if key not in units:
                faults.add(
                    where,
                    f"genet {key[1]!r} of {key[0]!r} is not in the usable stock",
                    "a genet of the list",
                    "Correct it.",
                )
            if not str(row["number"]).isdigit():
                faults.add(where, f"number {row['number']!r}", "a whole number of units", "Correct it.")
                continue
            given[key] = given.get(key, 0) + int(row["number"])
            rows.append({**row, "number": int(row["number"])})
        for key, number in given.items():
            if number > units.get(key, number):
                faults.add(
                    "allotment.from", f"{number} units of {key[0]} {key[1]}", f"at most {units[key]}", "Give out fewer."
                )
    return build("allotment", [{k: r[k] for k in _ALLOTTED} for r in rows if r["number"]])


def given_colonies(project: Project, plots: pd.DataFrame, crs: CRS) -> pd.DataFrame | None:
    """Return the colonies named by `[colonies] from`, None without any.

    Parameters
    ----------
    project : Project
        With its settings.
    plots : DataFrame
        The table `plots` that the colonies refer to.
    crs : pyproj.CRS
        The working system.

    Raises
    ------
    FileFault, InputFault
        Naming every fault: columns, doubled numbers or tags, plots that do not exist.
    """
    setting = project.settings.colonies
    if setting is None:
        return None
    path = project.input(setting.from_file, "colonies.from")
    try:
        frame = gpd.read_file(path)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise FileFault(
            Fault("colonies.from", f"{path.name} cannot be read: {error}", "GeoJSON", "Correct it.")
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None:
        raise InputFault(Fault("colonies.from", f"{path.name} has no points with a system", "points", "Correct it."))
    frame = frame.to_crs(crs)
    names = [n for n in table("colonies").names if n not in ORIGINS]
    with Faults() as faults:
        for name in names:
            if name not in frame.columns:
                faults.add(
                    "colonies.from", f"{path.name} lacks {name!r}", ", ".join(names), "Start from out/colonies.geojson."
                )
    rows = frame[names].to_dict("records")
    with Faults() as faults:
        for column, key in (("sequence", ["site", "sequence"]), ("tag", ["tag"])):
            twice = frame[frame.duplicated(key, keep=False) & frame[column].notna()]
            if len(twice):
                faults.add("colonies.from", f"{column} given twice in {len(twice)} rows", "each once", "Correct it.")
        known = set(plots["plot"])
        lost = sorted({str(p) for p in frame["plot"] if p is not None and p not in known})
        if lost:
            faults.add(
                "colonies.from", "plots " + ", ".join(lost[:5]), "plots of this plan", "Correct the plot column."
            )
    return build("colonies", [{str(k): v for k, v in r.items()} for r in rows], list(frame.geometry), crs)


def fused(text: str) -> str:
    """Return a text as it was before a CSV of ours put an apostrophe in front of it."""
    return text[1:] if text.startswith("'") else text


_TRUE, _FALSE = ("true", "yes", "1"), ("false", "no", "0")


def given_sites(project: Project, candidates: pd.DataFrame) -> dict[str, tuple[bool, str]] | None:
    """Return the sites named by `[sites] from`, None without any: site -> (chosen, reason).

    The file is a CSV with the columns site, chosen and reason, for instance a copy of out/sites.csv.

    Raises
    ------
    InputFault
        Naming every missing column, unknown or doubled site, and value of `chosen` that is neither true nor false.
    """
    setting = project.settings.sites
    if setting is None:
        return None
    path = project.input(setting.from_file, "sites.from")
    try:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputFault(Fault("sites.from", f"{path.name}: {error}", "a CSV in UTF-8", "Correct it.")) from error
    with Faults() as faults:
        for name in ("site", "chosen", "reason"):
            if name not in frame.columns:
                faults.add("sites.from", f"{path.name} lacks {name!r}", "site, chosen, reason", "Add the column.")
    known = {str(c) if pd.isna(s) else str(s) for s, c in zip(candidates["site"], candidates["candidate"], strict=True)}
    known |= {s.code for s in project.settings.site}
    placed = {
        str(c) if pd.isna(s) else str(s) for s, c in zip(candidates["site"], candidates["candidate"], strict=True)
    }
    found: dict[str, tuple[bool, str]] = {}
    with Faults() as faults:
        for line, row in enumerate(frame.to_dict("records"), start=2):
            where, site = f"{path.name}, line {line}", str(row["site"])
            word = str(row["chosen"]).strip().lower()
            if word not in (*_TRUE, *_FALSE):
                faults.add(where, f"chosen {row['chosen']!r}", "true or false", "Correct it.")
            if site not in known:
                faults.add(where, f"site {site!r} is not in this run", ", ".join(sorted(known)), "Correct the code.")
            elif word in _TRUE and site not in placed:
                faults.add(where, f"site {site!r} lies in no candidate", "a site that passes", "Set chosen to false.")
            if site in found:
                faults.add(where, f"site {site!r} stands there twice", "one line per site", "Drop one.")
            found[site] = (word in _TRUE, fused(str(row["reason"]).strip()) or "edited by hand")
    return found
