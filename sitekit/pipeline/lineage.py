"""Where every row came from: living colonies, rows refused, doubts, as tables of the season and as rows of `check`."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from sitekit.base.tables import build, table
from sitekit.layers.cells import Refused
from sitekit.outputs.tables import write_csv, write_table_csv
from sitekit.pipeline.fields import RASTERS, read_ground
from sitekit.pipeline.partners import partner_names, read_set_aside, refused_said
from sitekit.pipeline.places import places_reading
from sitekit.pipeline.project import Project
from sitekit.pipeline.scout import forms_reading
from sitekit.pipeline.stocks import StockRead, stock_reading

# Ours, common practice without a source: 0.01 degrees of latitude are 1.1 km.
COARSE_DECIMALS = 2
COARSENED = "public copy: place to 0.01 degrees; depth, position error and line are left out"


def lineage_tables(project: Project, stock: StockRead) -> dict[str, pd.DataFrame]:
    """Return the tables `living`, `refused_rows` and `doubts`.

    Parameters
    ----------
    project : Project
        With the layers stage done.
    stock : StockRead
        The stock as read.
    """
    crs = read_ground(project).grid.crs
    aside = read_set_aside(project)
    refused = [*aside.refused, *places_reading(project, crs).refused, *forms_reading(project).refused, *stock.refused]
    return {
        "living": _living(project, crs),
        "refused_rows": build("refused_rows", [_told(r) for r in refused]),
        "doubts": build("doubts", [asdict(d) for d in [*aside.doubts, *stock.doubts]]),
    }


def _told(row: Refused) -> dict[str, Any]:
    """A refused row as the table has it: what came, what was due and what to do in one text, for whoever keeps the file."""
    found = asdict(row)
    return found | {"reason": f"{row.reason}. {found.pop('do')}"}


def write_lineage(project: Project, tables: dict[str, pd.DataFrame]) -> list[str]:
    """Write lists of the stock and the living colonies as read, and of rows refused and doubts where there are any.

    Returns
    -------
    list of str
        Names of the files.
    """
    fictional = project.settings.plan.fictional
    files = []
    for file, name in (("stock_read.csv", "stock"), ("refused_rows.csv", "refused_rows"), ("doubts.csv", "doubts")):
        if len(tables[name]):
            write_table_csv(project.target(file), tables[name], name, fictional=fictional)
            files.append(file)
    if len(tables["living"]):
        _write_living(project, gpd.GeoDataFrame(tables["living"]))
        files.append("living_colonies.csv")
    return files


def _write_living(project: Project, living: gpd.GeoDataFrame) -> None:
    """Write the living colonies as read; in a public copy coarsened, in an order that tells no place either."""
    settings = project.settings
    places = living.geometry.to_crs(4326)
    out = pd.DataFrame(living[table("living").names])
    lat, lon = places.y.to_numpy(), places.x.to_numpy()
    decimals = {"size_cm": 1, "position_error_m": 1, "depth_m": 2}
    if settings.outputs.public:
        out = out.drop(columns=["depth_m", "position_error_m", "line"])
        coarse = ["latitude_wgs84_coarse_deg", "longitude_wgs84_coarse_deg"]
        out[coarse[0]], out[coarse[1]] = lat, lon
        for name in coarse:
            out[name] = out[name].round(COARSE_DECIMALS)
            decimals[name] = COARSE_DECIMALS
        out = out.sort_values([*coarse, "file", "species", "size_cm"], kind="stable")
        out["PUBLIC_COPY"] = COARSENED
    else:
        out["latitude_wgs84_deg"], out["longitude_wgs84_deg"] = lat, lon
    if settings.plan.fictional:
        out["FICTIONAL"] = True
    write_csv(project.target("living_colonies.csv"), out, decimals=decimals)


def reading_rows(project: Project, crs: CRS) -> list[dict[str, Any]]:
    """Return a row for `check` of each table that is no layer of the grid: named places, partners' names, stock.

    Parameters
    ----------
    project : Project
        A checked plan.
    crs : pyproj.CRS
        The working system.
    """
    settings = project.settings
    rows: list[dict[str, Any]] = []
    if settings.layers.named_places:
        places = places_reading(project, crs)
        said = [f"{len(places.places)} places"]
        rows.append(_row("named_places", said, settings.layers.named_places.file, places.said, places.refused))
    if settings.partners.aliases:
        names = partner_names(project)
        rows.append(_row("partners", [names.notes[0]], settings.partners.aliases, names.notes[1:]))
    if settings.stock:
        stock = stock_reading(project)
        usable = stock.rows[stock.rows["usable"]]
        said = [
            f"{len(stock.rows)} rows, {len(usable)} usable: {int(usable['ready'].sum())} fragments of "
            f"{usable.groupby(['species', 'genet']).ngroups} genets"
        ]
        partners = sorted({str(p) for p in stock.rows["partner"] if p})
        if partners:
            said.append("partners: " + ", ".join(partners))
        row = _row("stock", said, settings.stock.file, stock.said, stock.refused)
        rows.append({**row, "doubts": [asdict(d) for d in stock.doubts]})
    return rows


def _row(layer: str, said: list[str], source: str, notes: Any, refused: Any = ()) -> dict[str, Any]:
    return {
        "layer": layer, "said": said, "source": source, "notes": list(notes), "refused": refused_said(refused),
        "doubts": [],
    }  # fmt: skip


def _living(project: Project, crs: CRS) -> pd.DataFrame:
    path = project.result(f"{RASTERS}/colonies.gpkg")
    if not project.settings.layers.colonies or not path.exists():
        return build("living", [], [], crs)
    frame = gpd.read_file(path)
    names = table("living").names
    for name in (n for n in names if n not in frame.columns):
        frame[name] = None
    return build("living", frame[names].to_dict("records"), list(frame.geometry), crs)
