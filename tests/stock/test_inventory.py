"""The stock list: names stay names, faults come all at once, gates give reasons."""

from datetime import date

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.tables import table
from sitekit.errors import FileFault, InputFault
from sitekit.stock.inventory import Gate, check_stock, read_stock, usable_counts

HEADER = "species,genet,source,source_region,structure,owner,ready,size_cm,health,health_date\n"


def rows(**columns):
    base = {"species": "ACER", "genet": "G1", "ready": "5", "size_cm": "20", "health": "healthy"}
    length = max(len(v) for v in columns.values()) if columns else 1
    return pd.DataFrame({k: columns.get(k, [v] * length) for k, v in {**base, **columns}.items()})


@pytest.mark.parametrize("name", ["NO", "010", "12:30", "1E5", "NA", "null", "nan", "1.0", "true", "Ωμ-7", "=1+1"])
def test_a_genet_name_survives_reading(tmp_path, name):
    """A table reader turned 010 into 10, NO into a truth value, NA into a gap."""
    path = tmp_path / "stock.csv"
    path.write_text(f"{HEADER}ACER,{name},,,T1,,5,20,healthy,2026-03-01\n", "utf-8")
    stock = check_stock(read_stock(path)[0], species=["ACER"])
    assert list(stock.genet) == [name]


def test_the_checked_table_has_the_columns_of_the_stock_table(tmp_path):
    """The plan's stock table would refuse the rows."""
    path = tmp_path / "stock.csv"
    path.write_text(f"{HEADER}ACER,A,,,T1,,5,20,healthy,\n", "utf-8-sig")
    stock = check_stock(read_stock(path)[0], species=["ACER"])
    assert list(stock.columns) == table("stock").names
    assert (stock.file[0], stock.line[0], stock.ready[0]) == ("stock.csv", 2, 5)


def test_a_semicolon_file_with_quoted_line_breaks_keeps_its_line_numbers(tmp_path):
    """A message would name the wrong line."""
    path = tmp_path / "stock.csv"
    path.write_text(
        'species;genet;ready;size_cm;health;source\nACER;A;1;9;healthy;"two\nlines"\nACER;B;1;9;healthy;x\n'
    )
    assert list(read_stock(path)[0].line) == [2, 4]


def test_every_fault_of_every_row_is_told_at_once():
    """A user would mend one fault per run."""
    bad = rows(
        species=["ACER", "XXXX", "ACER"],
        genet=["", "B", "C"],
        ready=["2.5", "-1", "many"],
        size_cm=["4,5", "0", "inf"],
        health=["fine", "watch", "healthy"],
        health_date=["2026-13-01", "", "1.3.2026"],
    )
    with pytest.raises(InputFault, match="a name") as caught:
        check_stock(bad, species=["ACER"])
    text = str(caught.value)
    assert len(caught.value.faults) == 12  # the last tells how to go on
    for words in ("Write 4.5, not 4,5", "'XXXX'; due: one of ACER", "'2026-13-01'", "whole number", "'fine'"):
        assert words in text


def test_a_batch_listed_twice_is_refused_and_both_lines_are_named():
    """Doubled rows would promise fragments that are not there."""
    with pytest.raises(InputFault, match=r"stock line 2.*same batch as in stock line 1"):
        check_stock(rows(genet=["A", "A"]), species=["ACER"])


def test_missing_columns_are_refused_by_name():
    """A misnamed column would read as empty stock."""
    with pytest.raises(InputFault, match="a column 'ready'"):
        check_stock(rows().drop(columns="ready"), species=["ACER"])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"species,genet\n\x81,1\n", "neither UTF-8 nor cp1252"),
        (b"", "is empty"),
        (b"species,genet\n", "no stock rows"),
        (b"species,genet,genet\nA,B,C\n", "stands twice"),
        (b"species,genet\nA\nB,C,D\n", "line 3: 3 cells"),
    ],
)
def test_an_unreadable_file_is_refused_with_its_fault(tmp_path, content, words):
    """A damaged file would be read as something else."""
    path = tmp_path / "stock.csv"
    path.write_bytes(content)
    with pytest.raises(InputFault, match=words):
        read_stock(path)


def test_a_missing_file_is_refused(tmp_path):
    """The run would go on without stock."""
    with pytest.raises(FileFault, match=r"none\.csv"):
        read_stock(tmp_path / "none.csv")


@pytest.mark.parametrize(
    ("size", "species", "usable", "words"),
    [
        ("4.9", "ACER", False, "below the least size of 5 cm"),
        ("5", "ACER", True, "below the 15 cm advised"),
        ("15", "ACER", True, ""),
        ("6", "APAL", True, ""),
    ],
)
def test_the_size_gate_follows_the_published_sizes(size, species, usable, words):
    """TV-076 and TV-077: refused below 5 cm, warned below 15 cm for staghorn, fine from there."""
    stock = check_stock(rows(species=[species], size_cm=[size]), species=["ACER", "APAL"])
    assert bool(stock.usable[0]) is usable
    assert words in stock.reason[0]
    assert (stock.reason[0] == "") == (words == "")


def test_health_and_its_date_gate_the_stock():
    """Sick or long unseen stock would be planted."""
    frame = rows(
        genet=list("ABCDEF"),
        health=["healthy", "watch", "refuse", "healthy", "healthy", "healthy"],
        health_date=["2026-03-01", "2026-03-01", "2026-03-01", "2026-01-01", "", "2026-05-01"],
    )
    gate = Gate(planting_date=date(2026, 4, 1), health_days=60)
    stock = check_stock(frame, species=["ACER"], gate=gate)
    assert list(stock.usable) == [True, False, False, False, False, False]
    assert "90 days old, at most 60" in stock.reason[3]
    assert usable_counts(stock) == {("ACER", "A"): 5}
    kept = check_stock(frame, species=["ACER"], gate=Gate(accept_watch=True))
    assert list(kept.usable) == [True, True, False, True, True, True]
    assert "note: health is 'watch'" in kept.reason[1]


@given(st.lists(st.tuples(st.sampled_from("ABC"), st.integers(0, 50)), min_size=1, max_size=20))
def test_usable_counts_add_up_to_the_ready_fragments(batches):
    """Fragments would be lost or doubled between the list and the plan."""
    frame = rows(
        genet=[g for g, _ in batches],
        ready=[str(n) for _, n in batches],
        structure=[f"T{i}" for i in range(len(batches))],
    )
    assert sum(usable_counts(check_stock(frame, species=["ACER"])).values()) == sum(n for _, n in batches)


def test_a_spreadsheet_keeps_names_and_tells_those_it_turned_into_dates(tmp_path):
    """A genet 1-2 became the first of February when somebody opened the list, and would be planted under that name."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Nursery of the school"])
    sheet.append(["Especie", "Genotipo", "Ready", "Size (in)", "Health", "Health date", "Partner"])
    sheet.append(["ACER", 10, 5, 8, "healthy", date(2026, 3, 1), "school"])
    sheet["B3"].number_format = "000"
    sheet.append(["ACER", date(2026, 2, 1), 5, 8, "healthy", date(2026, 3, 1), "school"])
    book.save(tmp_path / "stock.xlsx")
    with pytest.raises(
        InputFault,
        match=r"line 4: Genotipo is a date, shown as '2026-02-01': .* turned the genet's name.*as text, then type",
    ):
        read_stock(tmp_path / "stock.xlsx")
    refused = []
    frame, notes = read_stock(tmp_path / "stock.xlsx", refused=refused)
    stock = check_stock(frame, species=["ACER"], refused=refused)
    assert (stock.genet[0], stock.size_cm[0], stock.health_date[0], stock.partner[0]) == (
        "010",
        20.32,
        "2026-03-01",
        "school",
    )
    assert [(r.layer, r.file, r.line) for r in refused] == [("stock", "stock.xlsx", 4)]
    assert {"'Genotipo' read as genet", "'Size (in)' is in another unit: times 2.54 gives cm"} <= set(notes)


def test_rows_that_cannot_be_used_are_set_aside_with_file_line_text_and_reason(tmp_path):
    """One wrong count would stop a season, or be dropped without a word."""
    path = tmp_path / "stock.csv"
    path.write_text(HEADER + "ACER,A,,,,,5,20,healthy,\nACER,B,,,,,many,20,healthy,\n")
    refused = []
    frame, _ = read_stock(path, refused=refused)
    assert list(check_stock(frame, species=["ACER"], refused=refused).genet) == ["A"]
    (one,) = refused
    assert (one.line, one.reason) == (3, "ready 'many' (due: a whole number of fragments from 0 to 999,999,999)")
    assert one.do == "Correct the count."
    assert one.text == (
        "species=ACER; genet=B; source=; source_region=; structure=; owner=; ready=many; size_cm=20; health=healthy; "
        "health_date="
    )
