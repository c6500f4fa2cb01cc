"""Archives (.zip, .kmz, .xlsx) opened within stated limits, so that a small file cannot fill memory or disk."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from sitekit.errors import Fault, FileFault, InputFault

MOST_MEMBERS = 2000
MOST_BYTES = 512 * 2**20  # of all members together, unpacked: ours; 100,000 rows of a spreadsheet take about 60 MiB
MOST_TIMES = 400  # unpacked per packed byte, where it is over 1 MiB: ours; drawings and tables pack 5 to 60 times


@contextmanager
def open_archive(path: Path, where: str) -> Iterator[zipfile.ZipFile]:
    """Yield an archive whose members were counted and measured before anything is unpacked.

    Parameters
    ----------
    path : Path
        The archive.
    where : str
        For messages.

    Raises
    ------
    FileFault
        If it is missing or no archive.
    InputFault
        If it holds more than 2,000 members, more than 512 MiB unpacked, a member packed over 400 times, or one under a
        password. A member never yields more bytes than it states.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            _measure(archive, path, where)
            yield archive
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:  # the last: a packing Python cannot undo
        raise FileFault(
            Fault(where, f"{path.name} is no whole archive ({error})", "a ZIP archive", "Copy or save it again.")
        ) from error
    except OSError as error:
        if isinstance(error, FileFault | InputFault):
            raise
        raise FileFault(
            Fault(where, f"{path.name} cannot be read ({error.strerror or error})", "a file", "Check it.")
        ) from error


def member_named(archive: zipfile.ZipFile, ends: str) -> list[str]:
    """Names of the members that end so (any case), folders and the resource forks of macOS left out."""
    return [
        i.filename
        for i in archive.infolist()
        if not i.is_dir() and i.filename.lower().endswith(ends) and not PurePosixPath(i.filename).name.startswith("._")
    ]


def _measure(archive: zipfile.ZipFile, path: Path, where: str) -> None:
    members = archive.infolist()
    whole = sum(m.file_size for m in members)
    due = f"at most {MOST_MEMBERS:,} members and {MOST_BYTES // 2**20} MiB unpacked"
    if len(members) > MOST_MEMBERS or whole > MOST_BYTES:
        came = f"{path.name} holds {len(members):,} members, {whole / 2**20:,.0f} MiB unpacked"
        raise InputFault(Fault(where, came, due, "Unpack it, look at it, and give the file that is meant."))
    for member in members:
        if member.file_size > 2**20 and member.file_size > MOST_TIMES * max(member.compress_size, 1):
            came = f"{path.name}: {member.filename[:80]!r} grows {member.file_size // max(member.compress_size, 1):,} times"
            raise InputFault(
                Fault(where, came, f"at most {MOST_TIMES} times", "Do not open it before asking its sender.")
            )
        if member.flag_bits & 1:
            raise InputFault(
                Fault(where, f"{path.name} is under a password", "an open archive", "Unpack it and give the file.")
            )
