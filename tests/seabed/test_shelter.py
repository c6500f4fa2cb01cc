"""Shelter by wind direction against the wave fields, closed forms and refusals."""

import numpy as np
import pytest

from sitekit.errors import InputFault
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.shelter import one_wind, shelter_table
from sitekit.seabed.waves import wave_fields
from sitekit.seabed.way import Lookout, Surroundings
from sitekit.seabed.wind import WindTable

SHORE = np.zeros((5, 40), dtype=np.uint8)
SHORE[:, 0] = 1
FLAT = np.full((5, 40), 3.0)
EIGHT = np.arange(0.0, 360.0, 45.0)


def bay(cell_m, speed, **more):
    look = Lookout(Surroundings(SHORE, FLAT, cell_m), SHORE == 0, convergence_deg=0.0)
    return one_wind(look, EIGHT, speed, method="spm1984", rays_deg=[0.0], **more)


def test_shelter_names_each_site_and_direction_once():
    """The table would mix sites up."""
    table = shelter_table(["E", "W"], [3.0, 3.0], bay(2000.0, 12.0), [2, 2], [39, 1], 12.0)
    assert len(table) == 16
    assert not table.duplicated(["site", "direction_deg"]).any()
    west = table[table.direction_deg == 270.0].set_index("site")
    assert west.loc["E", "shelter"] == "exposed"
    assert west.loc["W", "shelter"] == "sheltered"
    assert west.loc["E", "fetch_m"] == pytest.approx(77_000.0)
    assert west["rank"].to_dict() == {"E": 2.0, "W": 1.0}


def test_a_direction_open_to_the_sea_is_unknown_never_calm():
    """A boat would go out into the swell because the table said sheltered."""
    table = shelter_table(["E"], [3.0], bay(2000.0, 12.0), [2], [39], 12.0)
    east = table[table.direction_deg == 90.0].iloc[0]
    assert (east["shelter"], east["open"]) == ("unknown", True)
    assert np.isnan(east["hs_m"])
    assert np.isnan(east["rank"])
    told = shelter_table(["E"], [3.0], bay(2000.0, 12.0, open_water=OpenWater(fetch_limit_m=1e5)), [2], [39], 12.0)
    assert (told["shelter"] != "unknown").all()


def test_shelter_agrees_with_the_fields():
    """Two ways to the same number would part."""
    fields = wave_fields(FLAT, SHORE, 500.0, WindTable([270], [9], [1.0]), method="spm1984", rays_deg=[0.0])
    table = shelter_table(["A"], [3.0], bay(500.0, 9.0), [2], [25], 9.0)
    mine = table.set_index("direction_deg").loc[270.0]
    assert mine["orbital_velocity_ms"] == pytest.approx(float(fields["orbital_velocity_ms"][2, 25]), rel=1e-5)
    assert mine["hs_m"] == pytest.approx(float(fields["wave_height_m"][2, 25]), rel=1e-5)


def test_a_site_of_unknown_depth_is_unknown():
    """A depth made up for it would give a height."""
    table = shelter_table(["A"], [np.nan], bay(500.0, 9.0), [2], [25], 9.0)
    assert (table["shelter"] == "unknown").all()


def test_sites_off_the_grid_and_wrong_lengths_are_refused():
    """They would get the shelter of a neighbour."""
    with pytest.raises(InputFault, match="site X: cell 9, 9") as caught:
        shelter_table(["X"], [3.0, 2.0], bay(500.0, 9.0), [9], [9], 9.0)
    assert "1 codes, 1 cells, 2 depths" in str(caught.value)
    with pytest.raises(InputFault, match="'guess'"):
        one_wind(Lookout(Surroundings(SHORE, FLAT, 10.0), SHORE == 0, convergence_deg=0.0), EIGHT, 9.0, method="guess")
