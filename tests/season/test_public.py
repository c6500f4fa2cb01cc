"""`[outputs] public = true`: the list of living colonies is coarsened, says so, and the audit looks at it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from sitekit.audit.public_kept import EXACT, PUBLIC
from sitekit.season.plan_tables import read_table
from tests.audit.conftest import LIVING
from tests.season.conftest import Ran, command

pytestmark = pytest.mark.slow  # the small plan is planned twice
LIST = "living_colonies.csv"


def listed(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / "out" / LIST, encoding="utf-8-sig")


@pytest.fixture(scope="module")
def public(small: Ran, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The small plan, run again for public copies."""
    folder = Path(shutil.copytree(small.folder, tmp_path_factory.mktemp("public") / "plan"))
    with open(folder / "plan.toml", "a", encoding="utf-8") as file:
        file.write("[outputs]\npublic = true\n")
    said = command("run", folder)
    assert said.code == 0, said.err
    return Ran(folder, said)


def findings(folder: Path) -> dict[str, dict[str, object]]:
    return {f["promise"]: f for f in json.loads(command("audit", folder, "--json").out)}


def test_the_list_keeps_exact_places_for_the_team(small: Ran) -> None:
    """A team that cannot find its own colonies again."""
    rows = listed(small.folder)
    assert len(rows) == len(LIVING)
    assert {"latitude_wgs84_deg", "longitude_wgs84_deg", "line"} <= set(rows.columns)
    assert findings(small.folder)[EXACT]["ok"] is True


def test_a_public_list_is_coarse_and_says_so(public: Ran) -> None:
    """Exact places of wild colonies on a notice board."""
    rows = listed(public.folder)
    assert len(rows) == len(LIVING)
    text = (public.folder / "out" / LIST).read_text("utf-8-sig")
    season = read_table(public.folder / "out" / "season.gpkg", "living").to_crs(4326)
    for x, y in zip(season.geometry.x, season.geometry.y, strict=True):
        assert f"{x:.4f}" not in text
        assert f"{y:.4f}" not in text
    assert not {"latitude_wgs84_deg", "longitude_wgs84_deg", "depth_m", "position_error_m", "line"} & set(rows.columns)
    assert (
        rows["PUBLIC_COPY"] == "public copy: place to 0.01 degrees; depth, position error and line are left out"
    ).all()
    off = abs(rows["latitude_wgs84_coarse_deg"].to_numpy() - season.geometry.y.to_numpy())
    assert off.max() <= 0.005
    assert findings(public.folder)[PUBLIC]["ok"] is True


def test_a_run_says_which_files_may_leave_the_team(small: Ran, public: Ran) -> None:
    """The switch coarsens some files; whoever hands out the folder hands out the rest too."""
    assert "public copies: living_colonies.csv, map.html, map.pdf, permit.pdf" in public.said.out
    assert "every other file in out/ still tells places of corals: hand out none" in public.said.out
    assert "public copies" not in small.said.out


@pytest.mark.parametrize(
    ("damage", "why"),
    [
        (lambda rows: rows.assign(latitude_wgs84_coarse_deg=18.04567), "is finer than 0.01 degrees"),
        (lambda rows: rows.assign(depth_m=3.2), "column depth_m stands in a public copy"),
        (lambda rows: rows.assign(longitude_wgs84_coarse_deg=-49.0), "no colony of the team stands there"),
        (lambda rows: rows.drop(columns="PUBLIC_COPY"), "does not say in every row that it is a public copy"),
    ],
)
def test_the_audit_names_a_public_list_that_tells_too_much(public: Ran, tmp_path: Path, damage, why: str) -> None:
    """A promise to the reef that nobody checks."""
    folder = Path(shutil.copytree(public.folder, tmp_path / "plan"))
    damage(listed(folder)).to_csv(folder / "out" / LIST, index=False, encoding="utf-8-sig")
    found = findings(folder)[PUBLIC]
    assert found["ok"] is False
    assert why in str(found["detail"])


def test_the_audit_names_a_list_coarsened_without_the_switch(small: Ran, public: Ran, tmp_path: Path) -> None:
    """A list that lost its places for the team."""
    folder = Path(shutil.copytree(small.folder, tmp_path / "plan"))
    shutil.copy(public.folder / "out" / LIST, folder / "out" / LIST)
    assert findings(folder)[EXACT]["ok"] is False
