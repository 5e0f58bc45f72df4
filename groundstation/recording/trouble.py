"""Why nothing can be written, in one plain sentence with what to do."""

from __future__ import annotations

import errno
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from groundstation.wording import printable


@dataclass(frozen=True, slots=True)
class Trouble:
    """What keeps bytes from the disk."""

    reason: str
    advice: str

    def __str__(self) -> str:
        return f"Not recording: {self.reason}; {self.advice}"


OVERFLOW = Trouble("the disk is too slow", "close whatever else writes to it")


def trouble_of(error: Exception, folder: Path) -> Trouble:
    """Return what an error says about recording in `folder`."""
    where = printable(str(folder))
    name = str(getattr(error, "sqlite_errorname", ""))
    number = error.errno if isinstance(error, OSError) else None
    if name == "SQLITE_FULL" or number in (errno.ENOSPC, errno.EDQUOT):
        return Trouble("the disk is full", "free some space and it goes on by itself")
    if number in (errno.EEXIST, errno.ENOTDIR):
        return Trouble(f"{where} is not a folder", "move the file of that name away")
    if number in (errno.EACCES, errno.EPERM, errno.EROFS) or name.startswith(
        ("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")
    ):
        return Trouble(f"{where} may not be written", "allow it, or choose another folder")
    if isinstance(error, FileNotFoundError):
        return Trouble(f"the session file vanished from {where}", "bring that folder back")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return Trouble("another program has locked the session file", "close that program")
    if isinstance(error, sqlite3.DatabaseError) and not name.startswith("SQLITE_IOERR"):
        return Trouble(f"the session file was damaged ({error})", "check the disk")
    return Trouble(f"the disk cannot be written ({error})", "check the disk")
