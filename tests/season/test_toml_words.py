"""Values as people type them: every line at once, each with what to write, and what is written then is taken."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sitekit.errors import InputFault
from sitekit.season.settings import read_settings, settings_from
from sitekit.season.toml_words import wrong_type


def test_every_line_that_toml_cannot_hold_is_named_with_what_to_write(tmp_path: Path) -> None:
    """A loop of one fault at a time, whose advice is the next fault."""
    path = tmp_path / "plan.toml"
    path.write_text(
        '[plan]\nname = Temporada\ndate = 15/04/2027  # asked\ncell_m = 0,5\nfictional = yes\nseed = "1\n', "utf-8"
    )
    with pytest.raises(InputFault) as caught:
        read_settings(path)
    told = {f.where.rsplit("line ", 1)[1]: f.do for f in caught.value.faults}
    assert caught.value.faults[1].came == "is not TOML: date = 15/04/2027"
    assert told == {
        "2": 'Write "Temporada" if it is text.', "3": "Write 2027-04-15.", "4": "Write 0.5.", "5": "Write true.",
        "6": "Each quote that opens must close.",
    }  # fmt: skip


def test_a_bracket_that_never_closes_is_shown_with_its_line(tmp_path: Path) -> None:
    """A message with a line number of a file whose editor shows none."""
    path = tmp_path / "plan.toml"
    path.write_text('[plan\nname = "a"\n', "utf-8")
    with pytest.raises(InputFault, match=r"line 1, column 6\): \[plan; due"):
        read_settings(path)


@pytest.mark.parametrize(
    ("kind", "value", "do"),
    [
        ("date_type", "2027-04-15", "Write 2027-04-15, without quotes."),
        ("date_type", "15/04/2027", "Write 2027-04-15, without quotes."),
        ("date_type", "04/05/2027", "Write the year first, without quotes."),
        ("bool_type", "yes", "Write true, without quotes."),
        ("bool_type", "No", "Write false, without quotes."),
        ("float_type", "0,3", "Write 0.3, without quotes."),
        ("float_type", "5 m", "Write 5, without quotes."),
        ("int_type", "2,5", "Correct the value."),
        ("string_type", 5, 'Write "5".'),
    ],
)
def test_what_to_write_for_a_value_of_another_type(kind: str, value: object, do: str) -> None:
    """A date in quotes answered with: due a valid date."""
    found = wrong_type(kind, value)
    assert found is not None
    assert found[2] == do


def test_the_advice_leads_to_a_plan_that_is_taken() -> None:
    """Advice that gives the next fault."""
    data = tomllib.loads('[plan]\nname = "a"\ndate = "2027-04-15"\ncell_m = "0,5"\n')
    with pytest.raises(InputFault) as caught:
        settings_from(data)
    told = {f.where.rsplit(", ", 1)[1]: f for f in caught.value.faults}
    assert told["plan.date"].came == 'the text "2027-04-15", in quotes'
    assert told["plan.cell_m"].do == "Write 0.5, without quotes."
    with pytest.raises(InputFault) as caught:
        settings_from(tomllib.loads('[plan]\nname = "a"\ndate = 2027-04-15\ncell_m = 0.5\n'))
    assert not [f for f in caught.value.faults if "plan.date" in f.where or "plan.cell_m" in f.where]


def test_no_unit_of_a_species_is_answered_with_the_way_to_plant_none() -> None:
    """APAL = 0 refused with a rule of arithmetic."""
    with pytest.raises(InputFault, match=r"spacing.numbers.APAL: 0;.*leave its \[\[species\]\] table out"):
        settings_from({"spacing": {"numbers": {"APAL": 0}}})
