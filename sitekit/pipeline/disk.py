"""A disk that is full, told as such whichever library noticed it."""

from __future__ import annotations

import errno
import shutil
from pathlib import Path

from sitekit.errors import Fault, FileFault, SitekitError

_FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}
_SAID = ("no space left", "disk is full", "file too large", "disk quota exceeded", "not enough space")
_LEAST_BYTES = 1 << 20  # with less room than this a failed write is put down to the disk


def disk_fault(error: BaseException, folder: Path) -> FileFault | None:
    """Return the fault to raise instead of an error that comes from a full disk; None for any other error.

    Parameters
    ----------
    error : BaseException
        What a library raised; the errors behind it are looked at too.
    folder : Path
        Folder of results.
    """
    if isinstance(error, SitekitError):
        return None
    seen: BaseException | None = error
    full = False
    while seen is not None and not full:
        code = getattr(seen, "errno", None)
        full = code in _FULL or any(words in str(seen).lower() for words in _SAID)
        seen = seen.__cause__ or seen.__context__
    there = next((p for p in (folder, *folder.parents) if p.exists()), folder)
    free = shutil.disk_usage(there).free
    if not full and not (isinstance(error, (OSError, RuntimeError)) and free < _LEAST_BYTES):
        return None
    return FileFault(
        Fault(
            str(folder),
            f"could not be written: the disk is full ({free / 1e9:.2f} GB free)",
            "a disk with room for the results",
            "Free some room or move the project; earlier results are untouched, and a new run goes on where this stopped.",
        )
    )
