"""The season comes back as written, and the same tables give the same bytes."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path

import pandas as pd
import pytest
from pyproj import CRS
from shapely import Point

from sitekit.base.tables import build, conform, empty, table_names
from sitekit.errors import FileFault, InputFault
from sitekit.season.plan_tables import read_plan, read_table, write_plan

UTM = CRS.from_epsg(32622)


def colonies() -> pd.DataFrame:
    rows = [
        {
            "sequence": i + 1,
            "site": "WS",
            "species": "APAL",
            "genet": genet,
            "units": 1,
            "fragments": 1,
            "depth_m": 2.5,
            "score": 0.7,
        }
        for i, genet in enumerate(["010", "NO", "12:30"])
    ]
    return build("colonies", rows, [Point(574_000.123456789 + i, 1_995_600.1) for i in range(3)], UTM)


def test_a_season_comes_back_as_written(tmp_path: Path) -> None:
    """Genet 010 read as 10 is another genet; a moved digit is another place."""
    write_plan(tmp_path / "season.gpkg", {"colonies": colonies()}, UTM)
    back = read_table(tmp_path / "season.gpkg", "colonies")
    pd.testing.assert_frame_equal(pd.DataFrame(back), pd.DataFrame(colonies()), check_dtype=False)
    assert back.geometry.x.tolist() == colonies().geometry.x.tolist()
    assert back.crs == UTM
    whole = read_plan(tmp_path / "season.gpkg")
    assert set(whole) == set(table_names())
    assert all(rows.empty for name, rows in whole.items() if name != "colonies")


@pytest.mark.slow
def test_the_same_season_has_the_same_bytes(tmp_path: Path) -> None:
    """A clock in the file would make every run look changed. Slow: it writes over forty tables twice."""
    hashes = []
    for name in ("a.gpkg", "b.gpkg"):
        write_plan(tmp_path / name, {"colonies": colonies()}, UTM)
        hashes.append(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
        time.sleep(1.1)
    assert hashes[0] == hashes[1]


def test_every_fault_of_a_table_is_named() -> None:
    """One fault a time makes ten runs."""
    bad = pd.DataFrame(colonies()).drop(columns=["tag"]).assign(colour="red")
    with pytest.raises(InputFault, match=r"colonies.tag[\s\S]*colonies.colour"):
        conform(bad, "colonies")
    with pytest.raises(InputFault, match="sequence: not whole"):
        conform(colonies().assign(sequence=1.5), "colonies")
    with pytest.raises(InputFault, match="site: empty in row 1, 2, 3"):
        conform(colonies().assign(site=None), "colonies")


def test_a_missing_season_says_what_to_run(tmp_path: Path) -> None:
    """The next step is a run."""
    with pytest.raises(FileFault, match="sitekit run"):
        read_table(tmp_path / "season.gpkg", "colonies")


def test_an_empty_table_has_its_types() -> None:
    """No colony is a result like any other."""
    assert str(empty("colonies", UTM)["sequence"].dtype) == "Int64"
