"""Whether `out/` holds what the run wrote, byte for byte, and was made from the settings and files that stand here."""

from __future__ import annotations

from pathlib import Path

from sitekit.audit.promises import Finding, judged, not_looked_at
from sitekit.audit.written import READABLE, Written
from sitekit.base.files import hash_of, inside, sha256_of
from sitekit.errors import FileFault
from sitekit.season.settings import Settings

PRESENT = "every file of the plan is there"
UNEDITED = "every file is as the run wrote it"
NOTHING_ELSE = "nothing else lies among the results"
PREVIEW = "explore.html"  # a page for trying weights, made beside the run: no promise rests on it
SAME_SETTINGS = "the plan was made from the settings as they stand"
SAME_INPUTS = "the plan was made from the team's files as they stand"
MANIFEST = "manifest.json"
_PARTS_OF_SHAPEFILE = (".shp", ".dbf", ".shx", ".prj", ".cpg")  # those the run's own hash covers


def audit_files(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on files as wholes.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        As they stand now.
    written : Written
        What was read from `out/`.
    """
    out = written.out
    unread = [f"{name}: {why}" for name, why in sorted(written.unread.items())]
    count = sum(1 for p in out.rglob("*") if p.is_file()) if out.is_dir() else 0
    readable = judged(READABLE, unread, count, "out/", kept="opened and parsed", unit="files")
    if MANIFEST in written.unread:
        why = "the manifest cannot be read"
        rest = [not_looked_at(p, why, MANIFEST) for p in (PRESENT, UNEDITED, NOTHING_ELSE, SAME_SETTINGS, SAME_INPUTS)]
        return [readable, *rest]
    listed = {str(k): str(v) for k, v in written.manifest["files"].items()}
    due = sorted({*listed, *_due(settings, written)})
    missing = [name for name in due if not (out / name).is_file()]
    unlisted = [f"{name} is not in the manifest" for name in due if name not in listed and (out / name).is_file()]
    edited = [n for n, digest in sorted(listed.items()) if (out / n).is_file() and sha256_of(out / n) != digest]
    here = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()} if out.is_dir() else set()
    strange = sorted(n for n in here - set(due) - {MANIFEST, PREVIEW} if not n.startswith(".working/"))
    return [
        readable,
        judged(PRESENT, [f"{n} is missing" for n in missing] + unlisted, len(due), "out/", kept="found", unit="files"),
        judged(
            UNEDITED,
            [f"{n} was changed" for n in edited],
            len(listed),
            f"out/{MANIFEST}",
            kept="SHA-256 as noted in the manifest",
            unit="files",
        ),
        judged(
            NOTHING_ELSE,
            [f"{n} is not of this plan" for n in strange],
            len(here),
            "out/",
            kept="all listed in the manifest",
            unit="files",
        ),
        _same_settings(settings, written),
        _same_inputs(project, written),
    ]


def _due(settings: Settings, written: Written) -> list[str]:
    """Files that every finished plan has."""
    species = [s.code for s in settings.species]
    names = ["season.gpkg", "candidates.geojson", "map.html"]
    names += [f"score_{code}.tif" for code in species] + [f"reasons_{code}.tif" for code in species]
    colonies = written.table("colonies")
    if colonies is not None and len(colonies):
        names += ["colonies.geojson", "colonies.csv"]
    return names


def _same_settings(settings: Settings, written: Written) -> Finding:
    noted = written.manifest.get("settings_sha256")
    now = hash_of(settings.model_dump(mode="json"))
    return Finding(
        SAME_SETTINGS,
        "same" if noted == now else "changed",
        "",
        noted == now,
        f"run {written.manifest.get('run_id', '?')}"
        if noted == now
        else "plan.toml was changed after the run; run again",
        f"plan.toml, out/{MANIFEST}",
    )


def _same_inputs(project: Path, written: Written) -> Finding:
    noted = {str(k): str(v) for k, v in written.manifest.get("inputs", {}).items()}
    broken = []
    for name, digest in sorted(noted.items()):
        try:
            if _input_hash(inside(project, name)) != digest:
                broken.append(f"{name} was changed after the run; run again")
        except FileFault as error:
            broken.append(f"{name}: {error.faults[0].came}")
    return judged(SAME_INPUTS, broken, len(noted), f"out/{MANIFEST}", kept="SHA-256 as noted", unit="files")


def _input_hash(path: Path) -> str:
    if path.suffix.lower() != ".shp":
        return sha256_of(path)
    parts = sorted(p for p in path.parent.glob(path.stem + ".*") if p.suffix.lower() in _PARTS_OF_SHAPEFILE)
    return sha256_of(path) if len(parts) == 1 else hash_of([[p.name, sha256_of(p)] for p in parts])
