"""Files that no honest recorder wrote: each is one `SessionFileError`, and quickly."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import struct
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.errors import SessionFileError
from groundstation.recording import names, scan, store
from groundstation.recording.capture import open_tape
from groundstation.recording.reader import SessionFile, open_session
from tests.groundstation.recording.examples import record, recorder, some_inbound


@pytest.fixture(scope="module")
def honest() -> Iterator[Path]:
    """One session, to be copied and spoiled."""
    with tempfile.TemporaryDirectory() as name, recorder(Path(name)) as recording:
        for each in some_inbound(600):
            recording.record(each)
        for number in range(20):
            recording.note_event(number / 10, None, "mark", f"invented {number}")
            recording.keep_checkpoint(number / 10, bytes(5000))
        path = recording.close(end_at_s=5.0, summary={"frames": 1}, vehicle_name="Needle")
        assert path is not None
        yield path


@pytest.fixture
def copy(honest: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(honest, tmp_path))


def change(path: Path, *statements: str | tuple[str, tuple[object, ...]]) -> None:
    with sqlite3.connect(path) as connection:
        for statement in statements:
            sql, values = (statement, ()) if isinstance(statement, str) else statement
            connection.execute(sql, values)
    connection.close()


def read_all(path: Path) -> None:
    session = open_session(path)
    list(session.inbound())
    list(session.inbound(2.0))
    session.columns()
    session.events()
    session.checkpoint_before(3.0)


def set_first_row(column: str, value: object) -> tuple[str, tuple[object, ...]]:
    first = "(SELECT min(id) FROM inbound WHERE kind = 'bytes')"
    return f"UPDATE inbound SET {column} = ? WHERE id = {first}", (value,)


def set_kind(kind: str, data: bytes | str) -> tuple[str, tuple[object, ...]]:
    row = "(SELECT min(id) FROM inbound WHERE kind != 'bytes')"
    return f"UPDATE inbound SET kind = ?, data = ? WHERE id = {row}", (kind, data)


NAN = struct.pack("<d", float("nan"))

SPOILED_BYTES = {
    "no sizes": set_first_row("sizes", None),
    "no times": set_first_row("times", None),
    "empty block": "UPDATE inbound SET sizes = x'', times = x'', data = x'' WHERE kind = 'bytes'",
    "half a size": set_first_row("sizes", b"\1\0\0"),
    "one size too few": "UPDATE inbound SET sizes = substr(sizes, 5) WHERE kind = 'bytes'",
    "half a time": "UPDATE inbound SET times = substr(times, 5) WHERE kind = 'bytes'",
    "too little data": "UPDATE inbound SET data = substr(data, 2) WHERE kind = 'bytes'",
    "sizes beyond all bounds": (
        "UPDATE inbound SET sizes = replace(hex(zeroblob(length(sizes) / 2)), '0', char(255)) "
        "WHERE kind = 'bytes'"
    ),
    "huge sizes": (
        "UPDATE inbound SET times = ?, sizes = ?, data = ? WHERE kind = 'bytes'",
        (bytes(16), b"\xff" * 8, b"short"),
    ),
    "time is no number": (
        "UPDATE inbound SET at_s = 0, times = ?, sizes = ?, data = ? WHERE kind = 'bytes'",
        (bytes(8) + NAN, struct.pack("<II", 1, 1), b"ab"),
    ),
    "time goes back": (
        "UPDATE inbound SET at_s = 9, times = ?, sizes = ?, data = ? WHERE kind = 'bytes'",
        (struct.pack("<dd", 9, 8), struct.pack("<II", 1, 1), b"ab"),
    ),
    "rows go back": "UPDATE inbound SET id = 100000 - id",
    "row at another time": "UPDATE inbound SET at_s = at_s - 0.5 WHERE kind = 'bytes'",
    "endless time": ("UPDATE inbound SET at_s = ?", (float("inf"),)),
    "text for data": set_first_row("data", "text"),
    "number for data": set_first_row("data", 12),
    "text for times": set_first_row("times", "eightfold"),
    "text for a time": set_first_row("at_s", "noon"),
}

SPOILED_ROWS = {
    "unknown kind": set_kind("telepathy", b"{}"),
    "a kind that is no text": set_kind("x", b"{}"),
    "no JSON": set_kind("mark", b"{"),
    "JSON of another shape": set_kind("mark", b"[1]"),
    "JSON without what belongs there": set_kind("mark", b"{}"),
    "number for text": set_kind("mark", b'{"text": 1}'),
    "unknown link state": set_kind("link", b'{"state": "in orbit\\u001b[2J", "detail": ""}'),
    "text for a number": set_kind("signal", b'{"rssi_dbm": "loud"}'),
    "list for a number": set_kind("signal", b'{"rssi_dbm": []}'),
    "bottomless JSON": set_kind("mark", b"[" * 100_000),
    "endless number": set_kind("signal", b'{"rssi_dbm": ' + b"9" * 9999 + b"}"),
    "text that is no text": ("UPDATE inbound SET kind = CAST(? AS TEXT)", (b"\xff\xfe",)),
}

SPOILED_META = {
    "no start": "DELETE FROM meta WHERE key = 'started'",
    "start is no time": "UPDATE meta SET value = '\"noon\"' WHERE key = 'started'",
    "start is a number": "UPDATE meta SET value = '5' WHERE key = 'started'",
    "end is text": "UPDATE meta SET value = '\"late\"' WHERE key = 'end_at_s'",
    "summary is a number": "UPDATE meta SET value = '5' WHERE key = 'summary'",
    "version is a list": "UPDATE meta SET value = '[]' WHERE key = 'software_version'",
    "no JSON": "UPDATE meta SET value = 'once' WHERE key = 'ended_cleanly'",
    "a blob": "UPDATE meta SET value = x'00ff' WHERE key = 'table'",
    "bottomless": ("UPDATE meta SET value = ? WHERE key = 'summary'", ("[" * 100_000,)),
}


@pytest.mark.parametrize("how", SPOILED_BYTES)
def test_spoiled_bytes_are_refused_by_both_readers(copy: Path, how: str) -> None:
    change(copy, SPOILED_BYTES[how])
    with pytest.raises(SessionFileError):
        list(open_session(copy).inbound())
    with pytest.raises(SessionFileError):
        open_session(copy).columns()


@pytest.mark.parametrize("how", SPOILED_ROWS)
def test_a_spoiled_event_is_refused(copy: Path, how: str) -> None:
    change(copy, SPOILED_ROWS[how])
    with pytest.raises(SessionFileError) as caught:
        list(open_session(copy).inbound())
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("how", SPOILED_META)
def test_a_spoiled_description_is_refused(copy: Path, how: str) -> None:
    change(copy, SPOILED_META[how])
    with pytest.raises(SessionFileError, match="is damaged"):
        open_session(copy)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE events SET at_s = 'soon'",
        "UPDATE events SET text = x'00'",
        "UPDATE checkpoints SET state = 'text'",
    ],
)
def test_a_spoiled_index_is_refused(copy: Path, sql: str) -> None:
    change(copy, sql)
    with pytest.raises(SessionFileError, match="is damaged"):
        read_all(copy)


@pytest.mark.parametrize(
    "statements",
    [
        ["DROP TABLE events"],
        ["ALTER TABLE events ADD COLUMN more TEXT"],
        ["CREATE TABLE more (a)"],
        ["CREATE TRIGGER trap AFTER INSERT ON meta BEGIN DELETE FROM inbound; END"],
        [
            "DROP TABLE inbound",
            "CREATE VIEW inbound AS WITH RECURSIVE n(id) AS "
            "(SELECT 1 UNION ALL SELECT id + 1 FROM n) SELECT id, 0.0 AS at_s, 'bytes' AS kind, "
            "x'' AS times, x'' AS sizes, x'' AS data FROM n",
        ],
        [
            "DROP TABLE events",
            "CREATE TABLE events (at_s REAL NOT NULL, vehicle_s REAL, kind TEXT NOT NULL, "
            "text TEXT AS (hex(zeroblob(100000000))))",
        ],
    ],
)
def test_tables_that_are_not_ours_are_refused_before_they_are_read(
    copy: Path, statements: list[str]
) -> None:
    change(copy, *statements)
    with pytest.raises(SessionFileError, match="its tables are not those of a session"):
        open_session(copy)
    with (
        pytest.raises(SessionFileError, match="its tables are not those of a session"),
        store.changing(copy),
    ):
        pytest.fail("opened")


def test_a_foreign_database_is_recognised(tmp_path: Path) -> None:
    path = tmp_path / "other.session"
    change(path, "CREATE TABLE inbound (a)")
    with pytest.raises(SessionFileError, match="is not a session file") as caught:
        open_tape(path)
    assert "another program" in caught.value.hint


def test_a_newer_file_is_recognised(copy: Path) -> None:
    change(copy, "PRAGMA user_version = 2", "CREATE TABLE more (a)")
    with pytest.raises(SessionFileError, match="newer version") as caught:
        open_session(copy)
    assert caught.value.hint


def test_a_truncated_file_is_recognised(honest: Path, tmp_path: Path) -> None:
    whole = honest.read_bytes()
    path = tmp_path / "cut.session"
    for size in [0, 1, 99, 100, 4095, 4096, len(whole) // 2, len(whole) - 1]:
        path.write_bytes(whole[:size])
        with pytest.raises(SessionFileError) as caught:
            read_all(path)
        assert caught.value.message


def test_a_truncated_log_costs_only_its_end(tmp_path: Path) -> None:
    inbound = some_inbound(300)
    with recorder(tmp_path / "live") as recording:
        for each in inbound:
            recording.record(each)
            assert recording.flush()  # so that each is a transaction of its own
        assert recording.path is not None
        path = Path(shutil.copy(recording.path, tmp_path))
        log = recording.path.with_name(recording.path.name + "-wal").read_bytes()
    path.with_name(path.name + "-wal").write_bytes(log[: len(log) // 2])
    stored = list(open_session(path).inbound())
    assert 0 < len(stored) < len(inbound)
    assert stored == inbound[: len(stored)]


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 1 << 32), count=st.integers(1, 40))
def test_flipped_bytes_never_crash(honest: Path, seed: int, count: int) -> None:
    chance, content = random.Random(seed), bytearray(honest.read_bytes())
    for _ in range(count):
        # Half of them where the structure lies: at the beginning of a page.
        place = chance.randrange(len(content))
        if chance.random() < 0.5:
            place = place // 4096 * 4096 + chance.randrange(110)
        content[place % len(content)] = chance.randrange(256)
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "flipped.session"
        path.write_bytes(content)
        with suppress(SessionFileError):
            read_all(path)


def forge_tree(path: Path, table: str, forge: Callable[[bytearray, int], None]) -> None:
    """Rewrite the root page of a table that is tall enough to have pages below it."""
    with sqlite3.connect(path) as connection:
        query = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
        (root,) = connection.execute(query, (table,)).fetchone()
    connection.close()
    content = bytearray(path.read_bytes())
    start = (root - 1) * 4096
    assert content[start] == 5, "an interior page of a table"
    forge(content, start)
    path.write_bytes(content)


def test_a_tree_that_shows_the_same_rows_over_and_over_is_refused(tmp_path: Path) -> None:
    path = record(tmp_path, some_inbound(4000), clean=False)

    def repeat_first_child(content: bytearray, start: int) -> None:
        (cells,) = struct.unpack_from(">H", content, start + 3)
        places = struct.unpack_from(f">{cells}H", content, start + 12)
        first = content[start + places[0] : start + places[0] + 4]
        for place in places:
            content[start + place : start + place + 4] = first
        content[start + 8 : start + 12] = first

    forge_tree(path, "inbound", repeat_first_child)
    session = open_session(path)
    with pytest.raises(SessionFileError, match="rows out of order"):
        list(session.inbound())
    with pytest.raises(SessionFileError, match="rows out of order"):
        session.columns()


def test_no_more_is_read_than_lies_on_the_disk(
    honest: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session: SessionFile = open_session(honest)
    monkeypatch.setattr(scan, "bytes_on_disk", lambda _: 1000)
    with pytest.raises(SessionFileError, match="more content than the file has room for"):
        list(session.inbound())


def test_a_value_longer_than_any_of_ours_is_not_believed(copy: Path) -> None:
    change(copy, ("UPDATE checkpoints SET state = zeroblob(?)", (store.MAX_VALUE_BYTES + 1,)))
    session = open_session(copy)
    with pytest.raises(SessionFileError, match="is damaged"):
        session.checkpoint_before(3.0)


def test_what_a_file_says_of_itself_cannot_reach_the_terminal(copy: Path) -> None:
    hostile = json.dumps("\x1b]0;owned\x07\u202e")
    change(copy, ("INSERT OR REPLACE INTO meta VALUES ('fact.vehicle_name', ?)", (hostile,)))
    change(copy, ("UPDATE meta SET value = ? WHERE key = 'software_version'", (hostile,)))
    change(copy, ("UPDATE events SET kind = ?, text = ?", ("\x1b[2J", "\n\x1b[2J")))
    session = open_session(copy)
    assert session.info.vehicle_name is not None
    assert session.info.vehicle_name.isprintable()
    assert session.info.software_version.isprintable()
    assert all(f"{entry.kind}{entry.text}".isprintable() for entry in session.events())


def test_a_leftover_journal_of_an_interrupted_change_is_rolled_back(copy: Path) -> None:
    """As a kill in the middle of `set_fact` leaves it: the pages changed, the old ones beside."""
    before = list(open_session(copy).inbound())
    spoiled = copy.with_name("spoiled.session")
    with sqlite3.connect(copy, isolation_level=None) as connection:
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN")
        connection.execute("UPDATE inbound SET data = zeroblob(length(data))")
        shutil.copy(copy, spoiled)
        shutil.copy(f"{copy}-journal", f"{spoiled}-journal")
        connection.execute("ROLLBACK")
    connection.close()
    assert spoiled.read_bytes() != copy.read_bytes()
    assert names.side_files(spoiled)
    assert list(open_session(spoiled).inbound()) == before
