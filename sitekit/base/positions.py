"""Reading positions from text in any usual notation, with hemisphere letters, quote marks, decimal commas."""

from __future__ import annotations

import re
import unicodedata

from sitekit.base.notation import Axis, Position
from sitekit.errors import Fault, InputFault

_DUE = "a position such as 18.2539 N, 64.835 W or 18° 15.234′ N, 64° 50.100′ W or 18 15 14.04 N 64 50 06 W"
_MINUTE_MARKS = "'’‘′`´ʹʼ‵"
_SECOND_MARKS = '"”“″ʺ„‟〃'
_WORDS = {  # read before single letters; German, French and Spanish names of the axes are usual on boats
    "latitude": " ", "longitude": " ", "latitud": " ", "longitud": " ", "lat": " ", "long": " ", "lon": " ", "lng": " ",
    "north": "N", "south": "S", "east": "E", "west": "W", "norte": "N", "sur": "S", "este": "E", "oeste": "W",
    "nord": "N", "sud": "S", "ouest": "W", "degrees": "°", "degree": "°", "deg": "°", "minutes": "'", "min": "'",
    "seconds": '"', "sec": '"',
}  # fmt: skip
_TOKEN = re.compile(r"\s*(?:(?P<number>[+-]?\s?\d+(?:\.\d+)?)|(?P<mark>[°'\"])|(?P<letter>[NSEW])|(?P<break>[,;/|]))")
_ISO = re.compile(r"^([+-])(\d{2,6}(?:\.\d+)?)([+-])(\d{3,7}(?:\.\d+)?)(?:/)?$")


class _Angle:
    """Numbers, marks and letter of one coordinate, as they stand in the text."""

    def __init__(self) -> None:
        self.numbers: list[str] = []
        self.marks: list[str] = []
        self.letter = ""


def read_position(text: str, where: str = "position") -> Position:
    """Return the position a text gives.

    Parameters
    ----------
    text : str
        Latitude and longitude in DD, DDM or DMS, signs or hemisphere letters (before or after), any usual degree,
        minute and second marks, point or comma as decimal mark; ISO 6709 too. Without letters the latitude comes first.
    where : str
        Named in faults: a key path, or a file with line.

    Raises
    ------
    InputFault
        If the text is no position, is ambiguous (a sign and a letter; O, west in Spanish and east in German), or a
        part is out of range. Values that fit only the other way round are refused as swapped.
    """
    iso = _ISO.match(text.strip())
    if iso:
        lat = _packed(iso[1] + iso[2], 2, "lat", text, where)
        return _checked(_packed(iso[3] + iso[4], 3, "lon", text, where), lat, text, where)
    first, second = _halves(_tokens(text, where), text, where)
    axes = {"N": "lat", "S": "lat", "E": "lon", "W": "lon"}
    kinds = [axes.get(first.letter), axes.get(second.letter)]
    if (kinds[0] == kinds[1] and kinds[0] is not None) or (None in kinds and kinds != [None, None]):
        raise _fault(
            text, where, "has not one letter of N or S and one of E or W", "Write a letter on both parts, or on none."
        )
    if kinds[0] == "lon":
        first, second = second, first
    lat, lon = _degrees(first, text, where), _degrees(second, text, where)
    if kinds[0] is None and abs(lat) > 90 >= abs(lon):
        raise _fault(text, where, "has a first number beyond 90", "Latitude comes first: the two look swapped.")
    return _checked(lon, lat, text, where)


def read_angle(text: str, axis: Axis, where: str = "coordinate") -> float:
    """Return one coordinate [degrees] from a cell of a table, in any notation that `read_position` takes.

    Raises
    ------
    InputFault
        If the text is no coordinate of that axis.
    """
    tokens = [t for t in _tokens(text, where) if t[0] != "break"]
    angle = _gather(tokens, text, where)
    if angle.letter and angle.letter not in ("NS" if axis == "lat" else "EW"):
        raise _fault(text, where, f"is no {'latitude' if axis == 'lat' else 'longitude'}", "The columns look swapped.")
    value = _degrees(angle, text, where)
    limit = 90 if axis == "lat" else 360
    if abs(value) > limit:
        raise _fault(text, where, f"lies beyond ±{limit} degrees", "Check the notation, and which column is which.")
    return value


def _tokens(text: str, where: str) -> list[tuple[str, str]]:
    plain = unicodedata.normalize("NFC", text).strip()
    for marks, mark in ((_SECOND_MARKS, '"'), (_MINUTE_MARKS, "'"), ("º˚", "°"), ("−–—‒", "-")):
        plain = re.sub(f"[{marks}]", mark, plain)
    plain = plain.replace("''", '"').replace("\u00a0", " ").replace("\u202f", " ")
    plain = re.sub(r"[A-Za-z]{3,}", lambda m: _WORDS.get(m[0].lower(), m[0]), plain)
    plain = re.sub(r"(?<=\d)\s*d(?=[\s\d])", "°", plain, flags=re.IGNORECASE)
    plain = re.sub(r"(?<=\d)\s*m(?=[\s\d]|$)", "'", plain)
    plain = re.sub(r"(?<=\d)\s*s(?=\s*[NSEWnsew,;]|$)(?=\s*[NSEWnsew])", '"', plain)
    plain = re.sub(r"[:_=]", " ", plain).upper()
    if re.search(r"(?<![A-Z])O(?![A-Z])", plain):
        raise _fault(text, where, "uses the letter O", "O is west in Spanish and east in German: write W or E.")
    plain = _decimal_points(plain)
    found: list[tuple[str, str]] = []
    at = 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if not match or match.end() == at:
            if not plain[at:].strip():
                break
            raise _fault(
                text, where, f"has {plain[at:].strip()[:12]!r} in it", "Write numbers, marks and N S E W only."
            )
        kind = str(match.lastgroup)
        found.append((kind, re.sub(r"\s", "", match[kind])))
        at = match.end()
    return found


def _decimal_points(text: str) -> str:
    """Turn decimal commas into points: no point is there, and a comma or another mark still parts the pair."""
    inner = re.findall(r"\d,\d", text)
    if "." in text or not inner:
        return text
    parted = len(re.findall(r",", text)) > 1 or bool(re.search(r"[;/|NSEW]|\d\s+[+-]?\d+,\d+\s*$", text))
    return re.sub(r"(?<=\d),(?=\d)", ".", text) if parted else text


def _halves(tokens: list[tuple[str, str]], text: str, where: str) -> tuple[_Angle, _Angle]:
    breaks = [i for i, (kind, _) in enumerate(tokens) if kind == "break"]
    letters = [i for i, (kind, _) in enumerate(tokens) if kind == "letter"]
    numbers = [i for i, (kind, _) in enumerate(tokens) if kind == "number"]
    if len(breaks) == 1 and 0 < breaks[0] < len(tokens) - 1:
        cut = breaks[0]
    elif len(letters) == 2 and numbers:
        cut = letters[1] if letters[0] < numbers[0] else letters[0] + 1
    elif not letters and len(numbers) in (2, 4, 6):
        cut = numbers[len(numbers) // 2]
    else:
        raise _fault(text, where, "is not two coordinates", "Put a comma between latitude and longitude.")
    parts = [t for t in tokens[:cut] if t[0] != "break"], [t for t in tokens[cut:] if t[0] != "break"]
    return _gather(parts[0], text, where), _gather(parts[1], text, where)


def _gather(tokens: list[tuple[str, str]], text: str, where: str) -> _Angle:
    angle = _Angle()
    for kind, value in tokens:
        if kind == "number":
            angle.numbers.append(value)
            angle.marks.append("")
        elif kind == "mark":
            if not angle.numbers or angle.marks[-1]:
                raise _fault(text, where, f"has a stray {value}", "Write each mark after its number.")
            angle.marks[-1] = value
        elif angle.letter:
            raise _fault(text, where, "has too many letters", "Write one hemisphere letter per coordinate.")
        else:
            angle.letter = value
    if not 1 <= len(angle.numbers) <= 3:
        raise _fault(text, where, f"has {len(angle.numbers)} numbers where a coordinate has 1 to 3", "Check the text.")
    due = ["°", "'", '"'][: len(angle.numbers)]
    if any(mark and mark != want for mark, want in zip(angle.marks, due, strict=True)):
        raise _fault(text, where, "has its marks in another order than ° ′ ″", "Check the text.")
    return angle


def _degrees(angle: _Angle, text: str, where: str) -> float:
    signed = angle.numbers[0][0] in "+-"
    if signed and angle.letter:
        raise _fault(text, where, "has both a sign and a letter", "Keep one: −64.835, or 64.835 W.")
    if any(n[0] in "+-" for n in angle.numbers[1:]):
        raise _fault(text, where, "has a sign inside a coordinate", "Put a comma between latitude and longitude.")
    if any("." in n for n in angle.numbers[:-1]):
        raise _fault(text, where, "has decimals before the last part", "Only the last part may have decimals.")
    value = 0.0
    for size, number in zip((1, 60, 3600), angle.numbers, strict=False):
        part = float(number.lstrip("+-"))
        if size > 1 and part >= 60:
            raise _fault(text, where, f"has {number} minutes or seconds", "They stay below 60.")
        value += part / size
    return -value if angle.numbers[0][0] == "-" or angle.letter in ("S", "W") else value


def _packed(digits: str, wide: int, axis: str, text: str, where: str) -> float:
    """ISO 6709: ±DD, ±DDMM or ±DDMMSS (three digits of degrees for longitude), the last part with decimals."""
    sign, body = digits[0], digits[1:]
    whole, _, fraction = body.partition(".")
    if (len(whole) - wide) not in (0, 2, 4):
        raise _fault(text, where, f"has a {axis} of {len(whole)} digits", "Use ±DD, ±DDMM or ±DDMMSS.")
    angle = _Angle()
    angle.numbers = [whole[:wide], *(whole[i : i + 2] for i in range(wide, len(whole), 2))]
    if fraction:
        angle.numbers[-1] += "." + fraction
    value = _degrees(angle, text, where)
    return -value if sign == "-" else value


def _checked(lon: float, lat: float, text: str, where: str) -> Position:
    if abs(lat) > 90 or abs(lon) > 360:
        raise _fault(text, where, "lies off the globe", "Latitude runs to 90 degrees, longitude to 180.")
    return Position((lon + 180.0) % 360.0 - 180.0 if abs(lon) > 180 else lon, lat)


def _fault(text: str, where: str, came: str, do: str) -> InputFault:
    return InputFault(Fault(where, f"{text[:80]!r} {came}", _DUE, do))
