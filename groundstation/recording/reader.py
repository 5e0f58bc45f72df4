"""A recorded session, read back as the very events that came in.

Rules: what a file holds is not trusted (it may be damaged, or made by somebody else), and anything
impossible in it is a `SessionFileError`, never a crash, a hang or endless memory; reading
changes nothing. A session that was killed opens like any other.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
import weakref
from bisect import bisect_left
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from math import inf
from pathlib import Path
from typing import Any

from groundstation.errors import SessionFileError
from groundstation.inbound import DriverPlaced, Inbound
from groundstation.recording import names, store
from groundstation.recording.info import FACT_PREFIX, NOTES, SessionInfo, as_json, read_info
from groundstation.recording.rows import DRIVER, STRAY_S, ArrivalOrder, Row, inbound_of, text_of
from groundstation.recording.scan import EVENTS, INBOUND, META, Listing, batches
from groundstation.recording.tape import IndexEntry, RawColumns
from groundstation.recording.tape import Tape as Tape
from groundstation.wording import printable

_SELECT = "SELECT id, at_s, kind, times, sizes, data FROM inbound"


def open_session(path: Path) -> SessionFile:
    """Return the session at `path`.

    Raises:
        SessionFileError: It cannot be read, or is no session.
    """
    if not store.size_of(path):
        hint = "The program was stopped before anything was recorded"
        raise store.file_error(path, "is empty", hint)
    try:
        return SessionFile(path)
    except store.SessionAccessError as error:
        # What a killed program left can only be read by writing beside it: do that elsewhere.
        try:
            return _open_copy(path)
        except (OSError, SessionFileError):
            raise error from None


def list_sessions(folder: Path) -> list[SessionInfo]:
    """Return all sessions of a folder by name, so by time; a bad file with its problem."""
    return [_info_or_problem(path) for path in sorted(folder.glob(f"*{names.SUFFIX}"))]


class SessionFile:
    """A session file; see `Tape` for what it can be asked."""

    def __init__(self, path: Path, readable: Path | None = None) -> None:
        """Read the session's description; use `open_session`.

        Args:
            path: The file.
            readable: A copy to read from, where the file itself cannot be.
        """
        self.path = path
        self._readable = readable or path
        self._info = self._read_info()

    @property
    def info(self) -> SessionInfo:
        """What is known about the session."""
        return self._info

    @property
    def end_at_s(self) -> float:
        """Where it ends, on the session clock."""
        return self._info.end_at_s

    def inbound(self, from_at_s: float = -inf) -> Iterator[Inbound]:
        """Yield the events that arrived at `from_at_s` or later, in recorded order.

        Raises:
            SessionFileError: The file turns out to be damaged.
        """
        order = ArrivalOrder()
        with store.plain_errors(self.path):
            for rows in self._rows(INBOUND, self._id_before(from_at_s)):
                for row in rows:
                    for inbound in inbound_of(row):
                        if not order.allows(inbound):
                            raise ValueError("arrival times that go back")
                        order.follow(inbound)
                        if inbound.at_s >= from_at_s:
                            yield inbound

    def columns(self) -> RawColumns:
        """Return all bytes with their arrival times.

        Raises:
            SessionFileError: The file is damaged.
        """
        from groundstation.recording.columns import gather

        with store.plain_errors(self.path):
            return gather(self._rows(INBOUND))

    def events(self) -> list[IndexEntry]:
        """Return the index of what happened, by time.

        Raises:
            SessionFileError: The file is damaged.
        """
        with store.plain_errors(self.path):
            found = [
                IndexEntry(float(at_s), printable(text_of(kind)), printable(text_of(text)))
                for rows in self._rows(EVENTS)
                for _, at_s, kind, text in rows
            ]
        return sorted(found, key=lambda entry: entry.at_s)

    def driver_placed(self) -> DriverPlaced | None:
        """Return where the driver was last said to stand; None where nobody said.

        Raises:
            SessionFileError: The file is damaged.
        """
        with self._reading() as connection:
            query = f"{_SELECT} WHERE id > 0 AND kind = ? ORDER BY id DESC LIMIT 1"
            row: Row | None = connection.execute(query, (DRIVER,)).fetchone()
            placed = None if row is None else next(inbound_of(row))
        return placed if isinstance(placed, DriverPlaced) else None

    def checkpoint_before(self, at_s: float) -> tuple[float, bytes] | None:
        """Return the last kept state at or before a moment, with its own time.

        Raises:
            SessionFileError: The file is damaged.
        """
        query = "SELECT at_s, state FROM checkpoints WHERE at_s <= ? ORDER BY at_s DESC LIMIT 1"
        with self._reading() as connection:
            kept = connection.execute(query, (at_s,)).fetchone()
            if kept is None:
                return None
            kept_at_s, state = kept
            if not isinstance(kept_at_s, float) or not isinstance(state, bytes):
                raise TypeError("a value of the wrong type")
        return kept_at_s, state

    def set_fact(self, key: str, value: object) -> None:
        """Describe the session afterwards: its set-up sheet, the vehicle's name...

        Raises:
            TypeError: The value is nothing that JSON can hold.
            SessionFileError: The file cannot be written.
        """
        self._change_fact(key, lambda _: value)

    def add_note(self, text: str) -> None:
        """Add a line to the session's notes.

        Raises:
            SessionFileError: The file cannot be written.
        """
        self._change_fact(NOTES, lambda held: [*(held if isinstance(held, list) else []), text])

    def _change_fact(self, key: str, change: Callable[[object], object]) -> None:
        as_json(change(None))  # a value that cannot be kept is our caller's error, not the file's
        with store.changing(self.path) as connection:
            query = "SELECT value FROM meta WHERE key = ?"
            held = connection.execute(query, (FACT_PREFIX + key,)).fetchone()
            value = as_json(change(json.loads(held[0]) if held else None))
            connection.execute(store.SET_META, (FACT_PREFIX + key, value))
        self._info = self._read_info()

    def _reading(self) -> AbstractContextManager[sqlite3.Connection]:
        return store.reading(self._readable, named=self.path)

    def _rows(self, listing: Listing, after_id: int = 0) -> Iterator[list[Any]]:
        return batches(listing, self._readable, named=self.path, after_id=after_id)

    def _id_before(self, from_at_s: float) -> int:
        """Return an id behind which everything from a moment on is found, and little else."""
        with self._reading() as connection:
            first, last = _first_row(connection), _last_row(connection)
            if first is None or last is None or from_at_s <= first[1]:
                return 0

            def at_s_of(row_id: int) -> float:
                query = "SELECT at_s FROM inbound WHERE id >= ? ORDER BY id LIMIT 1"
                (at_s,) = connection.execute(query, (row_id,)).fetchone()
                return float(at_s)

            ids = range(first[0], last[0] + 1)
            beyond = first[0] + bisect_left(ids, from_at_s - STRAY_S, key=at_s_of)
            # The row before may be a block that reaches beyond the moment.
            query = "SELECT max(id) FROM inbound WHERE id < ?"
            (before,) = connection.execute(query, (beyond,)).fetchone()
            return 0 if before is None else max(before - 1, 0)

    def _read_info(self) -> SessionInfo:
        meta = {key: value for rows in self._rows(META) for _, key, value in rows}
        with self._reading() as connection:
            first, last = _first_row(connection), _last_row(connection)
            first_at_s = next(inbound_of(first)).at_s if first else 0.0
            last_at_s = max(inbound.at_s for inbound in inbound_of(last)) if last else 0.0
            return read_info(self.path, meta, first_at_s=first_at_s, last_at_s=last_at_s)


def _first_row(connection: sqlite3.Connection) -> Row | None:
    row: Row | None = connection.execute(f"{_SELECT} WHERE id > 0 ORDER BY id LIMIT 1").fetchone()
    return row


def _last_row(connection: sqlite3.Connection) -> Row | None:
    row: Row | None = connection.execute(
        f"{_SELECT} WHERE id > 0 ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return row


def _open_copy(path: Path) -> SessionFile:
    """Return a session that is read from a copy, which goes when the session does."""
    folder = Path(tempfile.mkdtemp(prefix="groundstation-"))
    try:
        for part in (path, *names.side_files(path)):
            shutil.copyfile(part, folder / part.name)
        store.recover(folder / path.name)
        session = SessionFile(path, folder / path.name)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    weakref.finalize(session, shutil.rmtree, folder, ignore_errors=True)
    return session


def _info_or_problem(path: Path) -> SessionInfo:
    try:
        return open_session(path).info
    except SessionFileError as error:
        return SessionInfo(path, problem=str(error))
