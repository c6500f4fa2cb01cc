"""Two ways through a sheet, by pattern and element by element, give the same cells."""

import datetime
import io
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.layers.sheet_cells import SheetCells, Styles, read_styles

MEMBER = "xl/worksheets/sheet1.xml"
NO_STYLES = Styles(frozenset(), {}, ("first", "second & third"), datetime.datetime(1899, 12, 30))
HEAD = '<?xml version="1.0" encoding="UTF-8"?><worksheet><sheetData>'
CELLS = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**9), 10**9), st.floats(-1e6, 1e6, allow_nan=False),
    st.dates(datetime.date(1899, 12, 31), datetime.date(2200, 1, 1)),
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters="￾￿"), max_size=12)
    .filter(lambda t: not t.startswith("=")),
    st.sampled_from(["=1+1", "a & b <c r=\"A1\">", "1e5", "]]>"]),
)  # fmt: skip


def both(archive, styles):
    plain, by_element = SheetCells(styles, "x"), SheetCells(styles, "x")
    taken = plain._read_plain(archive, MEMBER)
    by_element._read_elements(archive, MEMBER, None)
    return taken, plain, by_element


def packed(text):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr(MEMBER, text)
    return zipfile.ZipFile(data)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=1, max_size=5), min_size=1, max_size=8))
def test_both_ways_read_the_same_cells_of_a_written_workbook(rows):
    """The quick way would lose an accent, a date or a formula that the slow one sees."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    data = io.BytesIO()
    book.save(data)
    with zipfile.ZipFile(data) as archive:
        taken, plain, by_element = both(archive, read_styles(archive, "x", epoch_1904=False))
    assert taken
    assert (plain.rows, plain.odd, plain.formulas) == (by_element.rows, by_element.odd, by_element.formulas)


@pytest.mark.parametrize(
    "body",
    [
        '<row r="1"><c r="A1" t="s"><v>1</v></c><c r="B1" s="0" t="n"><v>1.50</v></c></row>',
        '<row r="1"><c r="A1" t="inlineStr"><is><r><t xml:space="preserve"> a&#233;</t></r><r><t>b</t></r></is></c></row>',
        '<row r="1"><c r="A1" t="inlineStr"><is><t>漢</t><rPh sb="0" eb="1"><t>かん</t></rPh></is></c></row>',
        '<row r="1"><c r="A1" t="str"><f>B1</f><v>&lt;b&gt;</v></c><c r="B1"><f>1</f></c><c r="C1" t="e"><v>#N/A</v></c></row>',
        '<row r="1"><c r="A1" t="s"><f>B1</f><v>1</v></c></row>',
        '<row r="1"><c r="A1"/></row><row r="2"/>',
    ],
)
def test_plain_forms_are_read_by_pattern(body):
    """A form that programs write would fall back to the slow way, or read another text."""
    taken, plain, by_element = both(
        packed(HEAD + body + '</sheetData><mergeCells><mergeCell ref="A1:A3"/></mergeCells></worksheet>'), NO_STYLES
    )
    assert taken
    assert (plain.rows, plain.odd, plain.formulas) == (by_element.rows, by_element.odd, by_element.formulas)
    assert plain.merged == by_element.merged == ["A1:A3"]


@pytest.mark.parametrize(
    "text",
    [
        HEAD + '<row r="1"><c t="s" r="A1"><v>1</v></c></row></sheetData></worksheet>',
        HEAD + '<row r="1"><c r="A1"><!-- 5 --><v>1</v></c></row></sheetData></worksheet>',
        HEAD + '<row r="1"><c r="A1" t="str"><v><![CDATA[<c>]]></v></c></row></sheetData></worksheet>',
        HEAD.replace("<", "<x:").replace("<x:?", "<?")
        + '<x:row r="1"><x:c r="A1"><x:v>1</x:v></x:c></x:row></x:sheetData></x:worksheet>',
    ],
)  # fmt: skip
def test_any_other_form_is_read_element_by_element(text):
    """Cells of an unusual writer would be lost in silence."""
    taken, _, by_element = both(packed(text), NO_STYLES)
    assert not taken
    assert by_element.rows
    assert SheetCells(NO_STYLES, "x").read(packed(text), MEMBER).rows == by_element.rows


def test_a_sheet_that_breaks_off_is_refused():
    """Half a list read as a whole one."""
    with pytest.raises(InputFault, match="a sheet that is no XML"):
        SheetCells(NO_STYLES, "x").read(packed(HEAD + '<row r="1"><c r="A1"><v>1</v></c></row>'), MEMBER)
