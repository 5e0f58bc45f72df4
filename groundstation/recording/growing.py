"""A session file while it grows.

Rules: a row is in the file when `write` returns and survives a kill of the program from then on;
`sync` makes all rows so far survive a power cut. Lives in the writer's thread.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from groundstation.recording import store
from groundstation.recording.backlog import Checkpoint, Entry, Fact
from groundstation.recording.compaction import compact
from groundstation.recording.names import claim
from groundstation.recording.rows import columns_of
from groundstation.vehicle.session_events import Noted

_INSERT = "INSERT INTO inbound (at_s, kind, times, sizes, data) VALUES (?, ?, ?, ?, ?)"
_NOTE = "INSERT INTO events VALUES (?, ?, ?, ?)"
_KEEP = "INSERT OR REPLACE INTO checkpoints VALUES (?, ?)"

_REFUSED = (
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
    sqlite3.DataError,
    sqlite3.IntegrityError,
    ValueError,
    TypeError,
    OverflowError,
)
"""An entry that no disk could take: it must not stand in the way of the next."""


class GrowingFile:
    """One session file, open for recording."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    @classmethod
    def create(cls, folder: Path, stem: str, meta: Mapping[str, str]) -> GrowingFile:
        """Return a new session in `folder`, which is made where it is missing.

        Raises:
            OSError, sqlite3.Error: It cannot be created; nothing is left behind.
        """
        folder.mkdir(parents=True, exist_ok=True)
        path = claim(folder, stem)
        try:
            return cls(path, store.create(path, meta))
        except BaseException:
            with suppress(OSError):
                path.unlink()
            raise

    @classmethod
    def reopen(cls, path: Path) -> GrowingFile:
        """Return the session at `path`, to be continued.

        Raises:
            sqlite3.Error, SessionFileError: It cannot be.
        """
        return cls(path, store.reopen(path))

    def write(self, entries: Sequence[Entry]) -> list[int]:
        """Put entries into the file, all of them or none.

        Returns:
            Which of them, counted from 0, no file can hold.

        Raises:
            sqlite3.Error: None of them is in the file.
        """
        if len(entries) == 1:
            return self._write_each(entries)
        self._connection.execute("BEGIN")
        try:
            refused = self._write_each(entries)
            self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise
        return refused

    def sync(self, newest_s: float) -> None:
        """Make every row so far safe against a power cut.

        Args:
            newest_s: Time of the newest row, kept in the file.

        Raises:
            OSError, sqlite3.Error: They are not safe.
        """
        if not self.path.exists():
            # POSIX lets us go on writing into a file that nobody will ever find.
            raise FileNotFoundError(f"{self.path} is gone")
        self._connection.execute("PRAGMA synchronous = FULL")
        try:
            self._connection.execute(store.SET_META, ("safe_until_s", repr(newest_s)))
        finally:
            self._connection.execute("PRAGMA synchronous = NORMAL")

    def copy_into(self, other: GrowingFile) -> None:
        """Make `other` hold what this file holds.

        Raises:
            sqlite3.Error: It does not.
        """
        self._connection.backup(other._connection)

    def compact(self) -> None:
        """Merge single chunks into blocks.

        Raises:
            sqlite3.Error: It cannot be done; nothing is lost by that.
        """
        compact(self._connection)

    def close(self) -> None:
        """Close the file; it stands alone then, unless the disk or another reader forbids it."""
        with suppress(sqlite3.Error):
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.execute("PRAGMA journal_mode = DELETE")
        self._connection.close()

    def abandon(self) -> None:
        """Let go of a file that is no longer at its path, touching nothing that is there now."""
        self._connection.close()

    def _write_each(self, entries: Sequence[Entry]) -> list[int]:
        refused = []
        for number, entry in enumerate(entries):
            try:
                self._connection.execute(*_statement(entry))
            except _REFUSED:
                refused.append(number)
        return refused


def _statement(entry: Entry) -> tuple[str, tuple[object, ...]]:
    match entry:
        case Noted(at_s, vehicle_s, kind, text):
            return _NOTE, (at_s, vehicle_s, _valid(kind), _valid(text))
        case Checkpoint(at_s, state):
            return _KEEP, (at_s, state)
        case Fact(key, value):
            return store.SET_META, (_valid(key), value)
        case _:
            return _INSERT, columns_of(entry)


def _valid(text: str) -> str:
    """Return text that UTF-8 can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
