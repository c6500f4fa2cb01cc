"""Two real places, from open files to a map: both mapped too coarsely to place a colony, so both are areas to scout.

The folder that SITEKIT_OPEN_DATA names holds the files and says in SOURCES.md where each comes from. Criteria are
written for the place: the built-in sets fit neither these depths nor these species.
"""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
import rasterio

from sitekit.season.plan_tables import read_table
from tests.season.conftest import Said, command, digests

OPEN_DATA = os.environ.get("SITEKIT_OPEN_DATA", "")
pytestmark = [
    pytest.mark.open_data,
    pytest.mark.slow,
    pytest.mark.skipif(not OPEN_DATA, reason="SITEKIT_OPEN_DATA names no folder with the open data"),
]

OAHU = """
[plan]
name = "Oahu, areas to scout"
date = 2026-04-15
cell_m = 50.0
[layers.bathymetry]
file = "depth_50m_wgs84.tif"
sign = "elevation"
units = "m"
datum = "not stated"
depth_error_m = 4.0          # its source's second depth field differs by as much
[layers.substrate]
file = "structure_50m_wgs84.tif"
[layers.substrate.classes]
"1" = "Coral Reef Substrate"
"2" = "Coral Reef Substrate"
"3" = "Coral Reef Substrate"
"4" = "Bedrock"
"5" = "Bedrock"
"6" = "Rock Substrate"
"7" = "Coral Rubble"
"8" = "Coral Reef Substrate"
"9" = "Coral Reef Substrate"
"10" = "unknown"
[[layers.colonies]]          # a row per species and survey site
file = "coral_taxa_by_site.csv"
origin = "wild"
position_error_m = 15.0
columns = { species = "TAXONCODE", size_cm = "Ave.size" }
[[species]]
code = "PMEA"
name = "cauliflower coral, Pocillopora meandrina"
[[criteria]]
name = "depth"
field = "depth_m"
curve = { shape = "trapezoid", at = [1.0, 3.0, 12.0, 20.0] }
weight = 2.0
source = "written for this test"
[[criteria]]
name = "bottom"
field = "substrate"
curve = { shape = "classes", classes = { "Coral Reef Substrate" = 1, "Bedrock" = 0.8, "Rock Substrate" = 0.7 } }
weight = 2.0
source = "written for this test"
[[criteria]]
name = "steepness"
field = "slope_deg"
curve = { shape = "fall", at = [10.0, 30.0] }
weight = 1.0
source = "written for this test"
[terrain]
position_inner_m = 50.0
position_outer_m = 150.0
ruggedness_radius_m = 75.0
[score]
passing = 0.8
[exclusions]
least_depth_m = 2.0
greatest_depth_m = 20.0
substrate = ["Coral Rubble"]
[candidates]
least_area_m2 = 250000.0
[spacing]
separation_m = 1.0
lay_tolerance_m = 0.2
clearance_m = 1.0
"""

BANKS = """
[plan]
name = "Flower Garden Banks, areas to scout"
date = 2026-04-15
cell_m = 50.0
[layers.bathymetry]
file = "frame_50m_wgs84.geojson"
field = "DEPTH_M"
sign = "elevation"
units = "m"
datum = "not stated"
depth_error_m = 0.5          # whole metres
[layers.substrate]
file = "frame_50m_wgs84.geojson"
field = "HABITAT"
resolution_m = 50.0
[layers.substrate.classes]   # high and low relief, both coral reef
"HR" = "Coral Reef Substrate"
"LR" = "Coral Reef Substrate"
[[layers.colonies]]          # positions are those of the survey site
file = "coral_colonies.csv"
origin = "wild"
position_error_m = 15.0
columns = { species = "SPECIES_CD", size_cm = "MAX_DIAMETER" }
[layers.protected]
file = "sanctuary_boundary_nad83.geojson"
name_field = "AREA_NAME"
[layers.protected.rules]
"Stetson Bank" = "forbidden"
"West Flower" = "permit"
"East Flower" = "permit"
[[species]]
code = "OFAV"
name = "mountainous star coral, Orbicella faveolata"
[[criteria]]
name = "depth"
field = "depth_m"
curve = { shape = "trapezoid", at = [15.0, 18.0, 25.0, 32.0] }
weight = 2.0
source = "written for this test"
[[criteria]]
name = "living colonies near"
field = "distance_colonies_m"
curve = { shape = "fall", at = [100.0, 1500.0] }
weight = 1.0
source = "written for this test"
[score]
passing = 0.6
[exclusions]
greatest_depth_m = 30.0
permit_held = ["West Flower", "East Flower"]
[candidates]
least_area_m2 = 7000.0
[spacing]
separation_m = 1.0
lay_tolerance_m = 0.2
clearance_m = 1.0
"""


def planned(folder: Path, source: str, names: list[str], plan: str) -> Said:
    """Copy the files, write the plan, run it."""
    folder.mkdir()
    for name in names:
        shutil.copy(Path(OPEN_DATA) / source / name, folder / name)
        (folder / name).chmod(0o644)
    (folder / "plan.toml").write_text(plan, "utf-8")
    return command("run", folder, "--json")


def scouted(folder: Path, said: Said) -> dict[str, dict[str, object]]:
    """What both places have in common: areas to scout, a map, no list of colonies, every promise kept."""
    assert said.code == 0, said.err
    figures: dict[str, dict[str, object]] = json.loads(said.out)["figures"]
    assert "areas to scout" in str(figures["layers"]["scout"])
    out = folder / "out"
    page = (out / "map.html").read_text("utf-8")
    assert "areas to scout" in page.lower()
    assert "colonies.csv" not in digests(out)
    assert "colonies.geojson" not in digests(out)
    areas = json.loads((out / "candidates.geojson").read_text("utf-8"))["features"]
    assert len(areas) == figures["candidates"]["candidates"] > 0
    audit = command("audit", folder, "--json")
    assert [f for f in json.loads(audit.out) if not f["ok"]] == []
    assert audit.code == 0
    return figures


def test_oahu_goes_from_files_to_a_map_of_areas_to_scout(tmp_path: Path) -> None:
    """A real survey grid with gaps, no protected areas and colonies by site would stop the season at its first day.

    Slow: 1.6 million cells of 50 m are warped, scored and drawn.
    """
    names = ["depth_50m_wgs84.tif", "structure_50m_wgs84.tif", "coral_taxa_by_site.csv"]
    said = planned(tmp_path / "oahu", "oahu", names, OAHU)
    figures = scouted(tmp_path / "oahu", said)
    rows = {r["layer"]: r for r in figures["layers"]["layers"]}  # type: ignore[attr-defined, index]
    assert rows["colonies[1]"]["rows"] == 845  # SOURCES.md
    assert rows["bathymetry"]["maximum"] <= 30.0  # SOURCES.md: -30.0..-0.1, negative below water
    assert rows["bathymetry"]["share_covered"] < 0.2  # 101,149 of 1,255,938 cells hold a value
    page = (tmp_path / "oahu" / "out" / "map.html").read_text("utf-8")
    assert "No protected-area layer was given" in page
    ranks = read_table(tmp_path / "oahu" / "out" / "season.gpkg", "candidate_ranks")
    assert len(ranks) == figures["candidates"]["candidates"]
    assert ((ranks["rank_low"] <= ranks["rank_high"]) & (ranks["rank_depth_low"] <= ranks["rank"])).all()
    with (
        rasterio.open(tmp_path / "oahu" / "out" / "stability_PMEA.tif") as shares,
        rasterio.open(tmp_path / "oahu" / "out" / "score_PMEA.tif") as scores,
    ):
        share, score = shares.read(1), scores.read(1)
    np.testing.assert_array_equal(np.isnan(share), np.isnan(score))
    # a tenth of the cells, or more where scores are equal; the threshold comes from 65,536 cells
    assert np.nanmean(share) >= 0.1 - 0.005
    assert np.nanmean(share[score < np.nanquantile(score, 0.5)]) < 0.05 < np.nanmean(share)


def test_flower_garden_banks_go_from_polygons_to_a_map_of_areas_to_scout(tmp_path: Path) -> None:
    """Depth and bottom in polygons, areas on another datum and 7,480 colonies are what some teams have.

    Slow: two banks 20 km apart at 50 m, thousands of colonies drawn on the map.
    """
    names = ["frame_50m_wgs84.geojson", "sanctuary_boundary_nad83.geojson", "coral_colonies.csv"]
    said = planned(tmp_path / "banks", "flower_garden_banks", names, BANKS)
    figures = scouted(tmp_path / "banks", said)
    rows = {r["layer"]: r for r in figures["layers"]["layers"]}  # type: ignore[attr-defined, index]
    assert rows["colonies[1]"]["rows"] == 7480  # SOURCES.md
    assert rows["protected"]["rows"] == 3
    assert (rows["bathymetry"]["minimum"], rows["bathymetry"]["maximum"]) == (18.0, 30.0)  # SOURCES.md
