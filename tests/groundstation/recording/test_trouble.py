"""Everything a disk can do to a recorder: it tells, the live session goes on, and so does it."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from groundstation.inbound import BytesReceived, Inbound, MarkMade
from groundstation.recording import compaction, store, writer
from groundstation.recording.backlog import OVERHEAD_BYTES, Backlog, Entry
from groundstation.recording.growing import GrowingFile
from groundstation.recording.reader import open_session
from groundstation.recording.rows import Row
from groundstation.recording.trouble import trouble_of
from tests.groundstation.recording.examples import STEM, recorder, some_inbound
from tests.groundstation.recording.victim import ROOT

FIRST, SECOND, THIRD = (some_inbound(200, seed=seed) for seed in (1, 2, 3))


def later(inbound: list[Inbound], by_s: float) -> list[Inbound]:
    return [replace(each, at_s=each.at_s + by_s) for each in inbound]


SESSION = [*FIRST, *later(SECOND, 10.0), *later(THIRD, 20.0)]


def hand_over(recording: writer.Recorder, inbound: list[Inbound]) -> bool:
    for each in inbound:
        recording.record(each)
    return recording.flush()


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    folder = tmp_path / "sessions"
    folder.write_text("in the way")
    with recorder(folder) as recording:
        assert not hand_over(recording, FIRST)
        assert "is not a folder" in recording.trouble
        assert recording.path is None
        assert recording.lost_bytes == 0
        folder.unlink()
        assert hand_over(recording, later(SECOND, 10.0))
        assert not recording.trouble
        path = recording.close(end_at_s=12.0, summary={}, vehicle_name="Needle")
    assert path == folder / f"{STEM}_Needle.session"
    session = open_session(path)
    assert list(session.inbound()) == [*FIRST, *later(SECOND, 10.0)]
    ((_, kind, text),) = session.events()
    assert kind == "recording"
    assert text.startswith("held up from 0.0 s to 11.5 s: ")
    assert text.endswith("sessions is not a folder; nothing lost")


def test_a_folder_that_never_comes(tmp_path: Path) -> None:
    (tmp_path / "sessions").write_text("in the way")
    with recorder(tmp_path / "sessions" / "below") as recording:
        assert not hand_over(recording, [BytesReceived(0.0, b"abcd")])
        assert recording.close(end_at_s=0.0, summary={}, vehicle_name="Needle") is None
    assert recording.lost_bytes == 4
    assert "is not a folder" in recording.trouble


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write")
def test_a_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with recorder(tmp_path) as recording:
        assert not hand_over(recording, FIRST)
        assert "may not be written" in recording.trouble
        tmp_path.chmod(0o700)
        assert recording.flush()
        path = recording.close(end_at_s=2.0, summary={}, vehicle_name=None)
    assert path is not None
    assert list(open_session(path).inbound()) == FIRST


def test_a_folder_that_vanishes_comes_back_with_all_that_was_in_it(tmp_path: Path) -> None:
    folder, now_s = tmp_path / "sessions", [0.0]
    with recorder(folder) as recording:
        recording._scribe._now_s = lambda: now_s[0]
        assert hand_over(recording, FIRST)
        shutil.rmtree(folder)
        now_s[0] = 1e6  # the next sync is due: there the loss is noticed
        hand_over(recording, later(SECOND, 10.0))
        assert hand_over(recording, later(THIRD, 20.0))
        assert not recording.trouble
        path = recording.close(end_at_s=22.0, summary={}, vehicle_name="Needle")
    assert recording.lost_bytes == 0
    assert path is not None
    assert list(folder.iterdir()) == [path]
    session = open_session(path)
    assert list(session.inbound()) == SESSION
    assert "vanished" in session.events()[0].text


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Let a database grow no further than so many pages; SQLite says then that the disk is full."""
    pages = [1 << 30]
    connect = sqlite3.connect

    class Connection(sqlite3.Connection):
        def execute(self, sql: str, values: object = ()) -> sqlite3.Cursor:
            super().execute(f"PRAGMA max_page_count = {pages[0]}")
            return super().execute(sql, values)  # type: ignore[arg-type]

    monkeypatch.setattr(store.sqlite3, "connect", partial(connect, factory=Connection))
    return pages


def test_a_file_that_was_exchanged_is_left_and_the_session_goes_on_in_another(
    tmp_path: Path, full_disk: list[int]
) -> None:
    with recorder(tmp_path) as recording:
        assert recording.flush()
        full_disk[0] = 1
        chunks: list[Inbound] = []
        while not recording.trouble:
            chunks.append(BytesReceived(len(chunks) / 100, bytes(1000)))
            hand_over(recording, chunks[-1:])
        exchanged = recording.path
        assert exchanged is not None
        (tmp_path / "other").write_bytes(b"not what it was" * 5000)
        (tmp_path / "other").replace(exchanged)
        full_disk[0] = 1 << 30
        assert recording.flush()
        assert not recording.trouble
        path = recording.close(end_at_s=22.0, summary={}, vehicle_name="Needle")
    assert path == tmp_path / f"{STEM}_Needle.session"
    # What was written before went with the old file; what waited is in the new one.
    assert list(open_session(path).inbound()) == chunks[-1:]
    assert exchanged.read_bytes().startswith(b"not what it was")
    assert recording.lost_bytes == 0


def test_a_file_that_turns_out_damaged_is_left_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write, damaged = GrowingFile.write, list[Path]()

    def write_unless_damaged(self: GrowingFile, entries: Sequence[Entry]) -> list[int]:
        if self.path in damaged:
            raise sqlite3.DatabaseError("database disk image is malformed")
        return write(self, entries)

    monkeypatch.setattr(GrowingFile, "write", write_unless_damaged)
    with recorder(tmp_path) as recording:
        assert hand_over(recording, FIRST)
        assert recording.path is not None
        damaged.append(recording.path)
        hand_over(recording, SECOND)  # whether another file is begun at once is a matter of time
        assert recording.flush()
        path = recording.close(end_at_s=2.0, summary={}, vehicle_name=None)
    assert path == tmp_path / f"{STEM}-2.session"
    assert list(open_session(damaged[0]).inbound()) == FIRST
    session = open_session(path)
    assert len(list(session.inbound())) == len(SECOND)
    assert "the session file was damaged" in session.events()[0].text
    assert recording.lost_bytes == 0


def test_an_error_in_the_recorder_itself_is_told_and_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(self: GrowingFile, entries: Sequence[Entry]) -> list[int]:
        raise AssertionError("invented")

    with recorder(tmp_path) as recording:
        assert hand_over(recording, FIRST)
        monkeypatch.setattr(GrowingFile, "write", break_down)
        assert not hand_over(recording, [BytesReceived(10.0, b"abcd")])
        assert "an error in this program" in recording.trouble
        assert recording.lost_bytes == 4
        recording.record(BytesReceived(11.0, b"efgh"))
        assert recording.lost_bytes == 8
        path = recording.close(end_at_s=11.0, summary={}, vehicle_name=None)
    assert path is not None
    session = open_session(path)
    assert list(session.inbound()) == FIRST
    assert not session.info.ended_cleanly


def test_a_full_disk_costs_only_what_memory_cannot_hold(
    tmp_path: Path, full_disk: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    size, room_for = 1000, 50
    limit_bytes = room_for * (size + OVERHEAD_BYTES)
    monkeypatch.setattr(writer, "Backlog", partial(Backlog, limit_bytes=limit_bytes))
    with recorder(tmp_path) as recording:
        assert recording.flush()
        full_disk[0] = 1
        chunks: list[Inbound] = []
        while not recording.trouble:
            chunks.append(BytesReceived(len(chunks) / 100, bytes(size)))
            hand_over(recording, chunks[-1:])
        assert "the disk is full" in recording.trouble
        beyond = [BytesReceived(50.0 + number, bytes(size)) for number in range(room_for + 9)]
        mark = MarkMade(200.0, "here it went wrong")
        assert not hand_over(recording, [*beyond, mark])
        assert recording.lost_bytes == 10 * size
        full_disk[0] = 1 << 30
        assert recording.flush()
        assert not recording.trouble
        after = BytesReceived(201.0, b"after")
        assert hand_over(recording, [after])
        path = recording.close(end_at_s=201.0, summary={}, vehicle_name=None)
    assert path is not None
    session = open_session(path)
    assert list(session.inbound()) == [*chunks, *beyond[: room_for - 1], mark, after]
    ((at_s, kind, text),) = session.events()
    assert (at_s, kind) == (99.0, "recording")
    assert text == "10000 bytes lost from 99.0 s on: the disk is full"


FULL_IN_A_CHILD = """
import json, resource, sys
from pathlib import Path
from groundstation.recording import names
from tests.groundstation.recording.examples import recorder
from tests.groundstation.recording.test_trouble import FIRST, SECOND, THIRD, hand_over, later

no_limit = resource.getrlimit(resource.RLIMIT_FSIZE)
with recorder(Path(sys.argv[1])) as recording:
    assert hand_over(recording, FIRST)
    path = recording.path
    size = max(each.stat().st_size for each in [path, *names.side_files(path)])
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 5000, no_limit[1]))
    held = hand_over(recording, later(SECOND, 10.0))
    trouble = recording.trouble
    resource.setrlimit(resource.RLIMIT_FSIZE, no_limit)
    went_on = hand_over(recording, later(THIRD, 20.0))
    recording.close(end_at_s=22.0, summary={}, vehicle_name=None)
print(json.dumps([held, trouble, went_on, recording.trouble, recording.lost_bytes]))
"""


def test_writing_fails_in_the_system_and_works_again(tmp_path: Path) -> None:
    """RLIMIT_FSIZE: every write beyond a size fails with EFBIG, as root too."""
    pytest.importorskip("resource")
    command = [sys.executable, "-c", FULL_IN_A_CHILD, str(tmp_path)]
    child = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    held, trouble, went_on, trouble_after, lost_bytes = json.loads(child.stdout)
    assert not held
    assert trouble.startswith("Not recording: the disk cannot be written")
    assert went_on
    assert (trouble_after, lost_bytes) == ("", 0)
    (path,) = tmp_path.iterdir()
    session = open_session(path)
    assert list(session.inbound()) == SESSION
    assert session.info.ended_cleanly
    assert "the disk cannot be written" in session.events()[0].text


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of three megabytes, where the test may mount one."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("only root may mount a file system")
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no file system can be mounted here")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def fill(ballast: Path) -> None:
    """Write into a file until the disk is full."""
    with ballast.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(4096))


def test_a_disk_that_is_really_full(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    with recorder(small_disk) as recording:
        assert hand_over(recording, FIRST)
        fill(ballast)
        assert not hand_over(recording, later(SECOND, 10.0))
        assert "the disk is full" in recording.trouble
        ballast.unlink()
        assert hand_over(recording, later(THIRD, 20.0))
        path = recording.close(end_at_s=22.0, summary={}, vehicle_name=None)
    assert path is not None
    assert list(small_disk.iterdir()) == [path]
    assert list(open_session(path).inbound()) == SESSION
    assert "the disk is full; nothing lost" in open_session(path).events()[0].text


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (OSError(28, "No space left on device"), "the disk is full"),
        (PermissionError(13, "Permission denied"), "/s may not be written"),
        (OSError(30, "Read-only file system"), "/s may not be written"),
        (NotADirectoryError(20, "Not a directory"), "/s is not a folder"),
        (OSError(5, "Input/output error"), "the disk cannot be written"),
        (sqlite3.DatabaseError("malformed"), "the session file was damaged"),
    ],
)
def test_each_trouble_is_one_plain_sentence(error: Exception, reason: str) -> None:
    trouble = trouble_of(error, Path("/s"))
    assert trouble.reason.startswith(reason)
    assert str(trouble) == f"Not recording: {trouble.reason}; {trouble.advice}"
    assert trouble.advice


def test_the_disk_fills_up_at_the_very_end(tmp_path: Path, full_disk: list[int]) -> None:
    """Merging needs space of its own; without it the session stays as it was written."""
    with recorder(tmp_path) as recording:
        assert hand_over(recording, FIRST)
        full_disk[0] = 1
        path = recording.close(end_at_s=2.0, summary={}, vehicle_name=None)
    assert path is not None
    assert list(tmp_path.iterdir()) == [path]
    assert list(open_session(path).inbound()) == FIRST


def test_merging_that_fails_half_way_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    merge, merged = compaction._replace, list[int]()

    def merge_one_and_fail(connection: sqlite3.Connection, block: list[Row]) -> None:
        if merged:
            raise sqlite3.OperationalError("disk I/O error")
        merged.append(len(block))
        merge(connection, block)

    monkeypatch.setattr(compaction, "_replace", merge_one_and_fail)
    with recorder(tmp_path) as recording:
        assert hand_over(recording, SESSION)
        path = recording.close(end_at_s=22.0, summary={}, vehicle_name=None)
    assert merged
    assert path is not None
    assert list(tmp_path.iterdir()) == [path]
    assert list(open_session(path).inbound()) == SESSION
    assert open_session(path).info.ended_cleanly


def test_a_disk_that_is_full_from_the_start_is_left_clean(
    tmp_path: Path, full_disk: list[int]
) -> None:
    full_disk[0] = 1
    with recorder(tmp_path) as recording:
        assert not hand_over(recording, FIRST)
        assert "the disk is full" in recording.trouble
        assert recording.path is None
        assert list(tmp_path.iterdir()) == []
        full_disk[0] = 1 << 30
        assert recording.flush()
        path = recording.close(end_at_s=2.0, summary={}, vehicle_name=None)
    assert path is not None
    assert list(tmp_path.iterdir()) == [path]
    assert list(open_session(path).inbound()) == FIRST
