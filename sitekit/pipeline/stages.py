"""The list of stages, and a run: settings in, rooms called, tables out.

No stage calls an earlier one. A stage whose key is unchanged is left out; its module is not even imported.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from sitekit.base.files import hash_of
from sitekit.errors import Fault, FileFault, Shortfall
from sitekit.pipeline import warm
from sitekit.pipeline.disk import disk_fault
from sitekit.pipeline.project import SEASON, Done, Machine, Project, open_project
from sitekit.pipeline.skip import Ledger
from sitekit.season.settings import Settings

RECORDS = "records.gpkg"  # what happened: beside plan.toml, read by stages that must follow it
SHORTFALLS = "shortfalls"  # figure under which a stage's shortfalls are kept, so that a skipped stage repeats them


def _layer_files(settings: Settings) -> dict[str, str]:
    layers = settings.layers
    named = {
        "layers.bathymetry": layers.bathymetry,
        "layers.substrate": layers.substrate,
        "layers.protected": layers.protected,
        "layers.area": layers.area,
        "layers.named_places": layers.named_places,
        "layers.coastline": layers.coastline,
        "layers.picture": layers.picture,
        **{f"layers.constraints.{n}": c for n, c in layers.constraints.items()},
        **{f"layers.colonies[{i + 1}]": c for i, c in enumerate(layers.colonies)},
        **{f"layers.rasters.{n}": r for n, r in layers.rasters.items()},
    }
    files = {f"{key}.file": layer.file for key, layer in named.items() if layer is not None}
    for i, colonies in enumerate(layers.colonies):
        if colonies.surveyed_area:
            files[f"layers.colonies[{i + 1}].surveyed_area"] = colonies.surveyed_area
    return files | _sea_files(settings) | _scout_file(settings) | _partner_file(settings)


def _sea_files(settings: Settings) -> dict[str, str]:
    named = {
        "tide.file": settings.tide.file if settings.tide else None,
        "waves.wind": settings.waves.wind if settings.waves else None,
        "waves.swell": settings.waves.swell if settings.waves else None,
        "heat.file": settings.heat.file if settings.heat else None,
    }
    return {key: name for key, name in named.items() if name is not None}


def _site_files(settings: Settings) -> dict[str, str]:
    files = {f"site[{i + 1}].polygon": s.polygon for i, s in enumerate(settings.site) if s.polygon}
    if settings.candidates.from_file:
        files["candidates.from"] = settings.candidates.from_file
    return files


def _scout_file(settings: Settings) -> dict[str, str]:
    return {"scout.from": settings.scout.from_file} if settings.scout.from_file else {}


def _partner_file(settings: Settings) -> dict[str, str]:
    return {"partners.aliases": settings.partners.aliases} if settings.partners.aliases else {}


def _choice_files(settings: Settings) -> dict[str, str]:
    files = {"stock.file": settings.stock.file} if settings.stock else {}
    if settings.sites:
        files["sites.from"] = settings.sites.from_file
    return (
        files
        | _scout_file(settings)
        | _partner_file(settings)
        | {k: v for k, v in _site_files(settings).items() if k.startswith("site[")}
    )


def _stock_files(settings: Settings) -> dict[str, str]:
    files = {"stock.file": settings.stock.file} if settings.stock else {}
    if settings.allotment:
        files["allotment.from"] = settings.allotment.from_file
    if settings.plots:
        files["plots.from"] = settings.plots.from_file
    if settings.colonies:
        files["colonies.from"] = settings.colonies.from_file
    if settings.tagging.numbers_from:
        files["tagging.numbers_from"] = settings.tagging.numbers_from
    return files | _partner_file(settings)


def _permit_files(settings: Settings) -> dict[str, str]:
    files = {f"permit[{i + 1}].area_file": p.area_file for i, p in enumerate(settings.permit) if p.area_file}
    return files | {f"permit[{i + 1}].amends": p.amends for i, p in enumerate(settings.permit) if p.amends}


def _tide_file(settings: Settings) -> dict[str, str]:
    return {"tide.file": settings.tide.file} if settings.tide and settings.tide.file else {}


def _no_files(_: Settings) -> dict[str, str]:
    return {}


@dataclass(frozen=True)
class Stage:
    """One stage: the settings it reads, the files it reads, and its module with a `run(project, ledger)`."""

    name: str
    uses: tuple[str, ...]
    files: Callable[[Settings], dict[str, str]] = _no_files
    records: bool = False  # whether it reads what happened


STAGES = (
    Stage(
        "layers",
        ("plan", "layers", "terrain", "spacing", "tide", "waves", "light", "heat", "scout", "site", "partners"),
        _layer_files,
    ),
    Stage("score", ("plan", "layers", "terrain", "species", "criteria", "weights", "score", "exclusions")),
    Stage("candidates", ("plan", "species", "score", "candidates", "site", "spacing", "layers"), _site_files),
    Stage(
        "sensitivity",
        ("plan", "layers", "terrain", "species", "criteria", "weights", "score", "exclusions", "sensitivity"),
    ),
    Stage(
        "choose",
        (
            "plan",
            "site",
            "species",
            "spacing",
            "layers",
            "stock",
            "nursery",
            "harbour",
            "question",
            "budget",
            "choose",
            "controls",
            "scout",
            "sites",
            "partners",
        ),
        _choice_files,
    ),
    Stage(
        "allocate", ("plan", "species", "spacing", "stock", "allotment", "choose", "partners", "layers"), _stock_files
    ),
    Stage(
        "place",
        ("plan", "species", "spacing", "tagging", "layers", "colonies", "plots", "survey"),
        _stock_files,
        records=True,
    ),
    Stage("outline", ("plan", "species", "spacing", "layers", "permit", "harbour", "exclusions"), _permit_files),
    Stage(
        "fieldwork",
        (
            "plan",
            "layers",
            "spacing",
            "nursery",
            "harbour",
            "tide",
            "waves",
            "fieldwork",
            "sheets",
            "receiver",
            "survey",
        ),
        _tide_file,
        records=True,
    ),
    Stage("survey", ("plan", "layers", "spacing", "survey"), records=True),
    Stage("export", ("plan", "species", "outputs", "nursery", "harbour", "layers", "spacing", "permit")),
)


@dataclass(frozen=True)
class Report:
    """What a run did: stages, figures, files, seconds by stage, seconds of compiling here and in a second process."""

    project: Project
    run_id: str
    done: list[str]
    skipped: list[str]
    figures: dict[str, dict[str, Any]]
    files: list[str]
    seconds: dict[str, float]
    compiling: tuple[float, float] = (0.0, 0.0)


def run_stages(plan: Path, machine: Machine | None = None, last: str = "export") -> Report:
    """Run every stage up to `last` that is not up to date.

    Raises
    ------
    InputFault
        On faults of settings or files; earlier results are untouched.
    FileFault
        If a result was edited by other hands, or cannot be written.
    Shortfall
        After writing, if more was asked for than can be done.
    """
    project = open_project(plan, machine)
    ledger = Ledger(project.out)
    ledger.check_edits()
    names = [s.name for s in STAGES]
    chosen = STAGES[: names.index(last) + 1]
    keys, run_id = _keys(project, ledger)
    stale = [n for n in ledger.fresh if keys.get(n) != ledger.fresh[n]["key"]]
    if stale:
        shutil.rmtree(project.working, ignore_errors=True)
        ledger.fresh.clear()
    done: list[str] = []
    skipped: list[str] = []
    seconds: dict[str, float] = {}
    unnoted: list[tuple[str, str, list[str], dict[str, Any]]] = []  # their tables stand in memory only
    beside: float | None = None  # seconds that a second process compiled
    for stage in chosen:
        if ledger.done(stage.name, keys[stage.name]) and not done:
            skipped.append(stage.name)
            continue
        project.machine.talk(f"{stage.name} …")
        start = time.perf_counter()
        if stage.name == "layers" and last not in ("layers", "score"):
            warm.start(project.settings.spacing.mode)
        if stage.name == "candidates":
            beside = warm.wait()
        module = import_module(f"sitekit.pipeline.{stage.name}")
        if not done:
            early = import_module("sitekit.pipeline.beforehand")
            of_layers = partial(module.run, project, run_id) if stage.name == "layers" else list
            early.with_faults_of(early.early_faults(project), of_layers)
        try:
            result: Done = module.run(project, run_id)
        except (OSError, RuntimeError) as error:  # what file libraries raise; a full disk is told as such
            fault = disk_fault(error, project.out)
            if fault is None:
                raise
            raise fault from error
        seconds[stage.name] = time.perf_counter() - start
        figures = {**result.figures, SHORTFALLS: [f.as_dict() for f in result.shortfalls]}
        unnoted.append((stage.name, keys[stage.name], result.files, figures))
        done.append(stage.name)
        if project.held.flush(lambda: project.target(SEASON), now=stage is chosen[-1]):
            for note in unnoted:
                ledger.note(*note)
            unnoted.clear()
    dropped = [
        n for n in names[len(chosen) :] if n in ledger.data["stages"] and ledger.data["stages"][n]["key"] != keys[n]
    ]
    if done or ledger.fresh:
        for name in dropped:
            del ledger.data["stages"][name]
            project.machine.talk(f"removed the results of stage {name}: they no longer fit what stands before it")
        ledger.commit(names, run_id, hash_of(project.settings.model_dump(mode="json")), seconds)
    else:
        shutil.rmtree(project.working, ignore_errors=True)
    report = Report(
        project,
        run_id,
        done,
        skipped,
        {s.name: ledger.figures(s.name) for s in chosen},
        sorted(ledger.data["files"]),
        seconds,
        (_compiling_seconds(), beside or 0.0),
    )
    short = [Fault(**f) for s in chosen for f in report.figures[s.name].get(SHORTFALLS, [])]
    if short:
        raise ShortfallWithReport(report, *short)
    return report


def _compiling_seconds() -> float:
    """Seconds this process has compiled; none where no stage brought the compiler in."""
    compiled = sys.modules.get("sitekit.base.compiled")
    return float(compiled.compiling_seconds()) if compiled else 0.0


class ShortfallWithReport(Shortfall):
    """More was asked for than can be done; carries the report of what was written."""

    def __init__(self, report: Report, *faults: Fault) -> None:
        super().__init__(*faults)
        self.report = report


def all_files_there(project: Project) -> None:
    """Refuse a plan whose files are not there.

    Raises
    ------
    FileFault
        Naming every file that is missing or leads out of the project.
    """
    faults: list[Fault] = []
    for stage in STAGES:
        for key, name in stage.files(project.settings).items():
            try:
                project.input(name, key)
            except FileFault as fault:
                faults += [f for f in fault.faults if f not in faults]
    if faults:
        raise FileFault(*faults)


def stale_stages(project: Project) -> list[str]:
    """Return the stages whose results are missing or belong to other settings, files or sources, in order.

    Raises
    ------
    FileFault
        If a file of the plan is missing.
    """
    ledger = Ledger(project.out)
    keys, _ = _keys(project, ledger)
    return [s.name for s in STAGES if not ledger.done(s.name, keys[s.name])]


def _keys(project: Project, ledger: Ledger) -> tuple[dict[str, str], str]:
    """Return the key of every stage and the run id."""
    keys: dict[str, str] = {}
    before: list[str] = []
    all_files_there(project)
    named = sorted({n for s in STAGES for n in s.files(project.settings).values()})
    if (project.folder / RECORDS).is_file():
        named.append(RECORDS)
        ledger.input_hash(project.folder / RECORDS, RECORDS)
    ledger.data["inputs"] = {n: d for n, d in ledger.data["inputs"].items() if n in named}
    for stage in STAGES:
        files = stage.files(project.settings)
        for key, name in files.items():
            ledger.input_hash(project.input(name, key), name)
        part = {n: _dump(getattr(project.settings, n)) for n in stage.uses}
        inputs = sorted(files.values()) + ([RECORDS] if stage.records and RECORDS in named else [])
        keys[stage.name] = ledger.key(part, inputs, before)
        before = [*before, keys[stage.name]]
    run_id = hash_of([project.settings.model_dump(mode="json"), ledger.data["inputs"], ledger.code])[:8]
    return keys, run_id


def _dump(value: Any) -> Any:
    if isinstance(value, list):
        return [_dump(v) for v in value]
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value
