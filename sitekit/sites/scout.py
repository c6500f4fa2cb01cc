"""The scout's form: what divers are asked, and what they brought back, read with every fault at once."""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sitekit.errors import Faults

# Where the five looks at the bottom are taken: steps east and north, times the distance of the form.
BOTTOM_POINTS: dict[str, tuple[int, int]] = {
    "centre": (0, 0),
    "north": (0, 1),
    "east": (1, 0),
    "south": (0, -1),
    "west": (-1, 0),
}
GO = ("go", "no-go", "unsure")
_NUMBERS = {"depth_m": (0.0, 100.0), "tide_m": (-10.0, 20.0), "macroalgae_pct": (0.0, 100.0)}
_WORDS = ("predators", "disease", "current", "surge", "anchoring", "photos", "note")
FORM_COLUMNS: tuple[str, ...] = (
    "site",
    "longitude_deg",
    "latitude_deg",
    "date",
    "observer",
    "depth_m",
    "depth_time",
    "tide_m",
    *(f"bottom_{p}" for p in BOTTOM_POINTS),
    "macroalgae_pct",
    "predators",
    "disease",
    "current",
    "surge",
    "anchoring",
    "photos",
    "go",
    "note",
)


@dataclass(frozen=True)
class Returned:
    """One form as it came back.

    Parameters
    ----------
    line : int
        Of the file.
    site : str
        Code as written.
    known : bool
        Whether the plan has that code; a form with another one is kept and listed, and changes nothing.
    longitude_deg, latitude_deg : float
        Where the form was filled in (WGS 84).
    date, observer : str
        ISO 8601; who.
    depth_m : float or None
        By computer, as read.
    depth_time : str
        When the depth was read; empty if not noted.
    tide_m : float or None
        Height of tide above the datum of the depths at that time; without it the depth changes no layer.
    bottom : dict of str to str
        Place of the look -> class of the standard.
    macroalgae_pct : float or None
        Cover.
    words : dict of str to str
        Predators, disease, current, surge, anchoring, photos, note: as written.
    go : str
        `go`, `no-go` or `unsure`.
    """

    line: int
    site: str
    known: bool
    longitude_deg: float
    latitude_deg: float
    date: str
    observer: str
    depth_m: float | None
    depth_time: str
    tide_m: float | None
    bottom: dict[str, str]
    macroalgae_pct: float | None
    words: dict[str, str]
    go: str

    @property
    def charted_depth_m(self) -> float | None:
        """Depth below the datum: depth by computer − height of tide; None where one of them is missing."""
        if self.depth_m is None or self.tide_m is None:
            return None
        return self.depth_m - self.tide_m


def read_forms(
    rows: Sequence[Mapping[str, str]],
    sites: Sequence[str],
    classes: Sequence[str],
    *,
    lines: Sequence[int] | None = None,
    wrong: dict[int, str] | None = None,
) -> list[Returned]:
    """Return the forms of a returned file, in the order of its lines; lines without a date and an observer are blank.

    Parameters
    ----------
    rows : sequence of mapping
        Column -> text.
    sites : sequence of str
        Codes of the plan.
    classes : sequence of str
        Bottom classes of the standard.
    lines : sequence of int, optional
        Line of each row; from 2 without it.
    wrong : dict of int to str, optional
        Takes the lines of forms that cannot be used, with the reasons, and the others go on; without it they are faults.

    Raises
    ------
    InputFault
        Naming every missing column, value that cannot be read, unknown class, and site with two forms.
    """
    with Faults() as faults:
        have = set(rows[0]) if rows else set(FORM_COLUMNS)
        for name in FORM_COLUMNS:
            if name not in have:
                faults.add("scout.from", f"the column {name!r} is missing", ", ".join(FORM_COLUMNS), "Add it.")
    found: list[Returned] = []
    with Faults() as every:
        for line, row in zip(lines or range(2, len(rows) + 2), rows, strict=True):
            text = {n: str(row.get(n) or "").strip() for n in FORM_COLUMNS}
            if not text["date"] and not text["observer"]:
                continue
            faults = Faults()
            form = _form(line, text, sites, classes, faults)
            if faults.found and wrong is not None:
                wrong[line] = "; ".join(f"{f.where.split(', ')[-1]} {f.came} (due: {f.due})" for f in faults.found)
                continue
            every.found += faults.found
            found.append(form)
        twice = sorted({f.site for f in found if sum(g.site == f.site for g in found) > 1})
        for code in twice:
            both = ", ".join(str(f.line) for f in found if f.site == code)
            every.add(f"scout.from, site {code}", f"lines {both}", "one form per site", "Keep the newer one.")
    return found


def _form(line: int, text: dict[str, str], sites: Sequence[str], classes: Sequence[str], faults: Faults) -> Returned:
    where = f"scout.from, line {line}"
    if not text["observer"]:
        faults.add(f"{where}, observer", "nothing", "who looked", "Write the name.")
    try:
        datetime.date.fromisoformat(text["date"])
    except ValueError:
        faults.add(f"{where}, date", repr(text["date"]), "a date such as 2026-03-02", "Correct it.")
    numbers: dict[str, float | None] = {}
    for name, (low, high) in {**_NUMBERS, "longitude_deg": (-180, 180), "latitude_deg": (-90, 90)}.items():
        numbers[name] = _number(text[name], low, high, f"{where}, {name}", faults)
    for name in ("longitude_deg", "latitude_deg"):
        if not text[name]:
            faults.add(f"{where}, {name}", "nothing", "the waypoint of the form, in degrees", "Copy it from the form.")
    bottom = {}
    for point in BOTTOM_POINTS:
        word = text[f"bottom_{point}"]
        match = {c.lower(): c for c in classes}.get(word.lower())
        if match is not None:
            bottom[point] = match
        elif word and word.lower() != "unknown":
            near = difflib.get_close_matches(word, classes, n=3, cutoff=0.3) or sorted(classes)[:3]
            faults.add(f"{where}, bottom_{point}", repr(word), "a bottom class, e.g. " + ", ".join(near), "Correct it.")
    if text["go"].lower() not in ("", *GO):
        faults.add(f"{where}, go", repr(text["go"]), ", ".join(GO), "Correct it.")
    return Returned(
        line=line,
        site=text["site"],
        known=text["site"] in sites,
        longitude_deg=numbers["longitude_deg"] or 0.0,
        latitude_deg=numbers["latitude_deg"] or 0.0,
        date=text["date"],
        observer=text["observer"],
        depth_m=numbers["depth_m"],
        depth_time=text["depth_time"],
        tide_m=numbers["tide_m"],
        bottom=bottom,
        macroalgae_pct=numbers["macroalgae_pct"],
        words={n: text[n] for n in _WORDS if text[n]},
        go=text["go"].lower() or "unsure",
    )


def _number(text: str, low: float, high: float, where: str, faults: Faults) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        faults.add(where, repr(text), "a number with a decimal point", "Correct it.")
        return None
    if not low <= value <= high:
        faults.add(where, text, f"{low:g} to {high:g}", "Correct it.")
        return None
    return value
