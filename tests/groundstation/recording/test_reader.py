"""A session file read: events, index, checkpoints, notes."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundstation.errors import SessionFileError
from groundstation.inbound import BytesReceived, DriverPlaced
from groundstation.recording import names
from groundstation.recording.reader import list_sessions, open_session
from tests.groundstation.recording.examples import record, recorder, some_inbound
from tests.groundstation.recording.victim import ROOT


def test_a_session_can_be_read_while_it_is_recorded(tmp_path: Path) -> None:
    first, then = some_inbound(300), [BytesReceived(100.0, b"and then")]
    with recorder(tmp_path) as recording:
        for each in first:
            recording.record(each)
        assert recording.flush()
        assert recording.path is not None
        session = open_session(recording.path)
        reading = session.inbound()
        assert [next(reading) for _ in range(10)] == first[:10]
        recording.record(then[0])
        assert recording.flush()
        assert list(session.inbound()) == [*first, *then]
        assert session.columns().data.endswith(b"and then")
        assert not session.info.ended_cleanly
        path = recording.close(end_at_s=100.0, summary={}, vehicle_name="Needle")
    assert path is not None
    assert list(tmp_path.iterdir()) == [path]
    assert list(open_session(path).inbound()) == [*first, *then]


def test_facts_and_notes_can_be_added_afterwards(tmp_path: Path) -> None:
    path = record(tmp_path, some_inbound(50))
    session = open_session(path)
    reading = session.inbound()
    next(reading)
    session.add_note("rear tyres were at 41 \u00b0C")
    session.add_note("second thoughts\nin two lines")
    session.set_fact("setup", {"ballast_g": 150})
    session.set_fact("setup", {"ballast_g": 160})
    notes = ["rear tyres were at 41 \u00b0C", "second thoughts\nin two lines"]
    assert session.info.facts == {"notes": notes, "setup": {"ballast_g": 160}}
    assert open_session(path).info == session.info
    assert list(session.inbound()) == some_inbound(50)
    assert list(tmp_path.iterdir()) == [path]


def test_the_drivers_last_place_is_found(tmp_path: Path) -> None:
    assert open_session(record(tmp_path / "none", some_inbound(50))).driver_placed() is None
    placed = [DriverPlaced(0.5, 50.0, 8.0), DriverPlaced(0.7, 50.1, 8.1)]
    path = record(tmp_path / "twice", [*some_inbound(50), *placed, BytesReceived(0.9, b"end")])
    assert open_session(path).driver_placed() == placed[1]


def test_a_note_joins_the_notes_made_during_the_session(tmp_path: Path) -> None:
    with recorder(tmp_path, notes=["before"]) as recording:
        path = recording.close(end_at_s=0.0, summary={}, vehicle_name=None)
    assert path is not None
    session = open_session(path)
    session.add_note("after")
    assert session.info.facts["notes"] == ["before", "after"]


def test_a_note_in_a_session_that_is_recorded_disturbs_nothing(tmp_path: Path) -> None:
    with recorder(tmp_path) as recording:
        recording.record(BytesReceived(0.0, b"a"))
        assert recording.flush()
        assert recording.path is not None
        open_session(recording.path).add_note("seen from elsewhere")
        recording.record(BytesReceived(1.0, b"b"))
        assert recording.flush()
        assert not recording.trouble
        path = recording.close(end_at_s=1.0, summary={}, vehicle_name=None)
    assert path is not None
    assert list(tmp_path.iterdir()) == [path]
    assert open_session(path).info.facts == {"notes": ["seen from elsewhere"]}
    assert [each.at_s for each in open_session(path).inbound()] == [0.0, 1.0]


def test_a_fact_that_json_cannot_hold_is_the_callers_mistake(tmp_path: Path) -> None:
    session = open_session(record(tmp_path, []))
    with pytest.raises(TypeError):
        session.set_fact("setup", object())
    assert session.info.facts == {}


def test_sessions_are_listed_by_time_and_bad_ones_with_their_problem(tmp_path: Path) -> None:
    good = record(tmp_path, some_inbound(50))
    (tmp_path / "20300101-000000.session").write_bytes(b"")
    (tmp_path / "20300101-000001.session").write_text("text, not a session")
    (tmp_path / "20990101-000000.session").mkdir()
    (tmp_path / "notes.txt").write_text("no session at all")
    empty, text, listed, folder = list_sessions(tmp_path)
    assert listed == open_session(good).info
    assert not listed.problem
    assert "is empty" in empty.problem
    assert "is not a session file" in text.problem
    assert "is not a file" in folder.problem
    assert empty.started is None
    assert list_sessions(tmp_path / "nowhere") == []


def test_a_path_with_every_odd_character(tmp_path: Path) -> None:
    path = record(tmp_path, some_inbound(50))
    odd = tmp_path / "100%?mode=rwc#frag ment&x=\u00e9'.session"
    path.rename(odd)
    assert list(open_session(odd).inbound()) == some_inbound(50)
    open_session(odd).add_note("found")
    assert list(tmp_path.iterdir()) == [odd]


READ_IN_A_CHILD = """
import json, os, sys
from pathlib import Path
import numpy
from groundstation.errors import SessionFileError
from groundstation.recording import columns
from groundstation.recording.reader import open_session
if os.geteuid() == 0:
    os.seteuid(65534)  # root may write anywhere
session = open_session(Path(sys.argv[1]))
count = sum(1 for _ in session.inbound())
at_s = [each.at_s for each in session.inbound(1.0)]
assert len(session.columns().at_s) > 0
try:
    session.add_note("not here")
    refused = ""
except SessionFileError as error:
    refused = str(error)
print(json.dumps([count, at_s[0], refused]))
"""


@pytest.fixture
def shared_folder() -> Iterator[Path]:
    """A folder that other users can read."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def kill_recording(source: Path, to: Path) -> Path:
    """Return a copy of a session as a kill leaves it: part of it in the write-ahead log."""
    with recorder(source) as recording:
        for each in some_inbound(300):
            recording.record(each)
        assert recording.flush()
        assert recording.path is not None
        for part in (recording.path, *names.side_files(recording.path)):
            shutil.copy(part, to / part.name)
        return to / recording.path.name


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs another user's eyes")
@pytest.mark.parametrize("left", [("-wal", "-shm"), ("-wal",), ()])
def test_a_killed_session_opens_in_a_read_only_folder(
    tmp_path: Path, shared_folder: Path, left: tuple[str, ...]
) -> None:
    path = kill_recording(tmp_path, shared_folder)
    if not left:  # the last rows go with the log, as where somebody copied one file of the three
        with sqlite3.connect(path) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
    for side in names.side_files(path):
        if not side.name.endswith(left or ("nothing",)):
            side.unlink()
    before = {part.name: part.read_bytes() for part in shared_folder.iterdir()}
    for part in shared_folder.iterdir():
        part.chmod(0o444)
    shared_folder.chmod(0o555)
    command = [sys.executable, "-c", READ_IN_A_CHILD, str(path)]
    with tempfile.TemporaryDirectory() as scratch:
        Path(scratch).chmod(0o777)
        environment = os.environ | {"TMPDIR": scratch}
        child = subprocess.run(
            command, cwd=ROOT, capture_output=True, text=True, check=True, env=environment
        )
        assert list(Path(scratch).iterdir()) == []
    count, first_at_s, refused = json.loads(child.stdout)
    assert count == len(some_inbound(300))
    assert first_at_s >= 1.0
    assert "cannot be changed" in refused
    shared_folder.chmod(0o755)
    assert {part.name: part.read_bytes() for part in shared_folder.iterdir()} == before


OPEN_IN_A_CHILD = """
import os, sys
from pathlib import Path
from groundstation.errors import SessionFileError
from groundstation.recording.capture import open_tape
if os.geteuid() == 0:
    os.seteuid(65534)
try:
    open_tape(Path(sys.argv[1]))
except SessionFileError as error:
    print(error)
"""


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs another user's eyes")
def test_a_file_that_may_not_be_read(tmp_path: Path, shared_folder: Path) -> None:
    path = Path(shutil.copy(record(tmp_path, some_inbound(10)), shared_folder))
    path.chmod(0)
    command = [sys.executable, "-c", OPEN_IN_A_CHILD, str(path)]
    child = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert child.stdout.startswith(f"{path} cannot be read")


@pytest.mark.skipif(sys.platform == "win32", reason="there are no named pipes in folders")
def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.session")
    with pytest.raises(SessionFileError, match="is not a file"):
        open_session(tmp_path / "pipe.session")


@pytest.mark.parametrize("name", ["nowhere.session", "nul\0.session", "x" * 5000])
def test_a_path_that_leads_nowhere(tmp_path: Path, name: str) -> None:
    with pytest.raises(SessionFileError):
        open_session(tmp_path / name)
