"""The session file itself: its tables, and how one is created, recognised and opened.

A session file is an SQLite database with a mark of its own. Rule: whatever is found in a file comes
from outside; a file whose tables are not exactly ours is refused before anything in it is
used, so that no view, trigger or computed column of a stranger ever runs.
"""

from __future__ import annotations

import sqlite3
import stat
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from groundstation.errors import SessionFileError
from groundstation.recording.names import side_files
from groundstation.wording import printable

APPLICATION_ID = 0x54534731
"""Ours among SQLite databases (bytes 68 to 71 of the file)."""

VERSION = 1
"""Of the tables (`user_version`); a file of a higher one is not opened."""

TABLES: Mapping[str, str] = {
    "inbound": (
        "CREATE TABLE inbound (id INTEGER PRIMARY KEY, at_s REAL NOT NULL, kind TEXT NOT NULL, "
        "times BLOB, sizes BLOB, data BLOB NOT NULL)"
    ),
    "meta": "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL)",
    "events": "CREATE TABLE events (at_s REAL NOT NULL, vehicle_s REAL, kind TEXT NOT NULL, "
    "text TEXT NOT NULL)",
    "checkpoints": "CREATE TABLE checkpoints (at_s REAL PRIMARY KEY, state BLOB NOT NULL)",
}

MAX_VALUE_BYTES = 4 << 20
"""No row of ours comes near; a damaged length must not be believed."""

BUSY_S = 2.0
"""How long to wait for another program that is writing to the same file."""

_IMPOSSIBLE_CONTENT = (
    sqlite3.Error,
    ValueError,
    TypeError,
    KeyError,
    ArithmeticError,
    RecursionError,
)

_ACCESS_TROUBLE = (
    "SQLITE_CANTOPEN",
    "SQLITE_READONLY",
    "SQLITE_PERM",
    "SQLITE_BUSY",
    "SQLITE_LOCKED",
    "SQLITE_FULL",
    "SQLITE_IOERR",
)

SET_META = "INSERT OR REPLACE INTO meta VALUES (?, ?)"


class NoDatabaseError(SessionFileError):
    """A file is not even a database.

    Example scenarios:
      - It is a raw capture, or a text
    """


class SessionAccessError(SessionFileError):
    """The system does not let us read or write a session file.

    Example scenarios:
      - A killed program left bytes beside the file, and the folder is read-only
      - The disk is full, or another program keeps the file locked
    """


def create(path: Path, meta: Mapping[str, str]) -> sqlite3.Connection:
    """Turn an empty file into a session, and return it open for recording.

    Raises:
        sqlite3.Error: The file cannot be written.
    """
    connection = _connect(path, "rw")
    try:
        # Everything that makes the file a session is on disk before its first row.
        connection.execute("BEGIN")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        for statement in TABLES.values():
            connection.execute(statement)
        connection.executemany(SET_META, meta.items())
        connection.execute("COMMIT")
        return _ready_for_recording(connection)
    except BaseException:
        connection.close()
        raise


def reopen(path: Path) -> sqlite3.Connection:
    """Return a session file open for recording once more.

    Raises:
        sqlite3.Error: The file cannot be opened or written.
        SessionFileError: It is no session any more.
    """
    connection = _connect(path, "rw")
    try:
        _check(connection, path)
        return _ready_for_recording(connection)
    except BaseException:
        connection.close()
        raise


@contextmanager
def reading(path: Path, named: Path | None = None) -> Iterator[sqlite3.Connection]:
    """Open a session file for reading.

    Args:
        path: The file.
        named: What errors call it, where that is not its path.

    Raises:
        SessionAccessError: The system does not let us, at least not in this place.
        SessionFileError: It is no session, or what the block reads in it is damaged.
    """
    named = named or path
    with plain_errors(named), closing(_connect(path, "ro")) as connection:
        _check(connection, path, named)
        yield connection


@contextmanager
def changing(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a session file for one change, made whole or not at all.

    Raises:
        SessionFileError: It is no session, or cannot be written.
    """
    with plain_errors(path, "cannot be changed"), closing(_connect(path, "rw")) as connection:
        _check(connection, path)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("BEGIN IMMEDIATE")
        yield connection
        connection.execute("COMMIT")
        # A killed session becomes a file that stands alone; one that is being recorded stays.
        connection.execute("PRAGMA busy_timeout = 0")
        with suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode = DELETE")


def recover(path: Path) -> None:
    """Take up what a killed program left beside a session file, so that the file stands alone.

    Raises:
        SessionFileError: It is no session, or cannot be written.
    """
    with plain_errors(path), closing(_connect(path, "rw")) as connection:
        _check(connection, path)
        connection.execute("PRAGMA journal_mode = DELETE")


def size_of(path: Path) -> int:
    """Return the size of a file, without opening it.

    Closing a file drops every lock that this process holds on it, those of a recording under way
    too; so a file that may be a session is opened by SQLite alone.

    Raises:
        SessionFileError: There is no such file.
    """
    try:
        status = path.stat()
    except FileNotFoundError as error:
        raise file_error(path, "does not exist", "Look for it with `sessions`") from error
    except (OSError, ValueError) as error:
        raise unreadable(path, error) from error
    if not stat.S_ISREG(status.st_mode):
        # Opening a pipe or a device could wait for ever.
        raise file_error(path, "is not a file", "Name a session or a capture")
    return status.st_size


def file_error(path: Path, what: str, hint: str = "") -> SessionFileError:
    """Return an error about a file, safe to print."""
    return SessionFileError(_about(path, what), hint)


def unreadable(path: Path, error: Exception) -> SessionFileError:
    """Return the error for a file that the system keeps from us."""
    reason = getattr(error, "strerror", None) or "not a path"
    return file_error(path, f"cannot be read ({reason})", "Check who may read it")


def damaged(path: Path, how: object) -> SessionFileError:
    """Return the error for a file whose content cannot be."""
    return file_error(path, f"is damaged ({how})", "Use another copy of it if there is one")


def _about(path: Path, what: str) -> str:
    # Both may hold what a stranger wrote: the file's name, and a value that could not be read.
    return printable(f"{path} {what}")


@contextmanager
def plain_errors(path: Path, what: str = "cannot be read") -> Iterator[None]:
    """Turn whatever the content of a file brings about into one error with a plain sentence.

    Raises:
        SessionAccessError: The system does not let us read or write.
        SessionFileError: The content is impossible.
    """
    try:
        yield
    except OSError as error:
        raise unreadable(path, error) from error
    except _IMPOSSIBLE_CONTENT as error:
        name = getattr(error, "sqlite_errorname", "")
        if name == "SQLITE_NOTADB":
            hint = "Name a file that ends in .session"
            raise NoDatabaseError(_about(path, "is not a session file"), hint) from error
        if name.startswith(_ACCESS_TROUBLE):
            hint = "Check the folder, and whether there is space"
            raise SessionAccessError(_about(path, f"{what} ({error})"), hint) from error
        raise damaged(path, error) from error


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=BUSY_S
    )
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_VALUE_BYTES)
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def _ready_for_recording(connection: sqlite3.Connection) -> sqlite3.Connection:
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")
    return connection


def _check(connection: sqlite3.Connection, path: Path, named: Path | None = None) -> None:
    named = named or path
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    if application_id != APPLICATION_ID:
        raise file_error(named, "is not a session file", "It is a database of another program")
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version > VERSION:
        raise file_error(
            named, "was written by a newer version of this program", "Update the program to read it"
        )
    found = connection.execute(
        "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL LIMIT ?", (len(TABLES) + 1,)
    )
    if version != VERSION or dict(found.fetchall()) != TABLES:
        raise damaged(named, "its tables are not those of a session")
    (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
    if path.stat().st_size % page_bytes and not side_files(path):
        # SQLite would read what is missing of the last page as zeros.
        raise damaged(named, "its end is missing")
