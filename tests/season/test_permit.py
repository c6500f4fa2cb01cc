"""The demo's permit packet: areas and corners against outside programs, drafts, public copies, amendments, audit."""

from __future__ import annotations

import dataclasses
import json
import shutil
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from sitekit.audit.permits_kept import (
    CAPS,
    CLEAR,
    CORNERS,
    GROUND,
    METHODS,
    PERIOD,
    REGIONS,
    UNITS,
    audit_permits,
)
from sitekit.audit.written import Written, read_written
from sitekit.base.crs import WGS84, transform_points, utm_zone
from sitekit.base.positions import read_angle
from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.outputs.permit_pdf.as_text import permit_table
from sitekit.outputs.permit_pdf.packet import Packet
from sitekit.outputs.permit_pdf.write import packet_bytes
from sitekit.pipeline import outline
from sitekit.pipeline.export import CAUTIONS
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.packet import norths_of, packet_of
from sitekit.pipeline.project import Project, open_project
from sitekit.season.plan_tables import read_plan
from sitekit.season.settings import Settings, read_settings, settings_from
from tests.outputs.permit_packet import page_faults, page_texts
from tests.season.conftest import Ran


def changed(settings: Path, **permit: Any) -> Settings:
    """The demo's settings with keys of its permit changed; `None` for no permit at all."""
    data = tomllib.loads((settings / "plan.toml").read_text("utf-8"))
    if permit.get("permit", True) is None:
        del data["permit"]
    else:
        data["permit"][0].update(permit)
    return settings_from(data)


_SEASONS: dict[str, dict[str, pd.DataFrame]] = {}


def opened(folder: Path, settings: Settings) -> Project:
    """A project with its season in memory; a season of the same bytes is read once."""
    project = Project(folder, settings)
    key = json.loads((folder / "out" / "manifest.json").read_text("utf-8"))["files"]["season.gpkg"]
    if key not in _SEASONS:
        _SEASONS[key] = project.season()
    kept: Any = {name: table.copy() for name, table in _SEASONS[key].items()}
    project.write_season(kept, kept["candidates"].crs)
    return project


def outlined(folder: Path, settings: Settings, **outputs: Any) -> tuple[Packet, dict[str, Any]]:
    """Draw the work areas anew with other settings, from the season in `folder`."""
    data = settings.model_dump(mode="python", by_alias=True)
    data["outputs"].update(outputs)
    project = opened(folder, settings.model_validate(data))
    figures = outline.run(project, "test0000").figures
    return packet_of(project, read_ground(project), project.season(), "test0000", CAUTIONS), figures


def texts(packet: Packet) -> list[str]:
    return page_texts(packet_bytes(packet)[0])


@pytest.fixture(scope="module")
def tables(demo: Ran) -> dict[str, Any]:
    return read_plan(demo.folder / "out" / "season.gpkg")


@pytest.fixture(scope="module")
def written(demo: Ran) -> Written:
    return read_written(demo.folder / "out")


def test_the_demo_packet_is_whole_and_clean(demo: Ran, tables: dict[str, Any]) -> None:
    """Nothing overprinted, nothing outside the margins, no open item, each work area drawn."""
    data = (demo.folder / "out" / "permit.pdf").read_bytes()
    assert page_faults(data, with_pdfplumber=True) == []
    assert page_faults(data) == []
    assert len(data) < 3_000_000
    assert not len(tables["open_items"][tables["open_items"]["kind"] != "note"])
    pages = page_texts(data)
    assert len(pages) <= 14
    said = " ".join(pages)
    assert "DRAFT" not in said
    assert "FICTIONAL" in said
    for site in tables["work_areas"]["site"]:
        assert f"Plan and section: {site}" in said


def test_areas_are_those_of_geographiclib_at_the_printed_corners(tables: dict[str, Any]) -> None:
    """An officer who types the corners into another program must find the area stated, within the difference stated."""
    for row in tables["work_areas"].itertuples():
        own = tables["corners"][tables["corners"]["work_area"] == row.work_area]
        for style, limit in (("minutes", 0.01), ("degrees", row.difference_m2 + 0.01)):
            ring = Geodesic.WGS84.Polygon()
            for c in own.itertuples():
                lat = read_angle(getattr(c, f"latitude_{style}"), "lat")
                lon = read_angle(getattr(c, f"longitude_{style}"), "lon")
                ring.AddPoint(lat, lon)
            assert abs(ring.Compute()[2]) == pytest.approx(row.area_m2, abs=limit)
        assert row.area_acre == pytest.approx(row.area_m2 / 4046.8564224)
        assert row.area_ha == pytest.approx(row.area_m2 / 10_000)


def test_printed_corners_are_the_outline(tables: dict[str, Any]) -> None:
    """Printed, parsed back, they lie on the outline to the millimetre: the outline *is* the printed corners."""
    crs = tables["work_areas"].crs
    for row in tables["work_areas"].itertuples():
        own = tables["corners"][tables["corners"]["work_area"] == row.work_area]
        lon = [read_angle(v, "lon") for v in own["longitude_minutes"]]
        lat = [read_angle(v, "lat") for v in own["latitude_minutes"]]
        x, y = transform_points(lon, lat, WGS84, crs)
        away = shapely.distance(shapely.points(x, y), row.geometry.boundary)
        assert away.max() < 1e-3
        rough = [read_angle(v, "lat") for v in own["latitude_degrees"]]
        assert np.abs(np.array(rough) - lat).max() <= 0.5e-6 + 1e-12  # 6 decimals of a degree
        assert len(own) == row.corners


def test_every_plot_with_its_errors_is_in_its_work_area(demo: Ran, tables: dict[str, Any]) -> None:
    """Pin error 5 m and laying tolerance 0.2 m: a unit may stand that far off its plan and must be permitted there."""
    areas = shapely.union_all(tables["work_areas"].geometry.to_numpy())
    wide = [p.buffer(5.2) for p in tables["plots"].geometry]
    assert all(areas.buffer(1e-6).contains(p) for p in wide)
    assert tables["work_areas"]["units"].sum() == len(tables["colonies"])


def test_geojson_and_shapefile_hold_the_same_outlines(demo: Ran, tables: dict[str, Any], tmp_path: Path) -> None:
    """Three files with three outlines would be three applications."""
    out = demo.folder / "out"
    map_file = gpd.read_file(out / "work_areas.geojson")
    with zipfile.ZipFile(out / "work_areas.zip") as archive:
        assert {Path(n).suffix for n in archive.namelist()} == {".shp", ".shx", ".dbf", ".prj", ".cpg"}
        archive.extractall(tmp_path)
    shapes = gpd.read_file(tmp_path / "work_areas.shp")
    due = tables["work_areas"].to_crs(4326)
    for frame in (map_file, shapes):
        assert frame["work_area"].tolist() == due["work_area"].tolist()
        assert all(shapely.hausdorff_distance(frame.geometry.to_numpy(), due.geometry.to_numpy()) < 1e-7)
        assert frame.crs == 4326
        assert "FICTIONAL" in frame.columns


def test_the_tables_file_says_what_the_sheets_say(demo: Ran, tables: dict[str, Any]) -> None:
    """A form filled from the CSV must agree with the drawing beside it."""
    listed = pd.read_csv(demo.folder / "out" / "permit_tables.csv", dtype=str, keep_default_na=False)
    corners = listed[(listed["table"] == "corners") & (listed["item"] == "latitude_minutes")]
    assert corners["value"].tolist() == tables["corners"]["latitude_minutes"].tolist()
    units = listed[(listed["table"] == "planting") & (listed["item"] == "fragments")]
    assert units["value"].astype(int).sum() == tables["colonies"]["fragments"].sum()
    assert set(listed["FICTIONAL"]) == {"true"}


@pytest.mark.slow
def test_text_blocks_are_counted_against_the_form(demo: Ran, tables: dict[str, Any]) -> None:
    """A form that cuts a text at 2,000 characters cuts the point of it."""
    for row in tables["packet_texts"].itertuples():
        assert row.characters == len(row.text)
    said = (demo.folder / "out" / "permit_text.txt").read_text("utf-8")
    count = int(tables["packet_texts"].set_index("name")["characters"]["abstract"])
    assert f"[abstract] {count} characters of at most 2000" in said
    figures = [n for n in tables["packet_texts"]["name"] if str(n).startswith("figure: ")]
    assert len(figures) == 1 + len(tables["work_areas"])
    packet, _ = outlined(demo.folder, changed(demo.folder, text_limits={"abstract": 50}))
    assert "text abstract" in " ".join(packet.open_items["item"])
    assert "DRAFT" in packet.stamps


@pytest.mark.slow
def test_without_a_permit_the_packet_is_a_draft_that_lists_what_is_missing(demo: Ran) -> None:
    """An invented applicant is worse than an empty box.

    Slow: plans a whole season again.
    """
    packet, figures = outlined(demo.folder, changed(demo.folder, permit=None))
    assert figures["missing_facts"] >= 15
    data, _ = packet_bytes(packet)
    pages = page_texts(data)
    assert all("DRAFT" in page for page in pages)
    assert "applicant not stated" in pages[0] or "not stated" in pages[0]
    assert any("missing fact" in page and "permit[1].applicant" in page for page in pages)
    assert page_faults(data) == []


def test_a_public_copy_leaves_out_colonies_outplants_and_nursery_and_says_so(demo: Ran) -> None:
    """A copy on a notice board must not lead poachers to the corals."""
    packet, _ = outlined(demo.folder, read_settings(demo.folder / "plan.toml"), public=True)
    assert packet.existing is None
    assert len(packet.plots) == 0
    season = read_plan(demo.folder / "out" / "season.gpkg")
    among_wild = season["plots"].geometry[season["plots"]["role"] == "reference"]
    assert len(among_wild)
    assert not any(packet.areas.geometry.intersects(p).any() for p in among_wild.centroid)
    assert set(packet.corners["work_area"]) == set(packet.areas["work_area"]) < set(season["work_areas"]["work_area"])
    assert "nursery" not in {m.kind for m in packet.marks}
    pages = texts(packet)
    assert all("PUBLIC COPY" in page for page in pages)
    assert all("wild colonies, earlier outplants and the nursery are left out" in page for page in pages)
    assert not any("wild colony" in page for page in pages)


@pytest.mark.slow
def test_an_amendment_shows_old_and_new_on_one_sheet(reef: Path) -> None:
    """An office that must find the change itself finds another one.

    Slow: plans a whole season again.
    """
    (reef / "last").mkdir()
    shutil.copy(reef / "out" / "season.gpkg", reef / "last" / "season.gpkg")
    data = tomllib.loads((reef / "plan.toml").read_text("utf-8"))
    data["permit"][0].update(
        amends="last/season.gpkg", amendment_reason="smaller error of the new receiver", revision="B"
    )
    data["spacing"]["pin_error_m"] = 3.0
    packet, figures = outlined(reef, settings_from(data))
    assert figures["amendments"] == len(packet.amendments) > 0
    data, _ = packet_bytes(packet)
    pages = [p for p in page_texts(data) if "Amendment, revision B" in p]
    assert len(pages) == 1
    assert "smaller error of the new receiver" in pages[0]
    assert {"in the earlier packet", "in this packet"} <= {
        w for w in ("in the earlier packet", "in this packet") if w in pages[0]
    }
    old = read_plan(reef / "last" / "season.gpkg")["corners"]
    first = packet.amendments[packet.amendments["what"].str.startswith("corner")].iloc[0]
    assert first["old"].split(", ")[0] in set(old["latitude_minutes"])
    assert page_faults(data) == []


@pytest.mark.slow
def test_an_amendment_of_the_same_plan_changes_nothing(reef: Path) -> None:
    """A packet handed in twice is no amendment."""
    (reef / "last").mkdir()
    shutil.copy(reef / "out" / "season.gpkg", reef / "last" / "season.gpkg")
    packet, figures = outlined(reef, changed(reef, amends="last/season.gpkg", amendment_reason="none"))
    assert figures["amendments"] == 0
    assert "Nothing changed" in "".join(texts(packet))


def test_work_areas_stay_inside_the_permitted_outlines(reef: Path) -> None:
    """An outline over the permitted border is asked for in vain; the plots stay in, cut or said."""
    season = read_plan(reef / "out" / "season.gpkg")
    edge = shapely.union_all(season["plots"].geometry.buffer(6.0).to_numpy())
    gpd.GeoDataFrame({"name": ["permitted"]}, geometry=[edge], crs=season["plots"].crs).to_file(reef / "permitted.gpkg")
    packet, figures = outlined(reef, changed(reef, area_file="permitted.gpkg"))
    assert figures["caps_kept"] == figures["caps"]
    for shape in packet.areas.geometry:
        assert edge.buffer(1e-3).covers(shape)
    assert packet.areas["whole"].all()


@pytest.mark.slow
def test_areas_to_scout_are_drawn_without_plots(demo: Ran) -> None:
    """A coarse map holds no plot: an outline with plots in it would be planted off the map unseen.

    Slow: plans a whole season again.
    """
    project = opened(demo.folder, read_settings(demo.folder / "plan.toml"))
    tables = project.season()
    crs = tables["candidates"].crs
    none = {n: tables[n].iloc[:0] for n in ("plots", "colonies", "allotment")}
    project.write_season({**tables, **none}, crs)
    ground = dataclasses.replace(read_ground(project), scout=True, scout_reason="the bottom was mapped at 50 m")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(outline, "read_ground", lambda _: ground)
        outline.run(project, "test0000")
    packet = packet_of(project, ground, project.season(), "test0000", CAUTIONS)
    assert packet.stamps[0] == "AREAS TO SCOUT"
    outlines = dict(zip(tables["candidates"]["candidate"], tables["candidates"].geometry, strict=True))
    assert 0 < len(packet.areas) <= 20
    for shape, due in zip(packet.areas.geometry, outlines.values(), strict=False):
        assert shape.buffer(0.2).contains(due)
    data, _ = packet_bytes(packet)
    assert page_faults(data) == []
    pages = page_texts(data)
    assert all("AREAS TO SCOUT" in page for page in pages)
    assert not any("planted plot" in page for page in pages)


def test_check_says_how_permits_were_understood(demo: Ran) -> None:
    """A cap read as another number is found on the day of the inspection."""
    rows = outline.permit_rows(Project(demo.folder, read_settings(demo.folder / "plan.toml")))
    assert "at most 200 fragments of APAL" in rows[0]["said"]


@pytest.mark.slow
def test_names_that_no_layer_has_are_refused(demo: Ran) -> None:
    """A permit for an area spelt wrongly opens nothing."""
    with pytest.raises(InputFault, match=r"permit\[1\].areas: 'Tarowenne Park' is no protected area of the plan"):
        outlined(demo.folder, changed(demo.folder, areas=["Tarowenne Park"]))
    with pytest.raises(InputFault, match=r"permit.datum: EPSG:32622 is .*latitude and longitude"):
        outlined(demo.folder, changed(demo.folder, datum="EPSG:32622"))
    with pytest.raises(InputFault, match=r"permit\[1\].buoys, B"):
        outlined(demo.folder, changed(demo.folder, buoys=[{"name": "B", "at": "north of the islet"}]))


MAGNETIC = [
    r
    for r in json.loads(shared_file("reference/magnetic.json").read_text("utf-8"))
    if r["id"].startswith("wmm2025-reef") and r["inputs"]["decimal_year"] < 2030
]


@pytest.mark.parametrize("row", MAGNETIC, ids=[r["id"] for r in MAGNETIC])
def test_the_needle_on_the_sheet_is_the_models(row: dict[str, Any]) -> None:
    """A declination of the wrong sign turns a bearing by twice its angle; rows of WMM2025 on both sides of zero."""
    import datetime

    given = row["inputs"]
    year = int(given["decimal_year"])
    days = (datetime.date(year + 1, 1, 1) - datetime.date(year, 1, 1)).days
    date = datetime.date(year, 1, 1) + datetime.timedelta(days=round((given["decimal_year"] - year) * days))
    crs = utm_zone(given["lon"], given["lat"])
    x, y = transform_points([given["lon"]], [given["lat"]], WGS84, crs)
    areas = gpd.GeoDataFrame({"work_area": ["A"]}, geometry=[shapely.Point(x[0], y[0]).buffer(5)], crs=crs)
    norths = norths_of(areas, crs, date)["A"]
    due = row["expected"]["declination_deg"]
    assert norths.declination_deg == pytest.approx(due, abs=2e-3)  # half a day of yearly change and 5 m of place
    assert f"{abs(due):.1f}° {'east' if due >= 0 else 'west'} of true north" in " ".join(norths.sentences())


def test_after_2029_no_bearing_is_printed() -> None:
    """The model ends; a needle drawn from it would be followed."""
    import datetime

    crs = utm_zone(-50, 18)
    areas = gpd.GeoDataFrame({"work_area": ["A"]}, geometry=[shapely.Point(5e5, 2e6).buffer(5)], crs=crs)
    assert norths_of(areas, crs, datetime.date(2030, 6, 1))["A"].declination_deg is None


AUDITED: list[tuple[str, dict[str, Any], str]] = [
    (CAPS, {"caps": [{"species": "APAL", "most": 100}]}, "150 fragments of APAL planned, 100 permitted"),
    (CAPS, {"caps": [{"counts": "genets", "most": 3}]}, "genets of all species planned, 3 permitted"),
    (CAPS, {"caps": [{"most": 1, "area": "Tarrowenne Reef Park"}]}, "in Tarrowenne Reef Park planned, 1 permitted"),
    (REGIONS, {"genet_regions": ["north reef"]}, "is from "),
    (METHODS, {"methods": ["wire"]}, "'two-part epoxy' is not among wire"),
    (GROUND, {"most_area_m2": 100.0}, "m² of work areas, 100 m² permitted"),
]


@pytest.mark.parametrize(("promise", "change", "named"), AUDITED, ids=[f"{k}" for k in range(len(AUDITED))])
def test_the_audit_names_what_a_permit_does_not_allow(
    demo: Ran, written: Written, promise: str, change: dict[str, Any], named: str
) -> None:
    """A permit kept on paper only is found out by the first inspection."""
    found = {f.promise: f for f in audit_permits(demo.folder, changed(demo.folder, **change), written)}
    assert not found[promise].ok
    assert named in found[promise].detail


def test_the_audit_names_planting_outside_the_dates(demo: Ran, written: Written) -> None:
    """A day before the permit is a day without one."""
    import datetime

    settings = changed(demo.folder, planting_from=datetime.date(2026, 4, 1))
    found = {f.promise: f for f in audit_permits(demo.folder, settings, written)}
    assert "planting begins 2026-04-01" in found[PERIOD].detail


def test_the_audit_reads_corners_and_positions_again(reef: Path) -> None:
    """Damage to the printed corners, to a unit's position and to the plan's distances is named."""
    settings = read_settings(reef / "plan.toml")
    path = reef / "out" / "permit_tables.csv"
    listed = path.read_bytes().decode("utf-8-sig")
    corner = next(line for line in listed.splitlines() if line.startswith("corners,") and "latitude_minutes" in line)
    minutes = corner.split("′")[0].split(" ")[-1]
    path.write_bytes(
        listed.replace(corner, corner.replace(minutes, f"{float(minutes) + 0.05:07.4f}")).encode("utf-8-sig")
    )
    written = read_written(reef / "out")
    assert written.colonies is not None
    moved = written.colonies.copy()
    moved.loc[0, "geometry"] = shapely.affinity.translate(moved.geometry.iloc[0], 0.002, 0.0)
    found = {f.promise: f for f in audit_permits(reef, settings, dataclasses.replace(written, colonies=moved))}
    assert not found[CORNERS].ok
    assert not found[UNITS].ok
    assert found[CLEAR].ok
    data = tomllib.loads((reef / "plan.toml").read_text("utf-8"))
    data["layers"]["constraints"]["heritage"]["keep_clear_m"] = 500.0
    found = {f.promise: f for f in audit_permits(reef, settings_from(data), written)}
    assert "from heritage" in found[CLEAR].detail


def test_the_demo_keeps_its_permit(demo: Ran, written: Written) -> None:
    """The example that people copy must be one that holds."""
    findings = audit_permits(demo.folder, read_settings(demo.folder / "plan.toml"), written)
    assert [f.promise for f in findings if not f.ok] == []
    assert len(findings) == 8


def test_cells_near_what_is_kept_clear_carry_their_own_reason(demo: Ran) -> None:
    """A planner who is told "substrate" looks at the wrong map."""
    import rasterio

    from sitekit.suitability.exclusions import KEEP_CLEAR

    cable = gpd.read_file(demo.folder / "cable.geojson").to_crs(32622).geometry.union_all()
    with rasterio.open(demo.folder / "out" / "reasons_ACER.tif") as file:
        reason = file.read(2)
        rows, cols = np.nonzero(reason == KEEP_CLEAR)
        x, y = rasterio.transform.xy(file.transform, rows, cols)
    beds = [
        gpd.read_file(demo.folder / f"{n}.geojson").to_crs(32622).geometry.union_all() for n in ("seagrass", "heritage")
    ]
    points = shapely.points(x, y)
    near = (shapely.distance(points, cable) < 21) | (shapely.distance(points, beds[0]) < 6)
    near |= shapely.distance(points, beds[1]) < 31
    near |= (
        shapely.distance(points, gpd.read_file(demo.folder / "anchorage.geojson").to_crs(32622).geometry.union_all())
        < 1
    )
    assert len(rows) > 100
    assert near.all()


@pytest.mark.slow
def test_a_name_in_another_script_spoils_the_pdf_only(demo: Ran) -> None:
    """The plan, the tables and the map do not depend on letters that one font lacks."""
    packet, _ = outlined(demo.folder, changed(demo.folder, applicant="珊瑚"))
    with pytest.raises(InputFault, match=r"title block, applicant: '珊瑚' is in a script"):
        packet_bytes(packet)
    assert len(permit_table(packet)) > 50
    assert open_project(demo.folder).settings.permit[0].applicant == "Tarrowenne Reef Team, FICTIONAL"
