"""Lines of a plan from what was seen of its files: what is told, what is proposed and why, what a person must answer."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from pathlib import Path

from sitekit.base.sources import shared_file
from sitekit.layers.columns import plain_name
from sitekit.layers.protected import PROPOSED
from sitekit.layers.substrate import near_classes
from sitekit.pipeline.draft_seen import MAPPED, Seen, asked, listing, optional, plain, proposed, text
from sitekit.season.settings import UNANSWERED
from sitekit.season.settings_method import PlotSetting, Spacing

_RULE = "# " + "-" * 64
Named = Callable[[Path], str]


def lines_of_plan(seen: Sequence[Seen], named: Named, left_out: Sequence[tuple[str, str]] = ()) -> list[str]:
    """Return a whole plan.toml as lines.

    Parameters
    ----------
    seen : sequence of Seen
        Files after a first look.
    named : callable
        Path -> name as the plan writes it.
    left_out : sequence of (file, reason)
        Files that no table takes; the plan names them in comments, so that nobody looks for them in vain.
    """
    lines = [
        "# A draft: each value is told by a file or proposed with its reason, and none of it decides anything by itself.",
        f'# Answer every line that says "asked" in place of "{UNANSWERED}", then: sitekit check plan.toml',
        "# All keys with their meaning: the plan.toml that `sitekit new FOLDER` writes.",
        "",
        *_head(seen),
        f"{_RULE} what the team brings",
    ]
    by_role: dict[str, list[Seen]] = {}
    for one in seen:
        by_role.setdefault(one.role, []).append(one)
    if "layers.bathymetry" not in by_role:
        lines += [
            "[layers.bathymetry]",
            asked("file", "no file seen holds depths; without depths there is no plan"),
            "",
        ]
    surveyed, lists = by_role.pop("layers.surveyed", []), by_role.pop("class names", [])
    for role in _ORDER:
        found = sorted(by_role.pop(role, []), key=lambda s: (s.facts.get("cell_m", 0.0), s.path.name))
        if role == "layers.colonies":
            for one in found:
                lines += [*_table(one, "[[layers.colonies]]", named, _surveyed(surveyed, named)), ""]
        elif found:
            lines += [*_table(found[0], f"[{role}]", named), *_classes(found[0], lists), *_rules(found[0]), ""]
            lines += [x for other in found[1:] for x in _spare(other, f"[{role}]", named, found[0])]
    for role in sorted(r for r in by_role if r.startswith("layers.constraints.")):
        for k, one in enumerate(by_role.pop(role)):
            lines += [*_table(one, f"[{role}{f'_{k + 1}' if k else ''}]", named), ""]
    for one in by_role.pop("layers.rasters", []):
        lines += [*_table(one, f"[layers.rasters.{_key(one)}]", named), ""]
    for one in by_role.pop("stations", []):
        for table, (name, at) in sorted(one.facts["stations"].items()):
            lines += [f"[{table}]  # from {plain(named(one.path))}", proposed("name", name), proposed("at", at)]
            lines += [asked("depth_m", "depth of the nursery [m]"), ""] if table == "nursery" else [""]
    lines += _stock(by_role.pop("stock", []), named)
    lines += [x for role in _SEA for one in by_role.pop(role, []) for x in _sea(role, one, named)]
    for one in by_role.pop("aliases", []):
        lines += ["[partners]", proposed("aliases", named(one.path), f"taken for partners' names by {one.why}"), ""]
    lines += [x for rest in by_role.values() for one in rest for x in _unknown(one, named)]
    if left_out:
        lines += ["# Files of the folder that this plan does not use:"]
        lines += [f"#   {plain(file)}: {plain(reason, 200)}" for file, reason in left_out]
        lines += [""]
    return [*lines, *_method()]


_ORDER = ("layers.bathymetry", "layers.substrate", "layers.colonies", "layers.protected", "layers.area",
          "layers.named_places", "layers.coastline", "layers.picture")  # fmt: skip
_SEA = ("tide", "waves.wind", "waves.swell", "heat")


def questions_in(lines: Sequence[str]) -> list[str]:
    """Key path and question of every line that asks."""
    table, found = "", []
    for line in lines:
        head = re.match(r"\[+([^\]]+)\]", line)
        table = head[1] if head else table
        if line.startswith("# asked: "):
            found.append(line.removeprefix("# asked: "))
        match = re.match(r'("(?:[^"\\]|\\.)*"|[\w]+) = .*# asked: (.*)', line)
        if match:
            found.append(f"{table}.{match[1]}: {match[2]}")
    return found


def _head(seen: Sequence[Seen]) -> list[str]:
    cells = [s.facts["cell_m"] for s in seen if s.role == "layers.bathymetry" and s.facts.get("cell_m")]
    cell = float(f"{min(cells):.2g}") if cells else None
    return [
        "[plan]",
        asked("name", "what the plan is called"),
        asked("date", "day it is planned for, without quotes: 2026-04-15"),
        proposed("cell_m", cell, f"the depths' cells are {min(cells):.3g} m wide")
        if cell
        else asked("cell_m", "side of a grid cell [m]"),
        "",
    ]


def _table(one: Seen, head: str, named: Named, extra: Sequence[str] = ()) -> list[str]:
    why = f"taken for {one.role} by {one.why}" + (f"; {one.facts['remark']}" if "remark" in one.facts else "")
    return [head, proposed("file", named(one.path), why), *one.lines, *extra]


def _spare(other: Seen, head: str, named: Named, first: Seen) -> list[str]:
    """Second file of a role that a plan has once: commented, with the question which is meant."""
    return [
        f"# asked: {plain(named(other.path))} would fit here too; {plain(named(first.path))} was taken. Which is meant?",
        *(optional(line) for line in _table(other, head, named)),
        "",
    ]


def _surveyed(surveyed: Sequence[Seen], named: Named) -> list[str]:
    if surveyed:
        more = "; others: " + listing(named(s.path) for s in surveyed[1:]) if len(surveyed) > 1 else ""
        why = "asked: is this where these colonies were looked for? Outside it they are unknown, not absent"
        return [proposed("surveyed_area", named(surveyed[0].path), why + more)]
    return [
        optional('surveyed_area = "…"', "outline of the area that was searched; without it absence is taken as seen")
    ]


def _classes(one: Seen, lists: Sequence[Seen]) -> list[str]:
    found = one.facts.get("classes")
    if not found:
        return []
    head = '[layers.substrate.classes]  # each class of the file = a class of CMECS, FGDC-STD-018-2012, or "unknown"'
    lines = ["", head]
    word = plain_name(one.path.stem).split("_")[0]
    beside = [s for s in lists if set(found) <= set(s.facts["names"])]
    named = next((s for s in beside if plain_name(s.path.stem).split("_")[0] == word), None)
    for name, count in found.items():
        if named is not None:
            said = named.facts["names"][name]
            lines.append(asked(text(name), f"{plain(said, 60)!r} in {named.path.name}; {_near(said)}"))
        else:
            lines.append(asked(text(name), f"{count + '; ' if count else ''}{_near(name)}"))
    return lines


def _near(name: str) -> str:
    """Classes of the standard that share a word with a name, for the person who answers."""
    close = near_classes(name)
    return "near by name: " + ", ".join(close) if close else "no class has such a name: docs/bottom.md lists them"


def _rules(one: Seen) -> list[str]:
    names = one.facts.get("rules")
    if not names:
        return []
    rule = '"forbidden", "permit", "preferred" or "none"? Ask the authority'
    status = {n: f"; the file says {s}" if s else "" for n, s in names.items()}
    status |= {
        n: '; the file says Proposed, of no legal effect yet: "none" unless the team means to keep another rule'
        for n, s in names.items()
        if s.lower() == PROPOSED
    }
    return ["", "[layers.protected.rules]", *(asked(text(n), rule + status[n]) for n in names)]


def _key(one: Seen) -> str:
    key = plain_name(f"{one.path.stem} {one.facts.get('variable') or ''}")[:31].strip("_")
    return key if key[:1].isalpha() else f"r_{key}"[:31]


def _stock(found: Sequence[Seen], named: Named) -> list[str]:
    codes = list(dict.fromkeys(c for one in found for c in one.facts.get("species", [])))
    sets = json.loads(shared_file("criteria_sets.json").read_text("utf-8"))
    by_code = {_code(row["species"]): (key, str(row["species"])) for key, row in sets.items()}
    by_name = {row["species"].lower(): key for key, row in sets.items()}
    lines: list[str] = []
    for code in codes or [UNANSWERED]:
        fits = re.fullmatch(r"[A-Za-z][A-Za-z0-9]{1,11}", code) is not None
        key, full = by_code.get(code.upper(), (by_name.get(code.lower(), ""), code))
        lines.append("[[species]]")
        if fits:
            lines.append(proposed("code", code, "as in the stock list"))
        else:
            hint = f', such as "{_code(code)}"' if " " in code else ""
            came = f"the stock list writes {plain(code, 40)!r}: " if code != UNANSWERED else ""
            lines.append(asked("code", f"{came}a code of 2 to 12 letters and digits{hint}"))
        lines.append(
            proposed("name", full) if full not in (code, UNANSWERED) else asked("name", "its name on sheets and maps")
        )
        known = '"' + '" or "'.join(sets) + '"'
        lines.append(
            proposed("criteria", key, "asked: is this built-in set what you judge places by? See sitekit explain")
            if key
            else asked("criteria", f"a built-in set, {known}; or delete this line and add [[criteria]]")
        )
        lines.append("")
    if not found:
        return [*lines, optional("[stock]"), optional('file = "stock.csv"', "no stock list was seen"), ""]
    first = found[0]
    lines += ["[stock]", proposed("file", named(first.path), f"taken for stock by {first.why}"), *first.lines]
    lines += [optional("oldest_health_days = 60", "older health checks do not count")]
    if first.facts.get("columns"):
        lines += ["", "[stock.columns]", *(asked(k, q) for k, q in first.facts["columns"].items())]
    lines.append("")
    return lines + [x for other in found[1:] for x in _spare(other, "[stock]", named, first)]


def _code(name: str) -> str:
    """Usual four-letter code of a species: one letter of the genus, three of the epithet."""
    parts = name.split()
    return (parts[0][:1] + parts[1][:3]).upper() if len(parts) > 1 else name.upper()


def _sea(role: str, one: Seen, named: Named) -> list[str]:
    """Commented lines for a table that needs more answers than a file can give."""
    file = named(one.path)
    key = {"waves.wind": "wind", "waves.swell": "swell"}.get(role, "file")
    table = role.partition(".")[0]
    source = asked("source", "where is it from?")
    years = one.facts.get("years")
    span = [proposed(k, y, "of the file") for k, y in zip(("first_year", "last_year"), years or (), strict=False)]
    more = {
        "tide": [asked("datum", "what are its heights counted from?"),
                 asked("least_work_depth_m", "least water at the lowest tide in which the team works [m]"), source],
        "waves.wind": [*one.lines, asked("method", '"spm1984", "spm1984_shallow", "jonswap1973" or "cem2002"'),
                       asked("gaps", 'what a missing depth stands for: "water", "land" or "unknown"'),
                       asked("shelter_wind_ms", "wind by which sites are compared for the choice of the day [m/s]"), source],
        "waves.swell": [],
        "heat": [*one.lines, asked("units", '"degC" or "K"'), asked("limit_c", "days at or above this are counted [°C]"),
                 *span, source],
    }[role]  # fmt: skip
    told = f"# {plain(file)} looks like a table for [{table}] ({one.why}); take these lines in and answer them if it is"
    head = [] if role == "waves.swell" else [optional(f"[{table}]")]
    return [told, *head, optional(f"{key} = {text(file)}"), *(optional(m) for m in more), ""]


def _unknown(one: Seen, named: Named) -> list[str]:
    """File whose use nothing tells: the question, and lines for the tables that could name it."""
    kinds = set(one.facts.get("kinds", ()))
    points, areas = bool(kinds & {"Point", "MultiPoint"}), any(k.endswith("Polygon") for k in kinds)
    places = [asked("origin", '"wild" or "outplant"?'), asked("position_error_m", "error of the positions [m]")]
    tables: list[tuple[str, list[str]]] = []
    if one.kind == "table" or points:
        tables.append(("[[layers.colonies]]", places))
    if points:
        tables.append(("[layers.named_places]", [asked("radius_m", "radius of the disc a point stands for [m]")]))
    if one.kind == "table":
        tables.append(("[stock]", []))
    if areas:
        column = asked("field", "column of bottom types")
        tables += [
            ("[layers.area]", []),
            ("[layers.substrate]", [column, asked("resolution_m", MAPPED)]),
            (
                "[layers.protected]",
                [asked("rule_field", "column of rules, or a [layers.protected.rules] line per name")],
            ),
        ]
    if one.kind == "shapes" and not points:
        tables.append(("[layers.coastline]", []))
    if one.kind == "shapes":
        more = [
            asked("label", "what it is"),
            asked("keep_clear_m", "metres kept free around it; delete: reported only"),
        ]
        tables.append(("[layers.constraints.NAME]", more))
    shown = f"{plain(named(one.path))}" + (f", sheet {one.facts['sheet']!r}" if one.facts.get("sheet") else "")
    remark = f"; {one.facts['remark']}" if "remark" in one.facts else ""
    lines = [f"# asked: what is {shown} for? Nothing tells{remark}. Take in the lines of one table, or none"]
    own = [f"file = {text(named(one.path))}", *one.lines]
    for head, more in tables:
        lines += [*(optional(line) for line in (head, *own, *more)), "#:"]
    return [*lines[:-1], ""]


def _method() -> list[str]:
    plot, pin_error_m = PlotSetting(), Spacing.model_fields["pin_error_m"].default
    return [
        f"{_RULE} how places are judged and filled",
        "[score]",
        asked("passing", "least score of a cell that counts, 0 to 1; the demo uses 0.7"),
        "",
        "[exclusions]",
        asked("least_depth_m", "least charted depth in which the team works [m]; or delete it and take in [tide]"),
        optional("greatest_depth_m = 15.0", "a limit that is not given is not used"),
        optional('substrate = ["Coral Rubble", "Coral Sand"]'),
        optional('permit_held = ["…"]', "names of protected areas whose permit the team holds"),
        "",
        "[candidates]",
        asked("least_area_m2", "smallest patch worth a visit [m²]; the demo uses 150.0"),
        "",
        "[spacing]",
        asked("separation_m", "least distance between planted units [m]"),
        asked("lay_tolerance_m", "error of laying by hand along a tape [m]; 0.2 is a usual slip, and it is printed"),
        asked("clearance_m", "least distance to living colonies [m]"),
        optional(f"pin_error_m = {pin_error_m}", "error of a plot's pin [m]; this, unless said otherwise"),
        optional("[spacing.numbers]", "units wanted per species, a whole number from 1; left out: as many as the stock "
                 "holds; a species that is not to be planted: delete its [[species]]"),
        optional("[spacing.plot]", "units stand in plots; these sizes hold unless said otherwise. Sites too small for one "
                 "stay empty"),
        optional(f"length_m = {plot.length_m}"),
        optional(f"width_m = {plot.width_m}"),
        optional(f"gap_m = {plot.gap_m}", "between plots"),
    ]  # fmt: skip
