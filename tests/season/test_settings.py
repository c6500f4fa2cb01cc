"""plan.toml is read with every fault at once, or refused in words that help."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from sitekit.errors import FileFault, InputFault
from sitekit.season.settings import read_settings, settings_from


def least() -> dict[str, Any]:
    """The least that a plan needs."""
    return {
        "plan": {"name": "Trial", "date": datetime.date(2027, 1, 2), "cell_m": 1.0},
        "layers": {
            "bathymetry": {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
        },
        "species": [{"code": "APAL", "name": "Acropora palmata", "criteria": "elkhorn"}],
        "score": {"passing": 0.6},
        "candidates": {"least_area_m2": 50.0},
        "spacing": {"separation_m": 1.0, "lay_tolerance_m": 0.2, "clearance_m": 0.5},
    }


def faults_of(**changes: Any) -> list[str]:
    data = least()
    for path, value in changes.items():
        node: Any = data
        *steps, last = path.split("__")
        for step in steps:
            node = node[int(step) if step.isdigit() else step]
        node[last] = value
    with pytest.raises(InputFault) as caught:
        settings_from(data)
    return [str(f) for f in caught.value.faults]


def test_the_least_plan_is_accepted() -> None:
    """If the smallest plan is refused, nobody starts."""
    assert settings_from(least()).spacing.mode == "plots"


def test_an_unknown_key_names_the_nearest_known_one() -> None:
    """A typing error that is ignored silently leaves a default in force."""
    assert any("Did you mean 'separation_m'?" in f for f in faults_of(spacing__seperation_m=1.0))


def test_all_faults_come_at_once() -> None:
    """One fault a run makes ten runs."""
    found = faults_of(plan__cell_m=-1.0, layers__bathymetry__sign="up", spacing__clearance_m="near", colour="red")
    assert len(found) == 4
    text = "\n".join(found)
    for key in ("plan.cell_m", "layers.bathymetry.sign", "spacing.clearance_m", "'colour'"):
        assert key in text


@pytest.mark.parametrize("value", [0.0, -1.0, float("inf"), float("nan"), "1", True])
def test_a_separation_must_be_a_number_above_zero(value: Any) -> None:
    """d ≤ 0 would stack every colony on one point; text is never taken for a number."""
    assert any("spacing.separation_m" in f for f in faults_of(spacing__separation_m=value))


def test_a_species_without_criteria_is_refused() -> None:
    """A species nobody judges would score everywhere."""
    assert any("no criteria" in f for f in faults_of(species__0__criteria=None))


def test_twice_the_same_site_code_is_refused() -> None:
    """Two places with one code share tags."""
    site = {"code": "WS", "at": "18 0 N, 50 0 W"}
    assert any("'WS' is given twice" in f for f in faults_of(site=[site, site]))


def test_a_curve_with_falling_numbers_is_refused() -> None:
    """A trapezoid 5, 3, 9, 8 has no shape."""
    bad = {"name": "x", "field": "depth_m", "weight": 1.0, "source": "own", "curve": {"shape": "trapezoid"}}
    bad["curve"] = {"shape": "trapezoid", "at": [5.0, 3.0, 9.0, 8.0]}
    assert any("must not fall" in f for f in faults_of(criteria=[bad]))


def test_a_protected_layer_needs_rules() -> None:
    """A category alone never decides."""
    assert any("rule_field" in f for f in faults_of(layers__protected={"file": "p.geojson"}))


def test_a_missing_plan_says_how_to_make_one(tmp_path: Path) -> None:
    """The first error a newcomer meets must lead on."""
    with pytest.raises(FileFault, match="sitekit new FOLDER"):
        read_settings(tmp_path / "plan.toml")


def test_a_line_that_is_not_toml_is_named(tmp_path: Path) -> None:
    """The reader needs the line."""
    (tmp_path / "plan.toml").write_text("[plan]\nname = Reef\n")
    with pytest.raises(InputFault, match="line 2"):
        read_settings(tmp_path / "plan.toml")


def test_bytes_that_are_not_utf8_are_named(tmp_path: Path) -> None:
    """A plan saved in an old encoding must not be read wrongly."""
    (tmp_path / "plan.toml").write_bytes(b'[plan]\nname = "Caf\xe9"\n')
    with pytest.raises(InputFault, match="not UTF-8"):
        read_settings(tmp_path / "plan.toml")


def two_species(**spacing: Any) -> dict[str, Any]:
    data = least()
    data["species"].append({"code": "ACER", "name": "Acropora cervicornis", "criteria": "staghorn"})
    data["spacing"].update(spacing)
    return data


def test_a_pair_of_species_takes_its_own_separation_before_the_one_for_all_pairs() -> None:
    """A table that is read one way round only would plan the other order with another distance."""
    plan = settings_from(two_species(between={"ACER APAL": 1.5}, between_species_m=2.0)).spacing
    assert plan.between_m("APAL", "ACER") == plan.between_m("ACER", "APAL") == 1.5
    assert settings_from(two_species(between_species_m=2.0)).spacing.between_m("APAL", "ACER") == 2.0
    assert settings_from(two_species()).spacing.between_m("APAL", "ACER") is None


@pytest.mark.parametrize(
    ("between", "said"),
    [
        ({"APAL ACER": 1.5, "ACER APAL": 1.2}, "twice"),
        ({"APAL APAL": 1.5}, "itself"),
        ({"APAL OANN": 1.5}, "OANN"),
        ({"APAL": 1.5}, "spacing.between"),
        ({"APAL ACER": 0.0}, "spacing.between"),
    ],
)
def test_a_separation_between_species_must_name_a_pair_of_the_plan_once(between: dict[str, float], said: str) -> None:
    """A pair that is misspelt or given twice would leave another distance in force without a word."""
    with pytest.raises(InputFault) as caught:
        settings_from(two_species(between=between))
    assert any(said in str(f) for f in caught.value.faults)
