"""Each kind of damage to the demo's own files is named by the audit: a plan of plots, five sites, four kinds of area.

`written` damage changes files as a slip of the hand or of a program would, and the manifest is written again, so that
no hash gives it away; `planned` damage changes the plan itself, with map and list to match, as a faulty layout would.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from sitekit.audit import (
    clearances_kept,
    counts_agree,
    files_whole,
    places_allowed,
    positions_agree,
    spacing_kept,
)
from sitekit.base.files import sha256_of
from tests.audit.conftest import Plan
from tests.season.conftest import Ran

Change = Callable[["Season"], None]


class Season(Plan):
    """A copy of the demo that tests may damage."""

    def rehash(self) -> None:
        path = self.out / "manifest.json"
        manifest = json.loads(path.read_text("utf-8"))
        manifest["files"] = {n: sha256_of(self.out / n) for n in manifest["files"]}
        path.write_text(json.dumps(manifest), "utf-8")


@pytest.fixture
def season(demo: Ran, tmp_path: Path) -> Season:
    return Season(Path(shutil.copytree(demo.folder, tmp_path / "reef")))


def _feature(change: Callable[[list[Any]], Any]) -> Change:
    return lambda plan: plan.edit_json("colonies.geojson", lambda data: change(data["features"]))


def _east(features: list[Any]) -> None:
    features[7]["geometry"]["coordinates"][0] += 2e-5  # 2 m


def _turned(features: list[Any]) -> None:
    for f in features:
        f["geometry"]["coordinates"].reverse()


def _other_genet(plan: Season) -> None:
    def change(lines: list[str]) -> list[str]:
        head = lines[0].lstrip("\ufeff").split(",")
        cells = lines[3].split(",")
        cells[head.index("genet")] = "X9"
        return [*lines[:3], ",".join(cells), *lines[4:]]

    plan.edit_lines("colonies.csv", change)


def _wider(plan: Season) -> None:
    def change(data: Any) -> None:
        shape = shapely.geometry.shape(data["features"][0]["geometry"])
        data["features"][0]["geometry"] = shapely.geometry.mapping(shapely.affinity.translate(shape, 5e-6, 0.0))

    plan.edit_json("candidates.geojson", change)


def _one_more(plan: Season) -> None:
    def change(tables: dict[str, Any]) -> None:
        tables["allotment"].loc[0, "number"] += 1

    plan.edit_season(change)


def _moved(find: Callable[[Season, Any], tuple[float, float]]) -> Change:
    """Move the unit of row 4 in season, map and list to a place that `find` gives."""

    def apply(plan: Season) -> None:
        def change(frame: Any) -> Any:
            places = list(frame.geometry)
            places[4] = shapely.Point(*find(plan, frame))
            return frame.set_geometry(gpd.GeoSeries(places, crs=frame.crs))

        plan.edit_everywhere(change)

    return apply


def _beside(_: Season, frame: Any) -> tuple[float, float]:
    return frame.geometry.x[5] + 0.4, frame.geometry.y[5]


def _on_sand(plan: Season, frame: Any) -> tuple[float, float]:
    bottom = gpd.read_file(plan.folder / "substrate.geojson").to_crs(frame.crs)
    sand = bottom[bottom["bottom"] == "sand"].geometry.iloc[0]
    return tuple(shapely.get_coordinates(sand.representative_point())[0])


def _forbidden(plan: Season, frame: Any) -> tuple[float, float]:
    areas = gpd.read_file(plan.folder / "protected.geojson").to_crs(frame.crs)
    return tuple(
        shapely.get_coordinates(areas[areas["rule"] == "forbidden"].geometry.iloc[0].representative_point())[0]
    )


def _on_a_colony(plan: Season, frame: Any) -> tuple[float, float]:
    living = gpd.read_file(plan.out / "layers" / "colonies.gpkg")
    x, y = living.geometry.x.to_numpy(), living.geometry.y.to_numpy()
    away = np.hypot(x - frame.geometry.x[4], y - frame.geometry.y[4])
    k = int(np.argmin(away))
    return x[k] + 0.1, y[k]


def _over_the_edge(_: Season, frame: Any) -> tuple[float, float]:
    return frame.geometry.x[4] + 150.0, frame.geometry.y[4]


def _everywhere(change: Callable[[Any], Any]) -> Change:
    return lambda plan: plan.edit_everywhere(change)


def _doubled(frame: Any) -> Any:
    more = frame.loc[[*frame.index, frame.index[9]]].reset_index(drop=True)
    more.loc[len(frame), "sequence"] = frame["sequence"].max() + 1
    return more


def _same(column: str) -> Callable[[Any], Any]:
    def change(frame: Any) -> Any:
        frame.loc[4, column] = frame.loc[5, column]
        return frame

    return change


def _deeper(frame: Any) -> Any:
    frame.loc[4, "depth_m"] += 1.0
    return frame


def _raised_score(plan: Season) -> None:
    with rasterio.open(plan.out / "score_APAL.tif", "r+") as file:
        values = file.read(1)
        values[np.isfinite(values)] *= 0.5
        file.write(values, 1)


KINDS: dict[str, tuple[Change, str]] = {
    "moved on the map": (_feature(_east), positions_agree.MAP_POSITIONS),
    "dropped from the map": (_feature(lambda f: f.pop(11)), counts_agree.UNITS),
    "doubled on the map": (_feature(lambda f: f.append(dict(f[11]))), counts_agree.UNITS),
    "axes turned on the map": (_feature(_turned), positions_agree.MAP_POSITIONS),
    "genet changed in the list": (_other_genet, positions_agree.ROWS),
    "candidate shifted": (_wider, positions_agree.OUTLINES),
    "allotment raised": (_one_more, counts_agree.ALLOTTED),
    "score changed": (_raised_score, places_allowed.PASSES),
    "too near its neighbour": (_moved(_beside), spacing_kept.SEPARATION),
    "put on sand": (_moved(_on_sand), places_allowed.BOTTOM),
    "put in a forbidden area": (_moved(_forbidden), places_allowed.FORBIDDEN),
    "put on a living colony": (_moved(_on_a_colony), clearances_kept.LIVING),
    "put outside its candidate": (_moved(_over_the_edge), places_allowed.IN_CANDIDATE),
    "doubled in the plan": (_everywhere(_doubled), spacing_kept.SEPARATION),
    "dropped from the plan": (_everywhere(lambda f: f.drop(index=9).reset_index(drop=True)), counts_agree.ALLOTTED),
    "tag used twice": (_everywhere(_same("tag")), counts_agree.TAGS),
    "depth changed": (_everywhere(_deeper), places_allowed.DEPTH),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_damage_to_the_demo_is_named(season: Season, kind: str) -> None:
    """A promise that holds whatever happens to the files protects nobody.

    Slow: each kind audits the whole demo.
    """
    change, promise = KINDS[kind]
    change(season)
    season.rehash()
    broken = season.broken()
    assert promise in broken, sorted(broken)


@pytest.mark.slow
def test_the_demo_as_written_keeps_every_promise_and_a_changed_byte_does_not(season: Season) -> None:
    """Without this, damage could be "named" on a plan that was broken before.

    Slow: two audits of the whole demo.
    """
    assert season.broken() == {}
    path = season.out / "map.html"
    path.write_bytes(path.read_bytes() + b" ")
    assert set(season.broken()) == {files_whole.UNEDITED}
