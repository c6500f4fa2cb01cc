"""Sites that touch, and two species on one site: separation and gap hold between all of them, in every mode."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest

from sitekit.season.plan_tables import read_table
from tests.audit.conftest import EPSG, outline
from tests.season.conftest import command, edit

PLOTS = "[spacing.plot]\nlength_m = 5\nwidth_m = 3\ngap_m = 2\nallowed_share = 0.6\n"


def site(folder: Path, code: str, west: float, east: float) -> str:
    """A site whose polygon cuts the first patch of rock, 5 to 25 m east and 5 to 35 m south of the corner."""
    shape = outline((west, 4), (east, 4), (east, 36), (west, 36))
    gpd.GeoDataFrame(geometry=[shape], crs=EPSG).to_crs(4326).to_file(folder / f"{code}.geojson")
    return f'[[site]]\ncode = "{code}"\nname = "{code}"\npolygon = "{code}.geojson"\n'


@pytest.mark.parametrize("mode", ["number", *(pytest.param(m, marks=pytest.mark.slow) for m in ("fill", "plots"))])
def test_neighbouring_sites_keep_their_distance(patch: Path, mode: str) -> None:
    """Each site was laid for itself: units on either side of a border between sites stood as near as they liked."""
    plan = patch / "plan.toml"
    edit(plan, "edge_clearance_m = 0.5\n", "edge_clearance_m = 0.0\n")
    edit(plan, "\nseparation_m = 1.2\n", "\nseparation_m = 1.8\n")  # so that one site does not hold all
    edit(plan, 'mode = "number"', f'mode = "{mode}"')
    text = plan.read_text("utf-8")
    if mode == "plots":
        text = text.replace("[spacing.numbers]", "pin_error_m = 1.0\n[spacing.numbers]").replace(
            "[stock]", f"{PLOTS}[stock]"
        )
    if mode == "fill":
        text = text.replace("[spacing.numbers]\nAPAL = 50\nACER = 60\n", "")
    plan.write_text(text + site(patch, "LE", 4, 15) + site(patch, "RI", 15, 26), "utf-8")
    said = command("run", patch)
    assert said.code in (0, 4), said.err
    units = read_table(patch / "out" / "season.gpkg", "colonies")
    assert {"LE", "RI"} <= set(units["site"])
    audit = command("audit", patch)
    assert audit.code == 0, audit.out
