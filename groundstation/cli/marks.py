"""Lines of a list, each with its mark, the same marks as on the screens.

Rule: a mark only repeats what the line says, so that an output that cannot carry it gets another.
"""

from __future__ import annotations

import sys
from shutil import get_terminal_size

from groundstation.wording import filled

GOOD, LOOK, BAD, NONE = "✓", "!", "✗", "○"

_INSTEAD = {GOOD: "+", BAD: "x", NONE: "o"}


def marked(sign: str, head: str, text: str) -> str:
    """Return a line; on a terminal broken at spaces, what is left under where its text begins."""
    start = f"{_carried(sign)} {head}"
    if not sys.stdout.isatty():
        return start + text
    return "\n".join(filled(text, get_terminal_size().columns, first=start, then=" " * len(start)))


def _carried(sign: str) -> str:
    """Return a mark as the standard output can carry it."""
    try:
        sign.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return _INSTEAD[sign]
    return sign
