"""An edited result is checked like any input and replaces the computed one."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely import Point

from sitekit.base.tables import build
from sitekit.errors import InputFault
from sitekit.pipeline.given import given_allotment, given_colonies
from sitekit.pipeline.project import Project
from sitekit.season.settings import settings_from

UTM = CRS.from_epsg(32622)


def project(folder: Path, **more: Any) -> Project:
    data = {
        "plan": {"name": "Trial", "date": datetime.date(2027, 1, 2), "cell_m": 1.0},
        "layers": {
            "bathymetry": {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
        },
        "species": [{"code": "APAL", "name": "Acropora palmata", "criteria": "elkhorn"}],
        "score": {"passing": 0.6},
        "candidates": {"least_area_m2": 50.0},
        "spacing": {"separation_m": 1.0, "lay_tolerance_m": 0.2, "clearance_m": 0.5},
        **more,
    }
    return Project(folder, settings_from(data))


def test_an_edited_allotment_keeps_genets_as_text(tmp_path: Path) -> None:
    """Genet 010 read as 10 is another genet."""
    (tmp_path / "a.csv").write_text("site,species,genet,number\nWS,APAL,010,3\nWS,APAL,NO,0\n")
    table = given_allotment(
        project(tmp_path, allotment={"from": "a.csv"}), ["WS"], {("APAL", "010"): 3, ("APAL", "NO"): 1}
    )
    assert table is not None
    columns = ["site", "species", "genet", "number"]  # the others come from the stock
    assert table[columns].to_dict("records") == [{"site": "WS", "species": "APAL", "genet": "010", "number": 3}]


def test_every_fault_of_an_edited_allotment_is_named(tmp_path: Path) -> None:
    """More than the stock holds cannot be planted, nor at a site that is not chosen."""
    (tmp_path / "a.csv").write_text("site,species,genet,number\nXX,APAL,010,9\nWS,APAL,zz,one\n")
    with pytest.raises(InputFault) as caught:
        given_allotment(project(tmp_path, allotment={"from": "a.csv"}), ["WS"], {("APAL", "010"): 3})
    text = str(caught.value)
    for part in ("line 2: site 'XX'", "'zz' of 'APAL'", "number 'one'", "9 units of APAL 010"):
        assert part in text


def colonies(**changes: Any) -> gpd.GeoDataFrame:
    rows = [
        {
            "tag": f"00{i}",
            "sequence": i,
            "site": "WS",
            "plot": "WS-01",
            "species": "APAL",
            "genet": "010",
            "units": 1,
            "fragments": 1,
            "depth_m": 2.0,
            "score": 0.8,
        }
        for i in (1, 2)
    ]
    frame = build("colonies", rows, [Point(574_000 + i, 1_995_600) for i in range(2)], UTM)
    return gpd.GeoDataFrame(frame.assign(**changes))


def test_edited_colonies_replace_the_computed_ones(tmp_path: Path) -> None:
    """A moved unit must stand where the person put it."""
    colonies().to_crs(4326).to_file(tmp_path / "c.geojson", driver="GeoJSON", COORDINATE_PRECISION=9)
    plots = pd.DataFrame({"plot": ["WS-01"]})
    table = given_colonies(project(tmp_path, colonies={"from": "c.geojson"}), plots, UTM)
    assert table is not None
    assert table["tag"].tolist() == ["001", "002"]
    assert table.geometry.x.tolist() == pytest.approx([574_000, 574_001], abs=1e-3)


def test_faults_of_edited_colonies_are_named(tmp_path: Path) -> None:
    """Two units with one number cannot be told apart on the bottom."""
    colonies(sequence=7, plot="ZZ-09").to_crs(4326).to_file(tmp_path / "c.geojson", driver="GeoJSON")
    with pytest.raises(InputFault, match=r"sequence given twice[\s\S]*plots ZZ-09"):
        given_colonies(project(tmp_path, colonies={"from": "c.geojson"}), pd.DataFrame({"plot": ["WS-01"]}), UTM)


def test_without_an_edit_nothing_is_replaced(tmp_path: Path) -> None:
    """The computed result stands."""
    assert given_allotment(project(tmp_path), [], {}) is None
    assert given_colonies(project(tmp_path), pd.DataFrame({"plot": []}), UTM) is None
