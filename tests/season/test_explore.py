"""The page of weights and the team's picture, from a finished run."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import rasterio

from sitekit.outputs.explore_page.coding import decode
from sitekit.outputs.explore_page.scene import ExploreScene, Judged
from sitekit.pipeline.explore import explore_scene
from sitekit.pipeline.fields import read_ground
from sitekit.pipeline.map_scene import map_scene
from sitekit.pipeline.project import open_project
from tests.season.conftest import Ran, command, digests, edit


def _score(scene: ExploreScene, one: Judged) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Score what the page holds by the plan's rule, a weighted geometric mean over the known criteria."""
    r = decode(scene.responses[[c.response for c in one.criteria]])
    w = np.array([c.weight for c in one.criteria])[:, None, None]
    known = ~np.isnan(r)
    weight = np.where(known, w, 0.0)
    share = 1 - weight.sum(axis=0) / w.sum()
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(weight > 0, weight * np.log2(np.where(known, r, 1.0)), 0.0)
        score = np.exp2(logs.sum(axis=0) / weight.sum(axis=0))
    out = (scene.exclusion != 0) | (share > scene.max_unknown_weight + 1e-9)
    return np.where(out, np.nan, score)


def test_the_page_holds_the_scores_of_the_run(demo: Ran, reef: Path) -> None:
    """The page would start from another reef than the run: every cell within 1/255, the same cells out."""
    results = reef / "out"
    before = digests(results)
    said = command("explore", reef)
    assert said.code == 0, said.err
    assert "explore.html" in said.out
    after = digests(results)
    assert {k: v for k, v in after.items() if k in before} == before
    scene = explore_scene(open_project(reef), "run", ())
    for kind in scene.species:
        name = f"score_{kind.code}.tif"
        with rasterio.open(results / name) as file:
            want = file.read(1)
        got = _score(scene, kind)
        assert np.array_equal(np.isnan(got), np.isnan(want))
        assert np.nanmax(np.abs(got - want)) <= 1 / 255
        passing = float((want >= np.float32(scene.passing)).sum()) * scene.cell_m2
        assert abs(kind.passing_m2 - passing) < 1e-6 * passing


def test_the_same_run_gives_the_same_page(reef: Path) -> None:
    """The page would differ from hand to hand."""
    command("explore", reef)
    first = (reef / "out" / "explore.html").read_bytes()
    command("explore", reef)
    assert (reef / "out" / "explore.html").read_bytes() == first


def test_a_picture_of_the_team_is_checked_and_told(small: Ran, tmp_path: Path) -> None:
    """A picture without a place would stop the run at its very end."""
    folder = Path(shutil.copytree(small.folder, tmp_path / "small"))
    edit(folder / "plan.toml", "[layers.bathymetry]", '[layers.picture]\nfile = "photo.tif"\n\n[layers.bathymetry]')
    with rasterio.open(folder / "out" / "layers" / "depth.tif") as depth:
        place = {"crs": depth.crs, "transform": depth.transform, "width": depth.width, "height": depth.height}
    colours = np.full((3, place["height"], place["width"]), 90, np.uint8)
    for crs, code, words in ((None, 3, "has no CRS"), (place["crs"], 0, "colour picture")):
        with rasterio.open(
            folder / "photo.tif", "w", driver="GTiff", count=3, dtype="uint8", **{**place, "crs": crs}
        ) as file:
            file.write(colours)
        said = command("check", folder)
        assert said.code == code, said.err
        assert words in said.out + said.err


def test_a_public_copy_leaves_living_colonies_out_and_says_so(demo: Ran) -> None:
    """A map handed to everyone would show where wild colonies stand."""
    project = open_project(demo.folder)
    ground, tables = read_ground(project), project.season()
    own = map_scene(project, ground, tables, "run", ())
    settings = project.settings.model_copy(
        update={"outputs": project.settings.outputs.model_copy(update={"public": True})}
    )
    public = map_scene(replace(project, settings=settings), ground, tables, "run", ())
    assert len(own.existing) > 0
    assert public.existing is None
    assert public.colonies is None
    assert "PUBLIC COPY" in public.stamps
    near = [r.label for r in own.rasters if "distance_colonies_m" in r.note]
    assert near
    assert not [r.label for r in public.rasters if "distance_colonies_m" in r.note]
