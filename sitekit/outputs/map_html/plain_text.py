"""Text from data made safe to print: no control or direction marks, and JSON that cannot end a script block."""

from __future__ import annotations

import json
import math
import re
from typing import Any

# Control characters, direction marks, overrides and isolates, separators and the byte order mark.
_HIDDEN = re.compile(
    "[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u061c\u200b\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]"
)
_LONE = re.compile("[\ud800-\udfff]")


def plain_text(value: Any) -> str:
    """Return the value as text, with hidden marks written out, e.g. `[U+202E]`.

    Parameters
    ----------
    value : object
        A cell of a table; None and NaN give an empty text.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    text = str(value)
    if text.isprintable():  # none of these marks is
        return text
    text = _LONE.sub("\ufffd", text)
    return _HIDDEN.sub(lambda m: f"[U+{ord(m.group()):04X}]", text)


def script_json(value: Any) -> str:
    r"""Return compact JSON for a script block: `<`, `>` and `&` are written as `\u003c`, `\u003e`, `\u0026`."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
