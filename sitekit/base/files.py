"""Files that are whole or absent: written beside the target, closed, then renamed; hashes of files and of values."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sitekit.errors import Fault, FileFault

_DISK_FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}


@contextmanager
def atomic_path(target: Path) -> Iterator[Path]:
    """Yield a path in the target's folder; rename it onto the target when the block ends well.

    The temporary name keeps the target's suffix, since GDAL picks drivers by it. An older target stays whole until
    the rename; after an error the temporary file is removed.

    Raises
    ------
    FileFault
        If the folder cannot be written, the disk is full, or the target is held open by another program.
    """
    target = Path(target)
    beside = target.with_name(f".{target.stem}.writing{target.suffix}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        beside.unlink(missing_ok=True)
        if not os.access(target.parent, os.W_OK):
            raise PermissionError(13, "no permission to write")
    except OSError as error:
        raise FileFault(unwritable(target.parent, error)) from error
    try:
        try:
            yield beside
        except OSError as error:
            if isinstance(error, FileFault) or error.errno not in _DISK_FULL:
                raise
            raise FileFault(unwritable(target, error)) from error
        try:
            os.replace(beside, target)
        except OSError as error:
            raise FileFault(unwritable(target, error)) from error
    finally:
        if beside.exists():
            beside.unlink()


def unwritable(path: Path, error: OSError) -> Fault:
    """Return the fault of a file that cannot be written or replaced."""
    return Fault(
        str(path),
        f"cannot be written ({error.strerror or error})",
        "a folder you may write to, and a file no other program holds open",
        "Close the file in other programs, or choose another folder; the older file is untouched.",
    )


def write_text(target: Path, text: str, *, encoding: str = "utf-8") -> None:
    r"""Write text whole or not at all, with `\n` line ends on every system."""
    with atomic_path(target) as beside:
        beside.write_bytes(text.encode(encoding))


def write_bytes(target: Path, data: bytes) -> None:
    """Write bytes whole or not at all."""
    with atomic_path(target) as beside:
        beside.write_bytes(data)


def write_json(target: Path, value: Any) -> None:
    """Write JSON with sorted keys, one indent step, UTF-8 and a final line end."""
    write_text(target, json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n")


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file as 64 hex digits, read in pieces of 1 MiB."""
    digest = hashlib.sha256()
    try:
        with open(path, "rb") as stream:
            while piece := stream.read(1 << 20):
                digest.update(piece)
    except OSError as error:
        raise FileFault(
            Fault(str(path), f"cannot be read ({error.strerror or error})", "a readable file", "Check path and rights.")
        ) from error
    return digest.hexdigest()


def hash_of(value: Any) -> str:
    """Return the SHA-256 of a JSON-like value, equal for equal values whatever the order of keys."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


# Names that Windows keeps for devices, with any ending, and characters it allows in no name: Microsoft, "Naming Files,
# Paths, and Namespaces" (recalled, unverified).
_DEVICES = frozenset(("con", "prn", "aux", "nul", *(f"{n}{i}" for n in ("com", "lpt") for i in "123456789¹²³")))
_FORBIDDEN = frozenset('<>:"|?*\\')


def unportable(name: str) -> str:
    r"""Return why a path with `/` between its parts cannot exist on Windows, empty if it can.

    Examples
    --------
    >>> unportable("maps/aux.csv")
    "'aux.csv' is a name that Windows keeps for a device"
    >>> unportable("reef maps/Señal.tif")
    ''
    """
    for part in name.split("/"):
        if part.split(".")[0].rstrip(" ").lower() in _DEVICES:
            return f"{part!r} is a name that Windows keeps for a device"
        odd = sorted({c for c in part if c in _FORBIDDEN or ord(c) < 32})
        if odd:
            return f"{part!r} holds {' '.join(map(repr, odd))}, which Windows allows in no name"
        if part not in (".", "..") and part.endswith((" ", ".")):
            return f"{part!r} ends in a gap or a dot, which Windows drops"
    return ""


def inside(folder: Path, name: str) -> Path:
    """Return `folder / name`, refusing names that lead out of the folder.

    Raises
    ------
    FileFault
        If the path climbs out of the folder or is absolute.
    """
    root = folder.resolve()
    target = (root / name).resolve()
    if not target.is_relative_to(root):
        raise FileFault(
            Fault(name, "leads outside the project folder", f"a path below {folder.name}/", "Copy the file in.")
        )
    return target


def package_hash(kinds: tuple[str, ...] = (".py", ".js", ".css", ".json", ".csv"), package: Path | None = None) -> str:
    """Return the first 16 hex digits of the SHA-256 over the package's files of some kinds, in name order.

    Results depend on sitekit's own sources as much as on a user's files: a stage runs again when they change.
    """
    root = package or Path(__file__).resolve().parents[1]
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.suffix in kinds and path.is_file():
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
