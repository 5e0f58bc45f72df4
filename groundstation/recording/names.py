"""What session files are called: the moment they began, then the vehicle.

Rules: a name is claimed by creating the file, so no two sessions ever share one, whatever the
clock says; and of a vehicle's name nothing reaches the disk but letters, digits, - and _.
"""

from __future__ import annotations

import errno
import os
import re
import unicodedata
from datetime import datetime
from pathlib import Path

SUFFIX = ".session"

SIDE_FILES = ("-wal", "-shm", "-journal")
"""What SQLite may put beside a file; a leftover of these would be taken for part of a new one."""

MAX_VEHICLE_LENGTH = 40

_FORBIDDEN = re.compile(r"[^A-Za-z0-9_-]+")

_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])", re.IGNORECASE)
"""Device names of Windows, which no file may have there."""

_NAMESAKES = 10_000


def started_text(started: datetime) -> str:
    """Return the moment as file names carry it: `20310504-142233`."""
    return started.strftime("%Y%m%d-%H%M%S")


def vehicle_text(vehicle_name: str) -> str:
    """Return what a file name may hold of a vehicle's name, never empty."""
    letters = unicodedata.normalize("NFKD", vehicle_name)
    bare = "".join(mark for mark in letters if not unicodedata.combining(mark))
    text = _FORBIDDEN.sub("-", bare).strip("-_")[:MAX_VEHICLE_LENGTH].strip("-_")
    if not text:
        return "vehicle"
    return f"{text}-vehicle" if _RESERVED.fullmatch(text) else text


def claim(folder: Path, stem: str, suffix: str = SUFFIX) -> Path:
    """Return a new, empty file in `folder` named after `stem`, with -2, -3... where it is taken.

    Raises:
        OSError: The file cannot be created.
    """
    for number in range(1, _NAMESAKES):
        path = folder / (stem + (f"-{number}" if number > 1 else "") + suffix)
        if side_files(path):
            continue
        try:
            path.open("xb").close()
        except FileExistsError:
            continue
        return path
    raise FileExistsError(errno.EEXIST, "no name is left", str(folder / stem))


def side_files(path: Path) -> list[Path]:
    """Return SQLite's files beside `path` that are there now."""
    beside = [path.with_name(path.name + side) for side in SIDE_FILES]
    return [side for side in beside if side.exists()]


def rename(path: Path, stem: str) -> Path:
    """Give a closed file the name of `stem`, and return its path; the old one where that fails."""
    if side_files(path):
        return path
    try:
        claimed = claim(path.parent, stem)
    except OSError:
        return path
    try:
        os.replace(path, claimed)
    except OSError:
        claimed.unlink(missing_ok=True)
        return path
    return claimed
