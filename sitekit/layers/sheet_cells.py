"""The cells of one sheet of a spreadsheet as text: numbers as typed, dates as ISO 8601, leading zeros kept, formulas told."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from xml.parsers import expat
from zipfile import ZipFile

from sitekit.errors import Fault, InputFault
from sitekit.layers.cells import DATE, DATE_1900, NOT_WORKED_OUT, TIME
from sitekit.layers.xml_tree import Element, parse_xml

MOST_CELLS = 20_000_000
# Built-in number formats that show dates or times: ECMA-376, part 1, 18.8.30 (recalled, unverified).
_DATE_FORMATS = frozenset((*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)))
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]|_.|\*.')
_CELL = re.compile(r"([A-Z]+)(\d+)")
# A cell as spreadsheet programs write it: reference first, then style and kind; a bare value, or a body with more.
_PLAIN_CELL = re.compile(
    r'<c r="([A-Z]{1,3})(\d{1,7})"([^<>/]*)'
    r"(?:/>|>(?:<v>([^<]*)</v>|<is><t>([^<]*)</t></is>|((?:(?!</c>).)*))</c>)",
    re.DOTALL,
)
_ATTRIBUTE = re.compile(r'(\w+)="([^"]*)"')
_MERGED = re.compile(r'<mergeCell [^<>]*?ref="([^"]*)"')
_SPOKEN = re.compile(r"<rPh\b.*?</rPh>", re.DOTALL)
_TEXT = re.compile(r"<(?:v|t)(?: [^<>]*)?>([^<]*)</(?:v|t)>")
_ENTITY = re.compile(r"&(#x?[0-9A-Fa-f]+|lt|gt|amp|quot|apos);")
_ENTITIES = {"lt": "<", "gt": ">", "amp": "&", "quot": '"', "apos": "'"}
_LONGEST_ROW = 64 * 2**20  # characters of one row; beyond it the sheet is read element by element


@dataclass(frozen=True)
class Styles:
    """What the styles of a workbook say of a number: shown as a date, or with leading zeros; and its shared texts."""

    dates: frozenset[int]
    zeros: dict[int, int]
    texts: tuple[str, ...]
    epoch: datetime


def read_styles(archive: ZipFile, where: str, *, epoch_1904: bool) -> Styles:
    """Return the styles and shared texts of a workbook.

    Parameters
    ----------
    archive : ZipFile
        The workbook.
    where : str
        For messages.
    epoch_1904 : bool
        Whether days are counted from 1904-01-01 instead of 1899-12-30.

    Raises
    ------
    InputFault
        If a part is no XML.
    """
    names = set(archive.namelist())
    dates, zeros = set(), {}
    if "xl/styles.xml" in names:
        root = parse_xml(archive.read("xl/styles.xml"), where)
        own = {
            e.attributes.get("numFmtId", ""): e.attributes.get("formatCode", "")
            for e in root.walk()
            if e.name == "numFmt"
        }
        formats = root.child("cellXfs")
        for i, one in enumerate(formats.children if formats else []):
            key = one.attributes.get("numFmtId", "0")
            shown = _QUOTED.sub("", own.get(key, ""))
            if (key.isdigit() and int(key) in _DATE_FORMATS) or re.search("[dmyhs]", shown, re.IGNORECASE):
                dates.add(i)
            elif len(shown) > 1 and set(shown) == {"0"}:
                zeros[i] = len(shown)
    texts: tuple[str, ...] = ()
    if "xl/sharedStrings.xml" in names:
        shared = parse_xml(archive.read("xl/sharedStrings.xml"), where)
        texts = tuple(_joined(one).strip() for one in shared.children if one.name == "si")
    return Styles(frozenset(dates), zeros, texts, datetime(1904, 1, 1) if epoch_1904 else datetime(1899, 12, 30))


def _joined(one: Element) -> str:
    """Text of an entry: its own and that of its runs; how a text is to be spoken is left out."""
    return "".join(t.text for part in one.children if part.name in ("t", "r") for t in part.walk() if t.name == "t")


@dataclass
class SheetCells:
    """Cells of a sheet, filled by `read`.

    Parameters
    ----------
    styles : Styles
        Of the workbook.
    where : str
        For messages.

    Attributes
    ----------
    rows : dict of int to dict of int to str
        Row from 1 -> column from 0 -> text.
    odd : dict of (row, column) to str
        Cells that are not what they show.
    formulas : int
        Cells with a formula.
    merged : list of str
        Ranges of merged cells, such as B2:B5.
    """

    styles: Styles
    where: str
    rows: dict[int, dict[int, str]] = field(default_factory=dict)
    odd: dict[tuple[int, int], str] = field(default_factory=dict)
    formulas: int = 0
    merged: list[str] = field(default_factory=list)

    def read(self, archive: ZipFile, member: str, *, most_rows: int | None = None) -> SheetCells:
        """Read a sheet in pieces of 1 MiB, up to a number of rows; return itself.

        A whole sheet in the plain form that spreadsheet programs write is read by pattern, in about half the time; the parser
        goes over it all the same and says whether it is sound. Any other form is read element by element.

        Raises
        ------
        InputFault
            If it is no XML, declares a document type, or has more than 20 million cells.
        """
        if most_rows is None:
            if self._read_plain(archive, member):
                return self
            self.rows, self.odd, self.formulas, self.merged = {}, {}, 0, []
        return self._read_elements(archive, member, most_rows)

    def _read_plain(self, archive: ZipFile, member: str) -> bool:
        """Read the cells by pattern; False, at the first sign of another form, says that nothing read counts."""
        parser = expat.ParserCreate()
        other = False

        def doctype(*_: object) -> None:
            raise self._refused("a document type or entities", "Save it again.")

        def encoded(_version: str, encoding: str | None, _standalone: int) -> None:
            nonlocal other
            other = encoding is not None and encoding.lower() != "utf-8"

        parser.StartDoctypeDeclHandler, parser.XmlDeclHandler = doctype, encoded
        decoder = codecs.getincrementaldecoder("utf-8-sig")(errors="replace")
        columns: dict[str, int] = {}
        shown = {"": ("n", 0)}
        rest, cells, first = "", 0, True
        try:
            with archive.open(member) as stream:
                while True:
                    piece = stream.read(1 << 20)
                    parser.Parse(piece, not piece)
                    text = rest + decoder.decode(piece, final=not piece)
                    cut = text.rfind("</row>") + 6 if piece else len(text)
                    if piece and cut < 6:
                        rest = text
                        if len(rest) > _LONGEST_ROW:
                            return False
                        continue
                    text, rest = text[:cut], text[cut:]
                    if other or "<!" in text or (first and "<sheetData" not in text):
                        return False
                    found = _PLAIN_CELL.findall(text)
                    if len(found) != text.count("<c ") + text.count("<c>"):
                        return False
                    first, cells = False, cells + len(found)
                    if cells > MOST_CELLS:
                        raise self._refused(f"over {MOST_CELLS:,} cells", "Keep what is needed.")
                    self._take_plain(found, columns, shown)
                    self.merged += _MERGED.findall(text)[: 100_000 - len(self.merged)]
                    if not piece:
                        return True
        except (expat.ExpatError, ValueError) as error:
            if isinstance(error, InputFault):
                raise
            return False

    def _take_plain(
        self,
        found: list[tuple[str, str, str, str, str, str]],
        columns: dict[str, int],
        shown: dict[str, tuple[str, int]],
    ) -> None:
        rows, texts, special = self.rows, self.styles.texts, self.styles.dates | set(self.styles.zeros)
        for letters, at, attributes, bare, inline, body in found:
            line = int(at)
            column = columns.get(letters)
            if column is None:
                column = columns[letters] = column_of(letters)
            kind = shown.get(attributes)
            if kind is None:
                given = dict(_ATTRIBUTE.findall(attributes))
                kind = shown[attributes] = given.get("t", "n"), int(given.get("s", "0"))
            if inline or (bare and kind[0] == "s"):
                text = _unescaped(inline).strip()
                if not inline:
                    text = texts[int(bare)] if int(bare) < len(texts) else ""
                if text:
                    row = rows.get(line)
                    if row is None:
                        row = rows[line] = {}
                    row[column] = text
            elif bare and kind[0] == "n" and kind[1] not in special:
                row = rows.get(line)
                if row is None:
                    row = rows[line] = {}
                row[column] = bare if bare.isdigit() else _number_text(bare)
            else:
                text = "".join(_TEXT.findall(_SPOKEN.sub("", body))) if body else bare
                self._take(line, column, kind[0], kind[1], _unescaped(text), "<f" in body)

    def _read_elements(self, archive: ZipFile, member: str, most_rows: int | None) -> SheetCells:
        parser = expat.ParserCreate()
        parser.buffer_text = True
        columns: dict[str, int] = {}
        kind, style, letters, line, cells, buffer, inside, formula = "n", 0, "", 0, 0, "", False, False
        spoken = False

        def start(name: str, given: dict[str, str]) -> None:
            nonlocal kind, style, letters, line, buffer, inside, formula, spoken
            name = name.rsplit(":", 1)[-1]
            if name == "c":
                kind, style, buffer, formula = given.get("t", "n"), int(given.get("s", "0")), "", False
                match = _CELL.fullmatch(given.get("r", ""))
                if match:
                    letters, line = match[1], int(match[2])
                else:
                    letters = ""
            elif name in ("v", "t"):
                inside = not spoken
            elif name == "f":
                formula = True
            elif name == "rPh":
                spoken = True
            elif name == "mergeCell" and len(self.merged) < 100_000:
                self.merged.append(given.get("ref", ""))

        def end(name: str) -> None:
            nonlocal inside, cells, spoken
            name = name.rsplit(":", 1)[-1]
            if name in ("v", "t"):
                inside = False
            elif name == "rPh":
                spoken = False
            elif name == "c" and letters:
                cells += 1
                if cells > MOST_CELLS:
                    raise self._refused(f"over {MOST_CELLS:,} cells", "Keep what is needed.")
                if letters not in columns:
                    columns[letters] = column_of(letters)
                self._take(line, columns[letters], kind, style, buffer, formula)

        def text(data: str) -> None:
            nonlocal buffer
            if inside:
                buffer += data

        def doctype(*_: object) -> None:
            raise self._refused("a document type or entities", "Save it again.")

        parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
        parser.StartDoctypeDeclHandler = doctype
        try:
            with archive.open(member) as stream:
                while piece := stream.read(1 << 20 if most_rows is None else 1 << 14):
                    parser.Parse(piece, False)
                    if most_rows is not None and len(self.rows) > most_rows:
                        return self
                parser.Parse(b"", True)
        except (expat.ExpatError, ValueError) as error:
            if isinstance(error, InputFault):
                raise
            raise self._refused(f"a sheet that is no XML ({error})", "Save it again.") from None
        return self

    def _take(self, line: int, column: int, kind: str, style: int, value: str, formula: bool) -> None:
        if formula:
            self.formulas += 1
            if not value:
                self.odd[line, column] = NOT_WORKED_OUT
        if not value:
            return
        if kind == "s":
            at = int(value)
            shown = self.styles.texts[at] if 0 <= at < len(self.styles.texts) else ""
        elif kind == "b":
            shown = "TRUE" if value == "1" else "FALSE"
        elif kind == "e":
            shown = value
            self.odd[line, column] = f"a formula that failed ({value})"
        elif kind == "d":
            shown = value
            self.odd[line, column] = DATE
        elif kind == "n":
            shown = self._number(line, column, style, value)
        else:
            shown = value.strip()
        if shown:
            self.rows.setdefault(line, {})[column] = shown

    def _number(self, line: int, column: int, style: int, value: str) -> str:
        if style in self.styles.dates:
            return self._date(line, column, float(value))
        if style in self.styles.zeros and value.isdigit():
            return value.zfill(self.styles.zeros[style])
        return _number_text(value)

    def _date(self, line: int, column: int, days: float) -> str:
        if not -1e-9 <= days < 2_958_466:  # 9999-12-31, the last day a spreadsheet shows
            self.odd[line, column] = "a date out of range"
            return repr(days)
        moment = self.styles.epoch + timedelta(seconds=round(days * 86400))
        if days < 1 and self.styles.epoch.year == 1899 and days > 0:
            self.odd[line, column] = TIME
            return moment.strftime("%H:%M" if moment.second == 0 else "%H:%M:%S")
        self.odd[line, column] = DATE_1900 if moment.year <= 1900 else DATE
        midnight = (moment.hour, moment.minute, moment.second) == (0, 0, 0)
        return moment.date().isoformat() if midnight else moment.isoformat(timespec="seconds")

    def _refused(self, came: str, do: str) -> InputFault:
        return InputFault(Fault(self.where, came, "a sheet of a spreadsheet", do))


def _number_text(value: str) -> str:
    """A number as a person would type it; the last digits of a binary fraction, which nobody typed, are as in `repr`."""
    if "." in value or "E" in value or "e" in value:
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    return value


def _unescaped(text: str) -> str:
    """The five named entities and numbered characters of XML, the only ones without a document type."""
    if "&" not in text:
        return text

    def one(match: re.Match[str]) -> str:
        name = match[1]
        if name.startswith("#"):
            return chr(int(name[2:], 16) if name[1] in "xX" else int(name[1:]))
        return _ENTITIES[name]

    return _ENTITY.sub(one, text)


def column_of(letters: str) -> int:
    """Number of a column from 0: A is 0, AA is 26."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1
