"""One cell of a table: as a number, or as a time.

Rule: whatever is no finite number is NaN; nothing in a cell is ever evaluated.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from math import isfinite, nan

import numpy as np

from groundstation.importing.log import Numbers

_WORDS = {"true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0, "on": 1.0, "off": 0.0}

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)

_CLOCK = re.compile(
    r"(?:(\d{1,4}) days?,? )?(\d{1,3}):(\d{2})(?::(\d{2}(?:\.\d{1,9})?))?", re.ASCII
)

MAX_CELL_CHARACTERS = 64
"""No number is longer; what is, is no number."""


def number(cell: str, decimal: str = ".") -> float:
    """Return a cell as a number; NaN where it is none, or is not finite."""
    text = cell.strip()
    if len(text) > MAX_CELL_CHARACTERS:
        return nan
    if decimal == ",":
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        return _WORDS.get(text.lower(), nan)
    value = float(text)
    return value if isfinite(value) else nan


def numbers(cells: Sequence[str], decimal: str = ".") -> Numbers:
    """Return cells as numbers; NaN where one is none."""
    return np.array([number(cell, decimal) for cell in cells], np.float64)


def timestamp_s(cell: str) -> float:
    """Return an ISO 8601 time as seconds since 1970; NaN where it is none. No offset means UTC."""
    text = cell.strip().replace("/", "-")
    if not 10 <= len(text) <= MAX_CELL_CHARACTERS:
        return nan
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return nan


def clock_s(cell: str) -> float:
    """Return `[N days ]hh:mm[:ss[.fff]]` as seconds; NaN where it is none."""
    found = _CLOCK.fullmatch(cell.strip()[:MAX_CELL_CHARACTERS])
    if found is None:
        return nan
    days, hours, minutes, seconds = found.groups()
    return int(days or 0) * 86_400 + int(hours) * 3600 + int(minutes) * 60 + float(seconds or 0)
