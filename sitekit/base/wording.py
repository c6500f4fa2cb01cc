"""Words and lengths printed for people, in the plan's language and units; the words stand once, in shared/labels.csv.

English is complete and checked. The other languages are marked unreviewed in the table: sheets in them say so, and
cautions carry the English beside them. Nothing here knows a reef or a page.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache

from sitekit.base.sources import shared_file
from sitekit.base.units import METRES_PER
from sitekit.errors import Fault, InputFault

LANGUAGES = ("en", "es", "fr")
UNITS = ("m", "ft", "both")
STATUS = "status"  # the row of the table that says how far each language can be trusted
_TOLD = "told."  # keys of sentences that stand in the season's tables in English
# What a value of such a sentence looks like, by the end of its name; any text otherwise. Lengths follow
# the units; values that end in `_said` are retold themselves.
_VALUES = {"_day": r"\d{4}-\d\d-\d\d", "_number": r"[\d.,]*\d", "_length": r"[\d.,]*\d m"}


@dataclass
class Wording:
    """Language and units in force, and the sentences that had no translation.

    Parameters
    ----------
    language : str
        `en`, `es` or `fr`.
    units : str
        `m`, `ft` or `both`: of depths and other lengths; tapes stay metric.
    untold : list of str
        English sentences printed as they are, each once, in the order met.
    """

    language: str = "en"
    units: str = "both"
    untold: list[str] = field(default_factory=list)

    @property
    def reviewed(self) -> bool:
        """Whether a person who speaks the language has read its labels."""
        return labels()[STATUS][self.language] != "unreviewed"


_IN_FORCE: ContextVar[Wording] = ContextVar("wording")


@contextmanager
def worded(language: str = "en", units: str = "both") -> Iterator[Wording]:
    """Print in a language and in units within the block.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.
    units : str
        One of `UNITS`.

    Raises
    ------
    InputFault
        On other words.
    """
    if language not in LANGUAGES:
        raise InputFault(Fault("language", repr(language), ", ".join(LANGUAGES), "Write one of these."))
    if units not in UNITS:
        raise InputFault(Fault("units of what is printed", repr(units), ", ".join(UNITS), "Write one of these."))
    made = Wording(language, units)
    before = _IN_FORCE.set(made)
    try:
        yield made
    finally:
        _IN_FORCE.reset(before)


def wording() -> Wording:
    """Return what is in force; English, in metres and feet, outside any `worded` block."""
    return _IN_FORCE.get(None) or Wording()


@cache
def labels() -> dict[str, dict[str, str]]:
    """Return every label: key -> language -> text, with names of values in braces."""
    with open(shared_file("labels.csv"), newline="", encoding="utf-8") as stream:
        return {row["key"]: {code: row[code] for code in LANGUAGES} for row in csv.DictReader(stream)}


def say(key: str, **values: object) -> str:
    """Return a label in the language in force, its values filled in.

    Raises
    ------
    InputFault
        If the table lacks the key.

    Examples
    --------
    >>> say("page_of", number=3, total=90)
    'page 3 of 90'
    >>> with worded("es"):
    ...     say("page_of", number=3, total=90)
    'página 3 de 90'
    """
    try:
        texts = labels()[key]
    except KeyError:
        raise InputFault(
            Fault(f"label {key!r}", "is not listed", "a key of shared/labels.csv", "Add it, or correct the key.")
        ) from None
    text = texts[wording().language]
    return text.format(**values) if values else text


def retell(text: str, *, typed: bool = False) -> str:
    """Return an English sentence of the season's tables in the language in force.

    A sentence is known by its English label (keys `told.…`), its values kept as they stand, lengths in the units in force.
    One that is not known is printed in English and noted in `Wording.untold`, so that the run can say so.

    Parameters
    ----------
    text : str
        As it stands in the table.
    typed : bool
        Whether it may be the team's own words: those are printed as typed and not noted.

    Examples
    --------
    >>> with worded("es"):
    ...     retell("07:00–11:23 on the planned days")
    '07:00–11:23 en los días previstos'
    """
    now = wording()
    if (now.language == "en" and now.units != "ft") or not any(c.isalpha() for c in text):
        return text
    for key, pattern in _patterns():
        found = pattern.fullmatch(text)
        if found:
            return labels()[key][now.language].format(**{k: _retold(k, v) for k, v in found.groupdict().items()})
    if now.language != "en" and not typed and text not in now.untold:
        now.untold.append(text)
    return text


def retell_parts(text: str, *, between: str = "; ", typed: bool = False) -> str:
    """Return a text made of English sentences in a row in the language in force, each as `retell` tells it.

    Examples
    --------
    >>> with worded("fr"):
    ...     retell_parts("forced in by the plan; too near OT")
    'imposé par le plan; trop près de OT'
    """
    return between.join(retell(part, typed=typed) for part in text.split(between))


def _retold(name: str, value: str) -> str:
    if name.endswith("_length"):
        return length_text(float(value[:-2].replace(",", "")))
    return retell(value, typed=True) if name.endswith("_said") else value


def caution(text: str) -> str:
    """Return a caution in the language in force, with the English beside it where the translation is unreviewed."""
    now = wording()
    told = retell(text)
    return text if told == text else told if now.reviewed else f"{told} [{text}]"


def depth_texts(least_m: float, most_m: float) -> tuple[str, ...]:
    """Return a range of depths in the units in force: metres to 0.1, whole feet; the greatest never rounds down.

    Parameters
    ----------
    least_m, most_m : float
        [m].

    Examples
    --------
    >>> depth_texts(9.48, 9.91)
    ('9.5–10.0 m', '31–33 ft')
    >>> with worded(units="ft"):
    ...     depth_texts(9.48, 9.91)
    ('31–33 ft',)
    """
    per = METRES_PER["ft"]
    low, high = round(least_m, 1), math.ceil(most_m * 10 - 1e-6) / 10
    feet = math.floor(least_m / per + 1e-6), math.ceil(most_m / per - 1e-6)
    metres = f"{low:.1f} m" if low == high else f"{low:.1f}–{high:.1f} m"
    both = metres, (f"{feet[0]} ft" if feet[0] == feet[1] else f"{feet[0]}–{feet[1]} ft")
    return {"m": both[:1], "ft": both[1:], "both": both}[wording().units]


def length_text(value_m: float, *, signed: bool = False) -> str:
    """Return a short length, such as an error or a height of tide: metres, or feet rounded up.

    Parameters
    ----------
    value_m : float
        [m].
    signed : bool
        Whether a sign is printed, and one decimal always.

    Examples
    --------
    >>> length_text(0.3), length_text(0.44, signed=True)
    ('0.3 m', '+0.4 m')
    >>> with worded(units="ft"):
    ...     length_text(0.3), length_text(5.0), length_text(0.44, signed=True)
    ('1.0 ft', '17 ft', '+1.4 ft')
    """
    if wording().units == "ft":
        feet = value_m / METRES_PER["ft"]
        if signed:
            return f"{feet:+.1f} ft"
        # an error never reads smaller than it is; ten feet and more are not known to a tenth
        return f"{math.ceil(feet - 1e-6)} ft" if feet >= 10 else f"{math.ceil(10 * feet - 1e-6) / 10:.1f} ft"
    return f"{value_m:+.1f} m" if signed else f"{value_m:g} m"


def length_unit() -> tuple[str, float]:
    """Return the unit of lengths in tables and on axes, which show one only, and its metres: feet where `ft` is in force.

    Examples
    --------
    >>> length_unit()
    ('m', 1.0)
    >>> with worded(units="ft"):
    ...     length_unit()
    ('ft', 0.3048)
    """
    name = "ft" if wording().units == "ft" else "m"
    return name, METRES_PER[name]


def way_unit() -> tuple[str, float]:
    """Return the unit of ways of a kilometre and more, and its metres: nautical miles where `ft` is in force."""
    name = "nmi" if wording().units == "ft" else "km"
    return name, METRES_PER[name]


def distance_text(value_m: float) -> str:
    """Return a distance to the whole metre or foot, thousands set apart.

    Parameters
    ----------
    value_m : float
        [m].

    Examples
    --------
    >>> distance_text(1234.4)
    '1,234 m'
    """
    unit, per = length_unit()
    return f"{value_m / per:,.0f} {unit}"


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Patterns of the sentences in tables, those with most fixed letters first."""
    found = []
    for key, texts in labels().items():
        if key.startswith(_TOLD):
            parts = re.split(r"(\{\w+\})", texts["en"])
            fixed = sum(len(p) for p in parts if not p.startswith("{"))
            pattern = "".join(_value(p[1:-1]) if p.startswith("{") else re.escape(p) for p in parts)
            found.append((-fixed, key, re.compile(pattern)))
    return tuple((key, pattern) for _, key, pattern in sorted(found, key=lambda f: (f[0], f[1])))


def _value(name: str) -> str:
    return f"(?P<{name}>{next((p for end, p in _VALUES.items() if name.endswith(end)), '.+?')})"
