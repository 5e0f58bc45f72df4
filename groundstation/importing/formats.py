"""Which format a foreign log has, by its content."""

from __future__ import annotations

import re
from enum import StrEnum
from pathlib import Path

from groundstation.importing.lines import read_head

_NMEA = re.compile(rb"[$!][A-Z0-9]{2}[A-Z]{3},")
_GPX = re.compile(rb"<(\w{1,20}:)?gpx[\s>]", re.IGNORECASE)


class LogFormat(StrEnum):
    """What can be imported."""

    CSV = "csv"
    NMEA = "nmea"
    GPX = "gpx"


def format_of(path: Path) -> LogFormat:
    """Return a file's format; whatever is neither GPX nor NMEA 0183 is taken for a table.

    Raises:
        SessionFileError: It cannot be read.
    """
    head = read_head(path)
    start = head.replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if _GPX.search(head.replace(b"\0", b"")) or start.startswith(b"<"):
        return LogFormat.GPX
    lines = [line for line in head.splitlines() if line.strip()][:200]
    sentences = sum(_NMEA.search(line) is not None for line in lines)
    return LogFormat.NMEA if lines and sentences * 3 > len(lines) else LogFormat.CSV
