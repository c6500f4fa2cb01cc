"""`sitekit explain` and the stage sensitivity on a small plan, against numbers worked out from its files by numpy alone."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from pyproj import Transformer
from rasterio.features import rasterize

from sitekit.pipeline.explain import choice_here, explain_place
from sitekit.season.plan_tables import read_table
from sitekit.suitability.draws import draw_weights
from tests.audit.conftest import COLS, EPSG, NORTH, ROWS, WEST, local
from tests.season.conftest import Ran, command, edit

MORE = """
[layers.rasters.clarity]
file = "clarity.tif"
label = "clarity"
units = "m"
source = "made up for this test"
[[criteria]]
name = "clarity"
field = "clarity"
curve = { shape = "rise", at = [0, 10] }
weight = 0.5
source = "made up for this test"
[sensitivity]
draws = 64
concentration = 6.0
[score]
"""


def at_metres(x: float, y: float) -> str:
    """A place in metres east and south of the plan's north-west corner, as text."""
    turn = Transformer.from_crs(EPSG, 4326, always_xy=True)
    lon, lat = turn.transform(*local(x, y))
    return f"{lat:.9f}, {lon:.9f}"


def position(folder: Path, row: int, col: int) -> str:
    """The centre of a cell of the results as text."""
    with rasterio.open(folder / "out" / "layers" / "depth.tif") as file:
        x, y = file.xy(row, col)
    return at_metres(x - WEST, NORTH - y)


@pytest.fixture(scope="module")
def two(small: Ran, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan with a second criterion, a raster that the test writes."""
    folder = Path(shutil.copytree(small.folder, tmp_path_factory.mktemp("two") / "reef"))
    shutil.rmtree(folder / "out")
    rng = np.random.default_rng(1)
    with rasterio.open(folder / "depth.tif") as file:
        profile = file.profile
    clarity = np.linspace(4, 10, COLS)[None, :] * np.ones((ROWS, 1)) + rng.random((ROWS, COLS))
    with rasterio.open(folder / "clarity.tif", "w", **{**profile, "dtype": "float32", "count": 1}) as file:
        file.write(clarity.astype(np.float32), 1)
    edit(folder / "plan.toml", "[score]\n", MORE)
    said = command("sensitivity", folder, "--json")
    assert said.code in (0, 4), said.err
    return folder


def band(folder: Path, name: str, number: int = 1) -> np.ndarray:
    with rasterio.open(folder / "out" / name) as file:
        values: np.ndarray = file.read(number)
    return values


def answers(folder: Path) -> np.ndarray:
    """Responses of both criteria, worked out anew."""
    depth = np.interp(band(folder, "layers/depth.tif"), [0, 1, 10, 20], [0, 1, 1, 0])
    return np.stack([depth, np.interp(band(folder, "layers/raster_clarity.tif"), [0, 10], [0, 1])])


def test_explained_scores_are_those_of_the_raster(two: Path) -> None:
    """An explanation of another score than the one that is mapped."""
    score = band(two, "score_APAL.tif")
    reasons = band(two, "reasons_APAL.tif", 2)
    held = np.argwhere(np.isfinite(score))
    out = np.argwhere(reasons > 0)
    for row, col in [*held[:: len(held) // 3], *out[:: len(out) // 2]]:
        place = explain_place(two, at=position(two, int(row), int(col)))
        assert (place.row, place.col) == (row, col)
        cell = place.species[0].cell
        if np.isfinite(score[row, col]):
            assert cell.score == pytest.approx(float(score[row, col]), abs=1e-7)
            assert cell.reasons == ()
            due = answers(two)[:, row, col]
            np.testing.assert_allclose([a.response for a in cell.answers], due, atol=1e-6)
            np.testing.assert_allclose([a.weight for a in cell.answers], [2 / 3, 1 / 3])
            assert cell.limiting == cell.answers[int(band(two, "reasons_APAL.tif", 1)[row, col])].name
        else:
            assert cell.score is None
            assert len(cell.reasons) >= 1


def test_shares_of_draws_equal_a_pass_per_draw(two: Path) -> None:
    """A map of stability that is another cell's, or of other draws than the plan's."""
    score = band(two, "score_APAL.tif")
    scored = np.isfinite(score)
    r = answers(two)[:, scored]
    drawn = draw_weights([1.0, 0.5], 64, concentration=6.0, seed=1)
    each = np.exp(drawn @ np.log(r))
    count = round(0.1 * r.shape[1])
    least = np.sort(each, axis=1)[:, -count]
    due = (each >= least[:, None] * (1 - 1e-9)).mean(axis=0)
    share = band(two, "stability_APAL.tif")
    assert np.isnan(share[~scored]).all()
    near = (np.abs(each - least[:, None]) < 2e-6).mean(axis=0)
    assert (np.abs(share[scored] - due) <= near + 1e-7).all()


def test_ranks_of_candidates_equal_those_of_their_mean_scores(two: Path) -> None:
    """A range of ranks that belongs to another candidate."""
    season = two / "out" / "season.gpkg"
    candidates, found = read_table(season, "candidates"), read_table(season, "candidate_ranks")
    found = found[found["species"] == "APAL"].reset_index(drop=True)
    assert len(found) == len(candidates) >= 2
    score = band(two, "score_APAL.tif")
    with rasterio.open(two / "out" / "score_APAL.tif") as file:
        owner = rasterize(
            [(g, i + 1) for i, g in enumerate(candidates.geometry)], out_shape=score.shape, transform=file.transform
        )
    r = answers(two)
    drawn = draw_weights([1.0, 0.5], 64, concentration=6.0, seed=1)
    means = np.array(
        [
            np.exp(drawn @ np.log(r[:, (owner == i + 1) & (score >= np.float32(0.6))])).mean(axis=1)
            for i in range(len(candidates))
        ]
    ).T
    ranks = 1 + (means[:, None, :] > means[:, :, None] + 1e-6).sum(axis=2)
    np.testing.assert_allclose(found["share_first"], (ranks == 1).mean(axis=0), atol=1e-9)
    np.testing.assert_array_equal(found["rank_low"], np.percentile(ranks, 5, axis=0, method="inverted_cdf"))
    np.testing.assert_array_equal(found["rank_high"], np.percentile(ranks, 95, axis=0, method="inverted_cdf"))
    assert sorted(found["rank"]) == list(range(1, len(found) + 1))
    influence = read_table(season, "influence")
    own = influence[influence["species"] == "APAL"].set_index("criterion")
    assert own.loc["depth", "weight"] == pytest.approx(2 / 3)
    assert own["kind"].to_dict() == {
        "depth": "weight",
        "clarity": "weight",
        "bathymetry": "input",
        "substrate": "input",
    }


def test_threads_change_no_byte_of_the_shares(two: Path, tmp_path: Path) -> None:
    """A season that depends on the machine."""
    folder = Path(shutil.copytree(two, tmp_path / "reef"))
    before = (folder / "out" / "stability_APAL.tif").read_bytes(), (folder / "out" / "season.gpkg").read_bytes()
    shutil.rmtree(folder / "out")
    command("sensitivity", folder, "--threads", "1")
    assert before == (
        (folder / "out" / "stability_APAL.tif").read_bytes(),
        (folder / "out" / "season.gpkg").read_bytes(),
    )


def test_a_rejected_place_names_every_reason(two: Path) -> None:
    """A planner who clears one obstacle to find the next."""
    said = command("explain", two, "--at", at_metres(20.5, 30.5))  # rock in the forbidden area
    assert said.code == 0
    assert "excluded: protected area: forbidden" in said.out
    outside = command("explain", two, "--at", at_metres(27.5, 20.5), "--json")
    place = json.loads(outside.out)
    assert place["candidate"] is None
    assert len(place["species"][0]["cell"]["reasons"]) >= 1
    assert place["species"][0]["cell"]["score"] is None


def test_json_and_text_carry_values_weights_and_sources(two: Path) -> None:
    """A score without its birth certificate."""
    row, col = np.argwhere(np.isfinite(band(two, "score_APAL.tif")))[100]
    at = position(two, int(row), int(col))
    place = json.loads(command("explain", two, "--at", at, "--json").out)
    first = place["species"][0]
    assert [a["name"] for a in first["cell"]["answers"]] == ["depth", "clarity"]
    assert first["cell"]["answers"][1]["unit"] == "m"
    assert first["cell"]["answers"][0]["citation"] == "made up for this test"
    assert first["cell"]["answers"][0]["curve"] == "0 at 0, 1 at 1, 1 at 10, 0 at 20 m"
    assert first["standing"]["of"] >= 2
    text = command("explain", two, "--at", at).out
    assert f"score {first['cell']['score']:.3f}" in text
    assert "limited by" in text
    assert "draws" in text
    by_code = json.loads(command("explain", two, "--site", place["candidate"].lower(), "--json").out)
    assert by_code["candidate"] == place["candidate"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--at", "17 N, 50 W"], "lies outside the grid of this plan"),
        (["--at", "north of the reef"], "--at"),
        (["--site", "C99"], "Did you mean C0"),
        ([], "both or none of --at and --site"),
        (["--at", "17 N, 50 W", "--site", "C01"], "both or none of --at and --site"),
    ],
)
def test_places_that_cannot_be_explained_are_refused(two: Path, given: list[str], said: str) -> None:
    """A traceback, or an answer for another place."""
    answer = command("explain", two, *given)
    assert answer.code == 3
    assert said in answer.err


def test_results_of_an_older_plan_are_not_explained(two: Path, tmp_path: Path) -> None:
    """Yesterday's score explained with today's weights."""
    folder = Path(shutil.copytree(two, tmp_path / "reef"))
    edit(folder / "plan.toml", "weight = 0.5", "weight = 0.6")
    answer = command("explain", folder, "--at", at_metres(10.5, 10.5))
    assert answer.code == 3
    assert "Run: sitekit run plan.toml" in answer.err


def test_weights_by_pairs_reach_score_and_figures(two: Path, tmp_path: Path) -> None:
    """A table of judgements that changes nothing."""
    folder = Path(shutil.copytree(two, tmp_path / "reef"))
    pairs = 'judgements = [{ criterion = "depth", over = "clarity", times = 4 }]'
    edit(folder / "plan.toml", "[sensitivity]\n", f'[weights.APAL]\nmethod = "pairwise"\n{pairs}\n[sensitivity]\n')
    said = command("score", folder, "--json")
    assert said.code == 0, said.err
    figures = json.loads(said.out)["figures"]["score"]
    assert figures["APAL"]["weights"]["method"] == "pairwise"
    assert figures["APAL"]["weights"]["weights"]["depth"] == pytest.approx(0.8)
    assert figures["ACER"]["weights"]["method"] == "as given"
    score = band(folder, "score_APAL.tif")
    due = np.exp(np.array([0.8, 0.2]) @ np.log(answers(folder).reshape(2, -1))).reshape(score.shape)
    held = np.isfinite(score)
    np.testing.assert_allclose(score[held], due[held], atol=1e-6)


def test_check_names_every_fault_of_the_weights(two: Path, tmp_path: Path) -> None:
    """A mistyped criterion found after the run, or one species at a time."""
    folder = Path(shutil.copytree(two, tmp_path / "reef"))
    both = '[weights.APAL]\nmethod = "ranked"\nranks = { depth = 1, clarty = 2 }\n'
    both += '[weights.ACER]\nmethod = "direct"\nnumbers = { depth = 0, clarity = 0 }\n[sensitivity]\n'
    edit(folder / "plan.toml", "[sensitivity]\n", both)
    answer = command("check", folder)
    assert answer.code == 3
    assert "no criterion 'clarty'" in answer.err
    assert "Did you mean 'clarity'?" in answer.err
    assert "weights.ACER" in answer.err
    assert "all weights are 0" in answer.err


def test_the_demo_names_its_fragile_candidates(demo: Ran) -> None:
    """A candidate whose high rank rests on the chosen weights, and nobody says so."""
    ranks = read_table(demo.folder / "out" / "season.gpkg", "candidate_ranks")
    fragile = ranks[ranks["fragile"]]
    assert len(fragile)
    assert (fragile["share_high"] < 0.8).all()
    for code, own in fragile.groupby("species"):
        line = next(line for line in demo.said.out.splitlines() if line.startswith(f"  {code}: C") and "draws" in line)
        assert line.endswith(": " + ", ".join(own["candidate"]))


def test_the_choice_is_told_with_the_place() -> None:
    """A reviewer who asks about a spot wants to know first whether it is in the plan, and why."""
    sites = pd.DataFrame(
        {
            "site": ["A", "B", "C"],
            "candidate": ["C01", "C02", None],
            "chosen": [True, False, False],
            "reason": ["chosen: 12 units", "not chosen: taking it would give 3 % less", "lies in no candidate"],
            "units": [12, None, None],
            "verdict": ["go", None, None],
            "scouted": [True, False, False],
            "scouted_on": ["2026-03-01", None, None],
            "observer": ["you", None, None],
        }
    )
    told = [
        choice_here({"sites": sites}, None if c is None else {"candidate": c}, asked)
        for c, asked in (("C01", "18 N, 64 W"), ("C02", "b"), (None, "c"), (None, "18 N, 64 W"))
    ]
    assert [None if t is None else t.line() for t in told] == [
        "choice: A is chosen: 12 units; go/no-go answers: go; scouted on 2026-03-01 by you",
        "choice: B is not chosen: taking it would give 3 % less; NOT SCOUTED",
        "choice: C is not chosen: lies in no candidate; NOT SCOUTED",
        None,
    ]
    assert choice_here({}, {"candidate": "C01"}, "A") is None  # the stage choose is older than the plan
