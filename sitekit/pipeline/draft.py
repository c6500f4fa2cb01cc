"""A first plan drafted from a team's files: what each shows, what it cannot tell, lines to start from; nothing is decided."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sitekit.base.files import unportable, write_text
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.rows import TABLES
from sitekit.pipeline.draft_copies import tell_copies
from sitekit.pipeline.draft_depths import tell_feet
from sitekit.pipeline.draft_lines import lines_of_plan, questions_in
from sitekit.pipeline.draft_rasters import look_at_raster
from sitekit.pipeline.draft_seen import Seen, listing
from sitekit.pipeline.draft_shapes import look_at_shapes
from sitekit.pipeline.draft_tables import look_at_table
from sitekit.season.settings import UNANSWERED

MOST_FILES = 300  # in a folder; more is a whole disk named by mistake
_RASTERS = (".tif", ".tiff", ".nc", ".asc", ".img", ".vrt", ".bag", ".hgt", ".xyz")
_SHAPES = (".geojson", ".json", ".gpkg", ".shp", ".zip", ".kml", ".kmz", ".gpx", ".fgb", ".gml", ".tab")
_PARTS = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qpj", ".qix", ".tfw", ".tfwx", ".ovr", ".xml", ".aux")
_OWN_FOLDERS = ("out", "scout")


@dataclass
class Draft:
    """What was seen of a team's files, and a plan to start from.

    Parameters
    ----------
    folder : Path
        Folder in which the plan would stand; names of files count from there.
    seen : list of Seen
        Files that could be read.
    refused : list of Fault
        Files that could not.
    passed_over : list of str
        Files of a folder that are of no kind that is read.
    lines : list of str
        A plan.toml.
    asked : list of str
        Key path and question of each value that only a person knows.
    """

    folder: Path
    seen: list[Seen] = field(default_factory=list)
    refused: list[Fault] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    @property
    def counted(self) -> str:
        """How many questions stop the check, and how many lines are only to be looked at."""
        due = sum(1 for line in self.lines if not line.startswith("#") and f' = "{UNANSWERED}"' in line)
        rest = len(self.asked) - due
        look = f", and look at {rest} more {'line' if rest == 1 else 'lines'} that say asked" if rest else ""
        return f'{due} questions (each "{UNANSWERED}"){look}'

    def as_dict(self) -> dict[str, Any]:
        """Return the draft as JSON-like values (for `--json`)."""
        return {
            "folder": str(self.folder),
            "files": [
                {"file": _named(s.path, self.folder), "kind": s.kind, "role": s.role or None, "why": s.why or None,
                 "said": s.said, "unknown": s.unknown, "extent": s.extent, "rows_refused": s.facts.get("rows_refused", 0)}
                for s in self.seen
            ],
            "refused": [f.as_dict() for f in self.refused],
            "passed_over": self.passed_over,
            "asked": self.asked,
            "plan": "\n".join(self.lines) + "\n",
        }  # fmt: skip


def draft_plan(paths: Sequence[Path], target: Path | None = None) -> Draft:
    """Look at files, or at those of folders, and draft a plan; nothing is written.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.
    target : Path, optional
        Where the plan is to stand; by default in the folder that holds all the files.

    Raises
    ------
    FileFault
        If a path is missing, a folder holds over 300 files, or no file is left.
    """
    files, passed = _files(paths)
    folder = target.resolve().parent if target else _common(paths)
    done = Draft(folder, passed_over=passed)
    for path in files:
        try:
            if target and not path.resolve().is_relative_to(folder):
                raise FileFault(
                    Fault(path.name, f"lies outside {folder}", f"a file below {folder.name}/", "Copy it there first.")
                )
            found = _look(path)
        except InputFault as error:
            done.refused += [_at(f, path) for f in error.faults]
            continue
        done.seen += found
        why = unportable(_named(path, folder))
        for one in found:
            one.said += [f"{why}: rename it before the folder goes to another machine"] if why else []
            done.refused += [_at(f, path) for f in one.facts.pop("refused", [])]
    tell_copies(done.seen)
    tell_feet(done.seen)
    left_out = [(f.where, f"{f.came.removeprefix(f.where).lstrip(': ')} (due: {f.due})") for f in done.refused]
    left_out += [(name, "of no kind that is read") for name in passed]
    done.lines = lines_of_plan(done.seen, lambda p: _named(p, folder), left_out)
    done.asked = questions_in(done.lines)
    return done


def write_draft(draft: Draft, target: Path) -> None:
    """Write the drafted plan; a file that stands there is never replaced.

    Raises
    ------
    FileFault
        If the target exists or cannot be written.
    """
    if target.exists():
        raise FileFault(
            Fault(str(target), "exists already", "a name that is free", "Name another, or paste lines from the draft.")
        )
    write_text(target, "\n".join(draft.lines) + "\n")


def draft_lines(draft: Draft) -> list[str]:
    """Return what people read before the plan's lines: a block per file."""
    lines = []
    for one in draft.seen:
        sheet = f", sheet {one.facts['sheet']!r}" if one.facts.get("sheet") else ""
        use = f"looks like {one.role}, by {one.why}" if one.role else "use unknown"
        lines.append(f"{_named(one.path, draft.folder)}{sheet}: {use}")
        lines += [f"  {s}" for s in one.said]
        if one.unknown:
            lines.append("  not known: " + "; ".join(one.unknown))
    if draft.passed_over:
        lines.append("not looked at: " + listing(draft.passed_over, 30))
    lines.append(f"{len(draft.seen)} read, {len({f.where for f in draft.refused})} refused; {draft.counted}")
    return lines


def _look(path: Path) -> list[Seen]:
    suffix = path.suffix.lower()
    if suffix in TABLES and suffix != ".tab":
        return look_at_table(path)
    if suffix in _RASTERS:
        return look_at_raster(path)
    if suffix in _SHAPES:
        return look_at_shapes(path)
    due = "tables, spreadsheets (.xlsx), rasters, shapes, GPX, KML"
    raise FileFault(Fault(path.name, f"a {suffix or 'nameless'} file", due, "Save it as one of these."))


def _files(paths: Sequence[Path]) -> tuple[list[Path], list[str]]:
    """Files to look at, each once, and names of those in folders that are of no known kind."""
    found: list[Path] = []
    passed: list[str] = []
    kinds = (*TABLES, *_RASTERS, *_SHAPES)
    missing = [Fault(str(p), "is missing", "a file or a folder", "Correct the path.") for p in paths if not p.exists()]
    if missing:
        raise FileFault(*missing)
    for path in paths:
        if path.is_file():
            found.append(path)
            continue
        inside = [p for p in sorted(path.rglob("*")) if p.is_file() and not _left_out(p.relative_to(path))]
        if len(inside) > MOST_FILES:
            came = f"holds {len(inside):,} files"
            raise FileFault(Fault(str(path), came, f"at most {MOST_FILES}", "Name the folder of this season's files."))
        found += [p for p in inside if p.suffix.lower() in kinds]
        passed += [
            p.relative_to(path).as_posix()
            for p in inside
            if p.suffix.lower() not in (*kinds, *_PARTS) and p.name != "plan.toml"
        ]
    if not found:
        where = ", ".join(map(str, paths))
        raise FileFault(Fault(where, "no file that is read", "rasters, shapes, tables", "Name the files."))
    return list(dict.fromkeys(found)), passed


def _left_out(path: Path) -> bool:
    return any(p.startswith((".", "~$")) for p in path.parts) or path.parts[0] in _OWN_FOLDERS


def _common(paths: Sequence[Path]) -> Path:
    folders = [p.resolve() if p.is_dir() else p.resolve().parent for p in paths]
    try:
        return Path(os.path.commonpath(folders))
    except ValueError:  # several drives
        return folders[0]


def _named(path: Path, folder: Path) -> str:
    whole = path.resolve()
    return whole.relative_to(folder).as_posix() if whole.is_relative_to(folder) else str(whole)


def _at(fault: Fault, path: Path) -> Fault:
    """Fault that begins with the name of its file, once."""
    shown = fault.where.replace(str(path), path.name)
    return Fault(shown if path.name in shown else f"{path.name}, {shown}", fault.came, fault.due, fault.do)
