"""What was written before: the manifest, edits by other hands, and which stages may be left out.

A stage is left out when the key made from its settings, its input files, the keys of the stages before it, sitekit's
own sources and the library versions is the one noted in the manifest. Sizes and times of change are looked at first;
a file is read again only when those differ. Nothing heavy is imported here, so that an unchanged run answers at once.
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

from sitekit.base.files import hash_of, package_hash, sha256_of, unwritable, write_json
from sitekit.errors import Fault, FileFault

LIBRARIES = ("numpy", "scipy", "numba", "pandas", "geopandas", "shapely", "pyproj", "rasterio", "pyogrio", "folium")
MANIFEST = "manifest.json"


def versions() -> dict[str, str]:
    """Return the versions that results depend on."""
    return {"sitekit": version("sitekit") if _installed() else "source", **{n: version(n) for n in LIBRARIES}}


def _installed() -> bool:
    from importlib.metadata import PackageNotFoundError

    try:
        version("sitekit")
    except PackageNotFoundError:
        return False
    return True


class Ledger:
    """The manifest of `out/`, read at the start of a run, changed by its stages, written at its end."""

    def __init__(self, out: Path) -> None:
        self.out = out
        self.data: dict[str, Any] = {"files": {}, "stages": {}, "inputs": {}, "figures": {}, "when": {}}
        path = out / MANIFEST
        if path.is_file():
            try:
                self.data.update(json.loads(path.read_text("utf-8")))
            except (json.JSONDecodeError, UnicodeDecodeError) as error:
                raise FileFault(
                    Fault(str(path), f"is not a manifest: {error}", "the file sitekit wrote", f"Move {out.name}/ away.")
                ) from error
        self.code = hash_of([package_hash(), versions()])
        self._resume()

    def _resume(self) -> None:
        """Take up the stages that a killed run had finished."""
        path = self.out / ".working" / "stages.json"
        self.fresh: dict[str, Any] = {}
        if path.is_file():
            try:
                self.fresh = json.loads(path.read_text("utf-8"))
            except json.JSONDecodeError:  # killed while noting: its stages are simply done again
                self.fresh = {}

    def check_edits(self) -> None:
        """Refuse to run over files that other hands changed.

        Raises
        ------
        FileFault
            Naming every file in `out/` whose content differs from what was written.
        """
        faults = []
        pending = self.data.get("pending", {})
        for name, digest in sorted(self.data["files"].items()):
            path = self.out / name
            if not path.is_file() or self._same_stat(name, path):
                continue
            if sha256_of(path) not in (digest, pending.get(name)):
                faults.append(
                    Fault(
                        f"{self.out.name}/{name}",
                        "was changed after sitekit wrote it",
                        "the content noted in manifest.json",
                        "To keep the edit, copy the file out and name it in plan.toml; "
                        "then delete it here and run again.",
                    )
                )
        if faults:
            raise FileFault(*faults)

    def _same_stat(self, name: str, path: Path) -> bool:
        noted = self.data["when"].get("stat", {}).get(name)
        stat = path.stat()
        return bool(noted == [stat.st_size, stat.st_mtime_ns])

    def input_hash(self, path: Path, name: str) -> str:
        """Return the hash of an input file (of all its parts, for formats of several files)."""
        parts = _parts(path)
        stat = [[p.name, p.stat().st_size, p.stat().st_mtime_ns] for p in parts]
        noted = self.data["when"].get("inputs", {}).get(name)
        digest: str
        if noted == stat and name in self.data["inputs"]:
            digest = str(self.data["inputs"][name])
        else:
            digest = sha256_of(parts[0]) if len(parts) == 1 else hash_of([[p.name, sha256_of(p)] for p in parts])
        self.data["inputs"][name] = digest
        self.data["when"].setdefault("inputs", {})[name] = stat
        return digest

    def key(self, settings: Any, inputs: list[str], before: list[str]) -> str:
        """Return the key of a stage."""
        return hash_of([self.code, settings, [self.data["inputs"][n] for n in inputs], before])

    def done(self, stage: str, key: str) -> bool:
        """Whether a stage with this key was finished and its files still stand."""
        if self.fresh.get(stage, {}).get("key") == key:
            folder = self.out / ".working"
            return all((folder / n).is_file() for n in self.fresh[stage]["files"])
        noted = self.data["stages"].get(stage, {})
        return noted.get("key") == key and all((self.out / n).is_file() for n in noted["files"])

    def note(self, stage: str, key: str, files: list[str], figures: dict[str, Any]) -> None:
        """Note a finished stage, so that a killed run can take it up again."""
        # through JSON, so that a stage that is left out later gives the very same figures
        self.fresh[stage] = json.loads(json.dumps({"key": key, "files": sorted(files), "figures": figures}))
        write_json(self.out / ".working" / "stages.json", self.fresh)

    def figures(self, stage: str) -> dict[str, Any]:
        """Return the figures of a stage, of this run or of the last one."""
        return dict((self.fresh.get(stage) or self.data["stages"].get(stage) or {}).get("figures", {}))

    def commit(self, order: list[str], run_id: str, settings_hash: str, seconds: dict[str, float]) -> None:
        """Move the run's results to `out/` and write the manifest.

        New hashes are noted before files are moved: a run killed in between is not taken for an edit.
        """
        working = self.out / ".working"
        stages = {**self.data["stages"], **self.fresh}
        stages = {name: stages[name] for name in order if name in stages}
        kept = {n for s in stages.values() for n in s["files"]}
        new = {n: sha256_of(working / n) for s in self.fresh.values() for n in s["files"] if (working / n).is_file()}
        gone = [n for n in self.data["files"] if n not in kept]
        self.data["pending"] = new
        write_json(self.out / MANIFEST, self.data)
        self._refuse_held(sorted(new))
        for name in sorted(new):
            target = self.out / name
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.replace(working / name, target)
            except OSError as error:
                raise FileFault(unwritable(target, error)) from error
        for name in gone:
            (self.out / name).unlink(missing_ok=True)
        files = {n: new.get(n) or self.data["files"][n] for n in sorted(kept)}
        stat = {n: [(self.out / n).stat().st_size, (self.out / n).stat().st_mtime_ns] for n in files}
        self.data.pop("pending", None)
        self.data.update(
            files=files,
            stages=stages,
            run_id=run_id,
            settings_sha256=settings_hash,
            versions=versions(),
            figures={name: s["figures"] for name, s in stages.items()},
        )
        self.data["when"].update(
            written=time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            seconds={k: round(v, 3) for k, v in seconds.items()},
            stat=stat,
            python=platform.python_version(),
            machine=platform.machine(),
        )
        write_json(self.out / MANIFEST, self.data)
        shutil.rmtree(working, ignore_errors=True)

    def _refuse_held(self, names: list[str]) -> None:
        """Refuse before anything is moved, so that old and new results never stand side by side.

        Where a program that holds a file open forbids to rename it (Windows), it cannot be renamed onto itself either.
        """
        faults = []
        for target in (self.out / n for n in names):
            if target.exists():
                try:
                    os.replace(target, target)
                except OSError as error:
                    faults.append(unwritable(target, error))
        if faults:
            raise FileFault(*faults)


def _parts(path: Path) -> list[Path]:
    if path.suffix.lower() != ".shp":
        return [path]
    return sorted(
        p for p in path.parent.glob(path.stem + ".*") if p.suffix.lower() in (".shp", ".dbf", ".shx", ".prj", ".cpg")
    )
