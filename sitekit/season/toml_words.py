"""Values that a plan.toml cannot hold as they are written, such as 15/04/2027, yes or 0,3: what is due, what to write."""

from __future__ import annotations

import re
import tomllib
from datetime import date, datetime

from sitekit.errors import Fault

_DATE = "a date as year-month-day without quotes, such as 2027-04-15"
_NUMBER = "a number without quotes or unit, with a decimal point, such as 0.3"
_TRUTH = "true or false, without quotes"
_VALUE = re.compile(r"\s*(?:\"[^\"]*\"|'[^']*'|[\w.-]+)\s*=\s*(.*?)\s*(?:#.*)?")
_DUE = {
    "date_type": _DATE, "bool_type": _TRUTH, "float_type": _NUMBER, "int_type": "a whole number without quotes, such as 3",
    "string_type": "text in quotes", "list_type": 'a list in square brackets, such as ["a", "b"]',
    "dict_type": "a table", "model_type": "a table",
}  # fmt: skip
_YES = {
    "yes": "true",
    "si": "true",
    "sí": "true",
    "oui": "true",
    "y": "true",
    "no": "false",
    "non": "false",
    "n": "false",
}


def line_faults(text: str, where: str, error: tomllib.TOMLDecodeError) -> list[Fault]:
    """Return every line whose value TOML cannot hold, else the place where reading stopped.

    Parameters
    ----------
    text : str
        The whole file.
    where : str
        Its name.
    error : tomllib.TOMLDecodeError
        What stopped the reading.
    """
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        match = _VALUE.fullmatch(line)
        if match is None or match[1][:1] in ("[", "{") or match[1][:3] in ('"""', "'''"):
            continue
        try:
            tomllib.loads(line)
        except tomllib.TOMLDecodeError:
            shown = re.sub(r"\s+#.*", "", line.strip())[:120]
            found.append(Fault(f"{where}, line {number}", f"is not TOML: {shown}", *_meant(match[1])))
    if found:
        return found
    at = re.search(r"line (\d+)", str(error))
    lines = text.splitlines()
    shown = f": {lines[int(at[1]) - 1].strip()[:120]}" if at and 0 < int(at[1]) <= len(lines) else ""
    due = "TOML 1.0: [table], [[table]], or key = value"
    do = "Correct that line or the one above it; each quote and bracket that opens must close."
    return [Fault(where, f"is not TOML: {error}{shown}", due, do)]


def wrong_type(kind: str, value: object) -> tuple[str, str, str] | None:
    """Return what came, what is due and what to write where a value is of another type; None for other faults.

    Parameters
    ----------
    kind : str
        Type of the fault as the model names it.
    value : object
        What the plan holds.
    """
    due = _DUE.get(kind)
    if due is None:
        return None
    came = f'the text "{value[:100]}", in quotes' if isinstance(value, str) else _plain(value)
    if kind == "date_type":
        meant = value.date().isoformat() if isinstance(value, datetime) else _date_in(str(value))
        return came, due, f"Write {meant}, without quotes." if meant else "Write the year first, without quotes."
    if kind == "bool_type":
        meant = _YES.get(str(value).strip().lower(), str(value).strip().lower())
        return came, due, f"Write {meant}, without quotes." if meant in ("true", "false") else "Write one of the two."
    if kind in ("float_type", "int_type"):
        meant = _number_in(str(value)) if isinstance(value, str) else None
        whole = kind == "int_type" and meant is not None and not re.fullmatch(r"[+-]?\d+", meant)
        return came, due, f"Write {meant}, without quotes." if meant and not whole else "Correct the value."
    if kind == "string_type" and not isinstance(value, (dict, list)):
        return came, due, f'Write "{_plain(value)}".'
    return came, due, "Correct the value."


def _meant(value: str) -> tuple[str, str]:
    """What is due for a value that is no TOML, and what to write."""
    if (meant := _date_in(value)) or re.fullmatch(r"\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}", value):
        return _DATE, f"Write {meant}." if meant else "Write the year first, then month and day."
    if value.lower() in _YES:
        return f'{_TRUTH}; or text in quotes, "{value}"', f"Write {_YES[value.lower()]}."
    if meant := _number_in(value):
        return _NUMBER, f"Write {meant}."
    if not value:
        return "a value behind the =", "Write it, or delete the line."
    due = f"text in quotes; {_NUMBER}; {_DATE}; {_TRUTH}"
    quoted = '"' not in value and "'" not in value and "\\" not in value
    return due, f'Write "{value}" if it is text.' if quoted else "Each quote that opens must close."


def _date_in(text: str) -> str | None:
    """Date as ISO writes it; None where day and month cannot be told apart, or it is none."""
    match = re.fullmatch(r"(\d{1,4})[/.-](\d{1,2})[/.-](\d{1,4})", text.strip())
    if match is None:
        return None
    first, middle, last = int(match[1]), int(match[2]), int(match[3])
    if len(match[1]) == 4:
        year, month, day = first, middle, last
    elif len(match[3]) == 4 and (first > 12 or middle > 12 or first == middle):
        year, (month, day) = last, (middle, first) if first > 12 else (first, middle)
    else:
        return None
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None


def _number_in(text: str) -> str | None:
    match = re.fullmatch(r"([+-]?\d+)(?:[.,](\d+))?\s*(?:m|m²|m2|ft|cm|%)?", text.strip())
    return None if match is None else match[1] + (f".{match[2]}" if match[2] else "")


def _plain(value: object) -> str:
    """Value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else str(value)
