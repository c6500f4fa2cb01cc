"""Where faults become messages and exit codes: the only place that catches everything."""

from __future__ import annotations

import codecs
import json
import os
import sys
import tempfile
import traceback
import warnings
from pathlib import Path
from typing import Any

import click

from sitekit.errors import SitekitError

_STAND_INS = "sitekit-stand-ins"
# What a console shows for a letter it lacks; others become a question mark.
_LIKE = {"′": "'", "″": '"', "≥": ">=", "≤": "<=", "→": "->", "−": "-", "×": "x", "²": "2", "°": " deg", "…": "...",
         "☐": "[ ]", "–": "-", "—": "-", "“": '"', "”": '"', "‘": "'", "’": "'", "±": "+/-", "·": "."}  # fmt: skip

# rasterio warns of every raster without a place, also of its own in memory, and hides that with Python's filters, which
# are no thread's own: a kernel compiled in another thread meanwhile brings the warning back. Where a place matters,
# `layers` says so as a fault.
_NO_PLACE = ("Dataset has no geotransform", "The given matrix is equal to Affine.identity")


def run(command: click.Command, arguments: list[str] | None = None) -> int:
    """Run a command and return its exit code; print faults to standard error, never a traceback.

    Codes: 0 done, 1 unforeseen (the traceback is kept in a file), 2 bad usage, 3 bad input or a fault found,
    4 asked for more than can be done, 130 stopped.
    """
    _writable_streams()
    for beginning in _NO_PLACE:
        warnings.filterwarnings("ignore", message=beginning)
    given = sys.argv[1:] if arguments is None else arguments
    try:
        result = command.main(args=given, prog_name="sitekit", standalone_mode=False)
        return int(result) if isinstance(result, int) else 0
    except click.exceptions.Abort:
        click.echo("stopped; results written before are untouched", err=True)
        return 130
    except KeyboardInterrupt:
        click.echo("stopped; results written before are untouched", err=True)
        return 130
    except click.ClickException as error:
        error.show()
        return 2
    except SitekitError as error:
        say(error, as_json="--json" in given)
        return error.exit_code
    except Exception as error:  # noqa: BLE001  (the rim: an unforeseen fault is logged, reported and counted)
        log = _log()
        click.echo(
            f"sitekit failed in a way that was not foreseen: {type(error).__name__}: {error}\n"
            f"Please report it with the file {log}",
            err=True,
        )
        return 1


def say(error: SitekitError, *, as_json: bool) -> None:
    """Print every fault to standard error; as JSON also to standard output."""
    if as_json:
        click.echo(json.dumps({"faults": [f.as_dict() for f in error.faults]}, indent=1, ensure_ascii=False))
    head = "fault" if len(error.faults) == 1 else "faults"
    click.echo(f"{len(error.faults)} {head}:", err=True)
    for fault in error.faults:
        click.echo(f"- {fault.where}\n    came: {fault.came}\n    due:  {fault.due}\n    do:   {fault.do}", err=True)


def _log() -> Path:
    text = traceback.format_exc()
    for folder in (Path.cwd(), Path(tempfile.gettempdir())):
        path = folder / f"sitekit-failure-{os.getpid()}.log"
        try:
            path.write_text(text, encoding="utf-8")
        except OSError:
            continue
        return path
    sys.stderr.write(text)
    return Path("(printed above)")


def _writable_streams() -> None:
    """Let consoles that lack ′ or ≥ print a stand-in instead of failing."""
    codecs.register_error(_STAND_INS, _stand_in)
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=_STAND_INS)


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_LIKE.get(c, "?") for c in error.object[error.start : error.end]), error.end
