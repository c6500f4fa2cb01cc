"""Deciding, through the command line: questions, budget, rules, scouts, edits; every fault of the list named."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer

from sitekit.pipeline.decision_sites import chosen_section
from sitekit.pipeline.project import Project
from sitekit.season.plan_tables import read_plan
from sitekit.season.settings import read_settings
from tests.audit.conftest import EPSG, local
from tests.season.conftest import Ran, Said, command

BACK = Transformer.from_crs(EPSG, 4326, always_xy=True)
A = BACK.transform(*local(12.0, 12.0))  # in the western patch of the small plan
B = BACK.transform(*local(45.0, 12.0))  # in the eastern one
OFF = BACK.transform(*local(27.5, 38.0))  # on sand between them


def at(position: tuple[float, float]) -> str:
    return f"{position[1]:.8f}, {position[0]:.8f}"


SITES = f"""
[[site]]
code = "A"
at = "{at(A)}"
[[site]]
code = "B"
at = "{at(B)}"
[nursery]
name = "Nursery"
at = "{at(A)}"
depth_m = 4.0
[harbour]
name = "Harbour"
at = "{at(OFF)}"
"""
BUDGET = "[budget]\nunits = 60\nmoney = 1000\nmoney_per_unit = 10\nmoney_per_site = 100\n"


@pytest.fixture(scope="session")
def two(small: Ran, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan with a code on each patch, run up to its candidates; never changed."""
    folder = Path(shutil.copytree(small.folder, tmp_path_factory.mktemp("two") / "plan"))
    names = {"name": ["Rock", "Sand Hole", "Ball 3"], "kind": ["reef", "reef", "mooring"], "r": [4.0, 3.0, None]}
    places = [shapely.Point(local(12.0, 12.0)), shapely.Point(local(27.5, 38.0)), shapely.Point(local(45.5, 12.5))]
    gpd.GeoDataFrame(names, geometry=places, crs=EPSG).to_crs(4326).to_file(folder / "names.geojson")
    with (folder / "plan.toml").open("a", encoding="utf-8") as plan:
        plan.write(SITES)
        plan.write('[layers.named_places]\nfile = "names.geojson"\nkind_field = "kind"\nradius_field = "r"\n')
    said = command("sensitivity", folder)
    assert said.code == 0, said.err
    return folder


@pytest.fixture
def plan(two: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(two, tmp_path / "plan"))


def run(folder: Path, more: str, last: str = "allocate") -> Said:
    with (folder / "plan.toml").open("a", encoding="utf-8") as file:
        file.write("\n" + more)
    return command(last, folder, "--json")


def tables(folder: Path) -> dict[str, pd.DataFrame]:
    return read_plan(folder / "out" / "season.gpkg")


@pytest.mark.slow
def test_without_a_budget_every_coded_site_is_worked_best_first(plan: Path) -> None:
    """A team that sets no limits gets none. Slow: it plans a season again."""
    assert run(plan, "").code == 0
    found = tables(plan)
    assert found["sites"]["chosen"].tolist() == [True, True]
    assert len(found["alternatives"]) == 0


def test_named_places_are_scored_beside_candidates(plan: Path) -> None:
    """A disc on rock passes whole, one on sand not at all; a mooring without a radius is its own cell."""
    found = tables(plan)
    scores = found["place_scores"]
    scores = scores[scores["species"] == "APAL"].set_index("name")
    assert scores.loc["Rock", "passing_pct"] == 100.0
    assert scores.loc["Rock", "area_m2"] == pytest.approx(np.pi * 16, rel=0.02)
    assert (scores.loc["Rock", "kind"], scores.loc["Rock", "distance_m"]) == ("reef", 0.0)
    assert scores.loc["Sand Hole", "passing_pct"] == 0.0
    assert scores.loc["Sand Hole", "limiting"] == "substrate excluded"
    # from its middle to the corner of the western patch √(2.5² + 3²) m, less its radius
    assert scores.loc["Sand Hole", "distance_m"] == pytest.approx(np.hypot(2.5, 3.0) - 3.0, abs=0.1)
    assert scores.loc["Ball 3", "passing_pct"] == 100.0
    names = found["candidates"].set_index("site")["nearest_name"]
    assert names["A"] == "Rock"
    assert names["B"] == "Ball 3"


def test_a_budget_chooses_and_prints_its_gap(plan: Path) -> None:
    """1,000 coins: two sites leave 800 for 80 units, 60 may be planted; the gap and what is used are written."""
    answer = run(plan, BUDGET)
    assert answer.code == 0, answer.err
    figures = json.loads(answer.out)["figures"]["choose"]
    assert figures["gap_pct"] == 0.0
    found = tables(plan)
    assert int(found["allotment"]["number"].sum()) == 60
    used = found["budget_use"].set_index("limit")["used"]
    assert used["units"] == 60
    assert used["money"] == pytest.approx(600 + 100 * found["sites"]["chosen"].sum())
    curve = found["budget_curve"]["suitability"].tolist()
    assert curve == sorted(curve)
    losses = found["alternatives"]["loss_pct"].tolist()
    assert losses == sorted(losses)
    left = found["unallotted"]
    assert (left["goes"] == "stays in the nursery").all()
    whole = found["stock"].loc[found["stock"]["usable"], "ready"].sum()
    planted = found["allotment"].merge(pd.DataFrame({"species": ["APAL", "ACER"], "per": [1, 3]}))
    assert int(left["fragments"].sum() + (planted["number"] * planted["per"]).sum()) == whole
    assert "FEWER THAN WANTED" in command("allocate", plan).out


@pytest.mark.slow
def test_a_survival_curve_is_what_the_choice_maximises(plan: Path) -> None:
    """The user's line by depth, 0.8 at 3 m and 0.2 at 9 m: shares, sums and gain are of units alive, source beside them."""
    curve = 'of = "depth_m"\npoints = [[3.0, 0.8], [9.0, 0.2]]\nyears = 1.0\nsource = "plots of 2020, made up"\n'
    answer = run(plan, "".join(f"[choose.survival.{c}]\n{curve}" for c in ("APAL", "ACER")) + BUDGET)
    assert answer.code == 0, answer.err
    found = tables(plan)
    depth = found["candidates"].set_index("site")["depth_mean_m"]
    rows = found["site_species"]
    assert rows["survival"].to_numpy() == pytest.approx(0.8 - 0.1 * (depth[rows["site"]].to_numpy() - 3.0))
    alive = float((rows["units"] * rows["survival"]).sum())
    assert found["sites"]["units_alive"].sum() == pytest.approx(alive)
    assert found["alternatives"]["units_alive"].iloc[0] == pytest.approx(alive)
    assert found["budget_curve"].set_index("share_pct")["units_alive"][100.0] == pytest.approx(alive)
    assert any("% of the units alive" in str(r) for r in found["sites"]["reason"])
    settings = read_settings(plan / "plan.toml")
    section = chosen_section(cast(Project, SimpleNamespace(settings=settings)), found)
    assert "Maximised: units alive after 1 year" in section.parts[0]
    assert "0.8 at 3, 0.2 at 9 (source: plots of 2020, made up)" in section.parts[0]


def test_a_budget_that_allows_nothing_names_what_binds(plan: Path) -> None:
    """One dive, and each site takes two: the money is not to blame."""
    answer = run(plan, "[budget]\ndives = 1\nunits_per_dive = 5\ndives_per_site = 2\nmoney = 900\nmoney_per_unit = 1\n")
    assert answer.code == 4
    assert "Each of these alone, if lifted, would allow a plan: dives." in answer.err
    assert not tables(plan)["sites"]["chosen"].any()


def test_no_excludes_and_unknown_caps(plan: Path) -> None:
    """A's cause of decline goes on; B was asked one thing only, so it is a pilot of 10 units."""
    more = '[[question]]\nsite = "A"\nabout = "decline_stopped"\nanswer = "no"\nwho = "me"\nwhen = 2026-02-01\nnote = "outfall"\n'
    more += '[[question]]\nsite = "B"\nabout = "present_before"\nanswer = "yes"\nwho = "me"\nwhen = 2026-02-01\n'
    answer = run(plan, more + "[choose]\npilot_units = 10\n")
    assert answer.code == 4  # 50 and 60 units are wanted
    found = tables(plan)
    sites = found["sites"].set_index("site")
    assert not sites.loc["A", "chosen"]
    assert sites.loc["A", "reason"] == "answered no: Has the cause of the decline stopped (outfall)"
    assert sites.loc["B", "verdict"] == "pilot"
    assert "2 of them not answered" in sites.loc["B", "reason"]
    assert int(found["allotment"]["number"].sum()) <= 10


def test_forced_sites_that_break_a_rule_are_refused(plan: Path) -> None:
    """A forced site that a question shuts, and two forced sites nearer than the rule, stop the run."""
    no = '[[question]]\nsite = "A"\nabout = "decline_stopped"\nanswer = "no"\nwho = "me"\nwhen = 2026-02-01\n'
    answer = run(plan, no + '[choose]\npilot_units = 5\nforce_in = ["A"]\n')
    assert answer.code == 3
    assert "choose.force_in A" in answer.err
    assert "cannot be taken: answered no" in answer.err


def test_forced_sites_too_near_are_refused(plan: Path) -> None:
    """The patches lie 5 m apart, 20 m are asked for."""
    answer = run(plan, '[choose]\nleast_distance_m = 20\nforce_in = ["A", "B"]\n')
    assert answer.code == 3
    assert "lie nearer than choose.least_distance_m" in answer.err


@pytest.mark.slow
def test_a_site_outside_every_candidate_is_told(plan: Path) -> None:
    """A code on sand is kept in the table, said to lie in no candidate, and cannot be forced in."""
    more = f'[[site]]\ncode = "C"\nat = "{at(OFF)}"\n'
    answer = run(plan, more)
    assert answer.code == 4
    assert "lies in no candidate" in answer.err
    reason = tables(plan)["sites"].set_index("site").loc["C", "reason"]
    assert reason.startswith("lies in no candidate; the nearest is C0")
    assert reason.split(", ", 1)[1].removeprefix("4 m off; ") in answer.err  # a position to move it to
    answer = run(plan, '[choose]\nforce_in = ["C"]\n')
    assert answer.code == 3
    assert "choose.force_in C" in answer.err


@pytest.mark.slow
def test_the_ways_by_sea_and_the_depth_match_are_written(plan: Path) -> None:
    """The harbour lies 25 m by water from A's patch, which is as deep as the nursery; a shorter limit leaves nothing of it.

    Slow: plans a whole season again.
    """
    assert run(plan, "[choose]\ngreatest_to_harbour_m = 1000\n").code == 0
    sites = tables(plan)["sites"].set_index("site")
    assert sites.loc["A", "harbour_m"] == pytest.approx(24.0, abs=8.0)
    assert abs(sites.loc["A", "depth_difference_m"]) < 0.5
    text = (plan / "plan.toml").read_text("utf-8").replace("greatest_to_harbour_m = 1000", "greatest_to_harbour_m = 5")
    (plan / "plan.toml").write_text(text, "utf-8")
    answer = command("allocate", plan)
    assert answer.code == 4, answer.err
    assert all("m by sea from the harbour, more than 5 m" in r for r in tables(plan)["sites"]["reason"])


def filled(plan: Path, **given: str) -> Path:
    """The form of `sitekit scout`, filled in for A and for a code that nobody gave."""
    assert command("scout", plan).code == 0
    with (plan / "scout" / "scout_form.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    own = next(r for r in rows if r["site"] == "A")
    own |= {"date": "2026-03-02", "observer": "me", **given}
    path = plan / "returned.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(own))
        writer.writeheader()
        writer.writerows([*rows, {**own, "site": "Q"}])
    return path


@pytest.mark.slow
def test_a_returned_form_changes_the_plan_and_is_kept(plan: Path) -> None:
    """Rubble seen where the map says reef takes the middle of A away; a form with a wrong code is listed, not lost.

    Slow: it plans a season again.
    """
    assert run(plan, "").code == 0
    before = tables(plan)["candidates"]["area_m2"].sum()
    filled(plan, bottom_centre="Coral Rubble", depth_m="5", tide_m="0.5", go="go")
    text = (
        (plan / "plan.toml")
        .read_text("utf-8")
        .replace('substrate = ["Coral Sand"]', 'substrate = ["Coral Sand", "Coral Rubble"]')
    )
    (plan / "plan.toml").write_text(text, "utf-8")
    answer = run(plan, '[scout]\nfrom = "returned.csv"\n')
    assert answer.code == 0, answer.err
    found = tables(plan)
    # a disc of 5 m around the waypoint, of 78.5 m² but for cells at its rim
    assert before - found["candidates"]["area_m2"].sum() == pytest.approx(78.5, abs=12)
    sites = found["sites"].set_index("site")
    assert sites["scouted"].to_dict() == {"A": True, "B": False}
    assert (sites.loc["A", "scouted_on"], sites.loc["A", "observer"]) == ("2026-03-02", "me")
    forms = found["scouting"].set_index("site")
    assert "substrate in" in forms.loc["A", "changed"]
    assert "depth in" in forms.loc["A", "changed"]
    assert not forms.loc["Q", "known"]
    assert forms.loc["Q", "changed"] == "nothing: no such site code in the plan"
    assert json.loads(answer.out)["figures"]["choose"]["unknown_forms"] == ["Q"]


@pytest.mark.slow
def test_the_audit_asks_the_form_where_it_stands_for_the_layers(plan: Path) -> None:
    """A depth read 1.5 m off the map is kept by units near the waypoint, and so is the form by the audit.

    Slow: plans a whole season again.
    """
    filled(plan, depth_m="6.5", tide_m="0.5", go="go")
    assert run(plan, '[scout]\nfrom = "returned.csv"\n').code == 0
    assert command("run", plan).code in (0, 4)
    said = command("audit", plan)
    assert said.code == 0, said.out
    written = (plan / "returned.csv").read_text("utf-8")
    (plan / "returned.csv").write_text(written.replace("6.5", "4.5"), "utf-8")
    assert "every unit's depth is the bathymetry's" in [
        line.removeprefix("BROKEN ").split(", within")[0] for line in command("audit", plan).out.splitlines()
    ]


@pytest.mark.slow
def test_a_no_go_takes_a_site_out_and_forms_are_not_written_over(plan: Path) -> None:
    """Who has looked decides; a form that may be filled in is kept.

    Slow: plans a whole season again.
    """
    filled(plan, go="no-go", note="loose rubble")
    assert run(plan, '[scout]\nfrom = "returned.csv"\n').code in (0, 4)
    assert (
        tables(plan)["sites"].set_index("site").loc["A", "reason"]
        == "no-go when scouted on 2026-03-02 by me: loose rubble"
    )
    again = command("scout", plan)
    assert again.code == 3
    assert "perhaps filled in" in again.err
    assert command("scout", plan, "--overwrite").code == 0


@pytest.mark.slow
def test_a_form_that_cannot_be_read_is_refused(plan: Path) -> None:
    """Bad dates and bottoms are told by line; earlier results stay.

    Slow: plans a whole season again.
    """
    assert run(plan, "").code == 0
    kept = (plan / "out" / "season.gpkg").read_bytes()
    filled(plan, bottom_north="lava")
    answer = run(plan, '[scout]\nfrom = "returned.csv"\n')
    assert answer.code == 3
    assert "bottom_north" in answer.err
    assert (plan / "out" / "season.gpkg").read_bytes() == kept


@pytest.mark.slow
def test_edited_sites_replace_the_choice(plan: Path) -> None:
    """A copy of sites.csv with another choice is taken; wrong lines are named.

    Slow: plans a whole season again.
    """
    (plan / "mine.csv").write_text("site,chosen,reason\nA,false,the chief said so\nB,true,\n", "utf-8")
    assert run(plan, '[sites]\nfrom = "mine.csv"\n').code in (0, 4)
    sites = tables(plan)["sites"].set_index("site")
    assert sites["chosen"].to_dict() == {"A": False, "B": True}
    assert sites.loc["A", "reason"] == "the chief said so"
    (plan / "mine.csv").write_text("site,chosen,reason\nA,perhaps,\nZ,true,\nB,true,\nB,true,\n", "utf-8")
    answer = command("allocate", plan)
    assert answer.code == 3
    for part in ("'perhaps'", "site 'Z' is not in this run", "site 'B' stands there twice"):
        assert part in answer.err
    (plan / "mine.csv").write_text("site,reason\nA,x\n", "utf-8")
    assert "lacks 'chosen'" in command("allocate", plan).err


@pytest.mark.slow
def test_controls_that_cannot_be_found_are_said(plan: Path) -> None:
    """The whole reef is chosen: no matched area is left within 30 m."""
    more = "[controls]\ndistance_m = 10\ngreatest_distance_m = 30\nscore_tolerance = 0.05\ndepth_tolerance_m = 1\n"
    answer = run(plan, more)
    assert answer.code == 4
    assert "no area for a control plot matches it" in answer.err


@pytest.mark.slow
def test_moved_plots_replace_the_computed_ones(plan: Path) -> None:
    """A plot moved by 1 m takes its units along; one of another size, too near, or at no chosen site is refused.

    Slow: plans a whole season again.
    """
    text = (plan / "plan.toml").read_text("utf-8").replace('mode = "number"', 'mode = "plots"')
    text += "\n[spacing.plot]\nlength_m = 8.0\nwidth_m = 3.0\ngap_m = 2.0\n"
    (plan / "plan.toml").write_text(text, "utf-8")
    assert command("place", plan).code in (0, 4)
    plots = gpd.GeoDataFrame(tables(plan)["plots"])
    alone = plots.geometry[0].buffer(4).intersects(plots.geometry[1:]).sum() == 0
    first = plots.loc[[0]]
    moved = first.assign(geometry=first.translate(0.4, 0.0))
    moved.to_crs(4326).to_file(plan / "moved.geojson", RFC7946="YES")
    answer = run(plan, '[plots]\nfrom = "moved.geojson"\n', last="place")
    assert answer.code in (0, 4), answer.err
    found = tables(plan)
    assert len(found["plots"]) == 1
    middle = found["plots"].geometry[0].centroid
    assert middle.distance(moved.geometry[0].centroid) < 0.05
    inside = found["colonies"].within(found["plots"].geometry[0].buffer(0.02))
    assert inside.all()
    assert len(found["colonies"]) > 0 or not alone
    wrong = gpd.GeoDataFrame(
        {"plot": ["x", "y", "z"], "site": ["A", "A", "Q"]},
        geometry=[moved.geometry[0], moved.translate(1.0, 0.0)[0], moved.geometry[0].buffer(1.0)],
        crs=EPSG,
    )
    wrong.to_crs(4326).to_file(plan / "moved.geojson")
    answer = command("place", plan)
    assert answer.code == 3
    for part in ("site 'Q' is not chosen", "plots x and y", "due:  8 × 3 m"):
        assert part in answer.err
