from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path

import pytest

from groundstation.inbound import BytesReceived, LinkChanged, LinkState, MarkMade
from groundstation.recording import growing, scribe, writer
from groundstation.recording.backlog import OVERHEAD_BYTES, Backlog, Entry
from groundstation.recording.reader import open_session
from groundstation.recording.writer import Recorder
from protocol.table import standard_text
from tests.groundstation.recording.examples import STARTED, STEM, recorder, some_inbound


def test_a_clean_end_leaves_one_file_named_after_the_vehicle(tmp_path: Path) -> None:
    folder = tmp_path / "not" / "there yet"
    with recorder(folder) as recording:
        assert recording.flush()
        assert recording.path == folder / f"{STEM}.session"
        recording.record(BytesReceived(0.0, b"abc"))
        path = recording.close(end_at_s=1.5, summary={}, vehicle_name="Needle 3")
    assert path == folder / f"{STEM}_Needle-3.session"
    assert list(folder.iterdir()) == [path]


def test_a_session_without_a_vehicle_keeps_its_name(tmp_path: Path) -> None:
    with recorder(tmp_path) as recording:
        path = recording.close(end_at_s=0.0, summary={}, vehicle_name=None)
    assert path == tmp_path / f"{STEM}.session"


def test_sessions_of_one_moment_get_names_of_their_own(tmp_path: Path) -> None:
    # As where the clock is set back, or where two programs start in the same second.
    paths = []
    for number in range(3):
        with recorder(tmp_path, number=number) as recording:
            paths.append(recording.close(end_at_s=0.0, summary={}, vehicle_name="Needle"))
    with recorder(tmp_path) as running, recorder(tmp_path) as other:
        assert running.flush()
        assert other.flush()
        assert running.path is not None
        assert other.path is not None
        names = {running.path.name, other.path.name}
    assert [path.name for path in paths if path] == [
        f"{STEM}_Needle.session",
        f"{STEM}_Needle-2.session",
        f"{STEM}_Needle-3.session",
    ]
    assert names == {f"{STEM}.session", f"{STEM}-2.session"}
    assert [open_session(path).info.facts["number"] for path in paths if path] == [0, 1, 2]


def test_the_file_tells_what_the_session_was(tmp_path: Path) -> None:
    facts = {"setup": {"tyres": "invented 42", "ballast_g": 120}, "extra_table": "[[kind]]"}
    with recorder(tmp_path, **facts) as recording:
        recording.set_fact("notes", ["dry", "wind from the left"])
        recording.note_event(2.0, 101.5, "pass", "pass 1: peak 212.0 km/h")
        recording.note_event(0.5, None, "source", "connected\x1b[2J")
        recording.record(BytesReceived(0.0, b"abc"))
        recording.record(BytesReceived(3.0, b"def"))
        recording.close(
            end_at_s=3.25, summary={"frames": 2, "peak": float("nan")}, vehicle_name="A\x1b[2J"
        )
        assert recording.path is not None
    session = open_session(recording.path)
    info = session.info
    assert info.path == recording.path
    assert info.started == STARTED
    assert info.started.utcoffset() == STARTED.utcoffset()
    assert info.software_version == "9.8.7"
    assert info.table_text == standard_text()
    assert info.facts == facts | {
        "notes": ["dry", "wind from the left"],
        "vehicle_name": "A\x1b[2J",
    }
    assert info.vehicle_name == "A\ufffd[2J"
    assert info.summary == {"frames": 2, "peak": None}
    assert info.ended_cleanly
    assert info.end_at_s == session.end_at_s == 3.25
    assert info.duration_s == 3.25
    assert session.events() == [
        (0.5, "source", "connected\ufffd[2J"),
        (2.0, "pass", "pass 1: peak 212.0 km/h"),
    ]


def test_the_start_has_an_offset_even_where_the_caller_gives_none(tmp_path: Path) -> None:
    naive = datetime(2031, 5, 4, 14, 22, 33)
    with Recorder(tmp_path, facts={}, started=naive, software_version="1") as recording:
        path = recording.close(end_at_s=0.0, summary={}, vehicle_name=None)
    assert path is not None
    started = open_session(path).info.started
    assert started == naive.astimezone()
    assert started.tzinfo is not None


def test_the_last_bytes_may_come_after_the_end_that_was_told(tmp_path: Path) -> None:
    with recorder(tmp_path) as recording:
        recording.record(BytesReceived(7.0, b"abc"))
        path = recording.close(end_at_s=6.95, summary={}, vehicle_name=None)
    assert path is not None
    assert open_session(path).end_at_s == 7.0


def test_states_are_kept_for_seeking(tmp_path: Path) -> None:
    with recorder(tmp_path) as recording:
        recording.keep_checkpoint(30.0, b"first")
        recording.keep_checkpoint(60.0, b"second")
        recording.keep_checkpoint(60.0, b"second again")
        path = recording.close(end_at_s=90.0, summary={}, vehicle_name=None)
    assert path is not None
    session = open_session(path)
    assert session.checkpoint_before(29.9) is None
    assert session.checkpoint_before(30.0) == (30.0, b"first")
    assert session.checkpoint_before(59.0) == (30.0, b"first")
    assert session.checkpoint_before(1e9) == (60.0, b"second again")


def test_closing_again_returns_the_same_file_and_nothing_more_is_taken(tmp_path: Path) -> None:
    recording = recorder(tmp_path)
    recording.record(BytesReceived(0.0, b"abc"))
    path = recording.close(end_at_s=0.0, summary={}, vehicle_name="Needle")
    assert recording.close(end_at_s=9.0, summary={}, vehicle_name="Other") == path
    recording.record(BytesReceived(1.0, b"defg"))
    assert recording.lost_bytes == 4
    assert not recording.flush()
    assert path is not None
    assert list(open_session(path).inbound()) == [BytesReceived(0.0, b"abc")]


def test_an_error_in_the_program_leaves_a_session_that_did_not_end_cleanly(tmp_path: Path) -> None:
    inbound = some_inbound(100)

    def crash() -> None:
        with recorder(tmp_path) as recording:
            for each in inbound:
                recording.record(each)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        crash()
    (path,) = tmp_path.iterdir()
    session = open_session(path)
    assert list(session.inbound()) == inbound
    assert not session.info.ended_cleanly
    assert session.info.end_at_s == inbound[-1].at_s


def test_a_recorder_that_is_forgotten_says_so(tmp_path: Path) -> None:
    recording = recorder(tmp_path)
    recording.record(BytesReceived(0.0, b"abc"))
    assert recording.flush()
    path, thread = recording.path, recording._thread
    with pytest.warns(ResourceWarning, match=r"unclosed recorder of .*\.session"):
        del recording  # the last reference: it is finalised here
    thread.join()
    assert path is not None
    assert list(open_session(path).inbound()) == [BytesReceived(0.0, b"abc")]


def test_a_fact_that_json_cannot_hold_is_refused_at_once(tmp_path: Path) -> None:
    with pytest.raises(TypeError):
        recorder(tmp_path, wrong=object())
    with recorder(tmp_path) as recording, pytest.raises(TypeError):
        recording.set_fact("wrong", {1, 2})


def test_text_that_is_no_unicode_is_recorded_all_the_same(tmp_path: Path) -> None:
    inbound = [MarkMade(0.0, "\ud800"), LinkChanged(1.0, LinkState.LOST, "caf\udce9")]
    with recorder(tmp_path, name="\ud800") as recording:
        for each in inbound:
            recording.record(each)
        recording.note_event(0.0, None, "mark", "\ud800")
        recording.set_fact("\ud800", "\ud800")
        assert recording.flush()
        assert recording.lost_bytes == 0
        assert not recording.trouble
        path = recording.close(end_at_s=2.0, summary={"\ud800": 1}, vehicle_name="\ud800")
    assert path is not None
    session = open_session(path)
    assert list(session.inbound()) == inbound
    assert session.events() == [(0.0, "mark", "?")]
    assert session.info.facts["name"] == "\ud800"


def test_what_no_file_can_hold_does_not_stand_in_the_way_of_the_rest(tmp_path: Path) -> None:
    with recorder(tmp_path) as recording:
        recording.record(BytesReceived(0.0, bytes(5 << 20)))
        recording.note_event(float("nan"), None, "mark", "at no time")
        recording.record(BytesReceived(1.0, b"abc"))
        assert recording.flush()
        assert recording.lost_bytes == 5 << 20
        assert recording.path is not None
        path = recording.path
    assert list(open_session(path).inbound()) == [BytesReceived(1.0, b"abc")]


def test_rows_are_made_safe_against_a_power_cut_in_time(tmp_path: Path) -> None:
    """A commit under synchronous=FULL is seen in `safe_until_s`, which only it writes."""
    now_s = [100.0]
    recording = Recorder(
        tmp_path, facts={}, started=STARTED, software_version="1", now_s=lambda: now_s[0]
    )

    def safe_until_s() -> float | None:
        assert recording.path is not None
        with sqlite3.connect(recording.path) as connection:
            query = "SELECT value FROM meta WHERE key = 'safe_until_s'"
            row = connection.execute(query).fetchone()
        connection.close()
        return float(row[0]) if row else None

    with recording:
        recording.record(BytesReceived(0.125, b"a"))
        assert recording.flush()
        assert safe_until_s() is None
        now_s[0] += scribe.SYNC_S
        assert recording.flush()
        assert safe_until_s() == 0.125
        recording.record(BytesReceived(0.25, b"b"))
        recording.record(BytesReceived(0.375, b"c"))
        assert recording.flush()
        assert safe_until_s() == 0.125
        now_s[0] += scribe.SYNC_S
        assert recording.flush()
        assert safe_until_s() == 0.375


def test_half_a_second_holds_a_sync_and_the_wait_for_it() -> None:
    assert scribe.SYNC_S <= 0.25


@pytest.fixture
def stuck_disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Keep every write of a row waiting until the event is set."""
    free = threading.Event()
    write = growing.GrowingFile.write

    def wait_and_write(self: growing.GrowingFile, entries: Sequence[Entry]) -> list[int]:
        assert free.wait(30)
        return write(self, entries)

    monkeypatch.setattr(growing.GrowingFile, "write", wait_and_write)
    yield free
    free.set()


def test_a_disk_that_hangs_holds_nobody_up_and_costs_only_the_newest_bytes(
    tmp_path: Path, stuck_disk: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    room_for = 20
    limit_bytes = room_for * (OVERHEAD_BYTES + 10)
    monkeypatch.setattr(writer, "Backlog", partial(Backlog, limit_bytes=limit_bytes))
    chunks = [BytesReceived(number / 10, bytes([number]) * 10) for number in range(30)]
    with recorder(tmp_path) as recording:
        for chunk in chunks:
            recording.record(chunk)
        recording.keep_checkpoint(3.0, b"a state")
        recording.record(MarkMade(3.0, "here"))
        recording.record(LinkChanged(3.0, LinkState.LOST))
        assert recording.lost_bytes == 100
        assert "too slow" in recording.trouble
        stuck_disk.set()
        assert recording.flush()
        assert not recording.trouble
        recording.record(BytesReceived(4.0, b"after"))
        path = recording.close(end_at_s=4.0, summary={}, vehicle_name=None)
    assert recording.lost_bytes == 100
    assert path is not None
    session = open_session(path)
    assert list(session.inbound()) == [
        *chunks[:room_for],
        MarkMade(3.0, "here"),
        LinkChanged(3.0, LinkState.LOST),
        BytesReceived(4.0, b"after"),
    ]
    assert session.events() == [
        (2.0, "recording", "100 bytes lost from 2.0 s on: the disk is too slow")
    ]
    assert session.checkpoint_before(9.0) is None
