"""What was recorded comes back as it was."""

from __future__ import annotations

import random
import sqlite3
import tempfile
from dataclasses import replace
from math import inf, nan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.inbound import (
    BytesReceived,
    Inbound,
    LinkChanged,
    LinkState,
    MarkMade,
    TelemetrySignal,
)
from groundstation.recording.compaction import BLOCK_BYTES
from groundstation.recording.reader import open_session
from groundstation.recording.rows import STRAY_S
from protocol import Receiver, SampleReceived, Sender
from protocol.batch import decode
from tests.groundstation.recording.examples import record, sessions, some_inbound


def rows_of(path: Path) -> int:
    with sqlite3.connect(path) as connection:
        (count,) = connection.execute("SELECT count(*) FROM inbound").fetchone()
    connection.close()
    return int(count)


def check_columns(path: Path, inbound: list[Inbound]) -> None:
    chunks = [each for each in inbound if isinstance(each, BytesReceived)]
    columns = open_session(path).columns()
    assert columns.data == b"".join(chunk.data for chunk in chunks)
    assert columns.at_s.tolist() == [chunk.at_s for chunk in chunks]
    assert columns.sizes.tolist() == [len(chunk.data) for chunk in chunks]
    assert columns.at_s.dtype == np.float64
    assert columns.sizes.dtype == np.uint32
    restarts, size = set(), 0
    for each in inbound:
        size += len(each.data) if isinstance(each, BytesReceived) else 0
        if isinstance(each, LinkChanged) and each.state is LinkState.CONNECTED:
            restarts.add(size)
    assert columns.restarts.tolist() == sorted(restarts)


@settings(max_examples=60, deadline=None)
@given(inbound=sessions(), clean=st.booleans())
def test_what_is_read_is_what_was_recorded(inbound: list[Inbound], clean: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = record(Path(folder), inbound, clean=clean)
        assert list(open_session(path).inbound()) == inbound
        check_columns(path, inbound)


@settings(max_examples=40, deadline=None)
@given(inbound=sessions(), data=st.data())
def test_reading_from_a_moment_leaves_out_what_came_before(
    inbound: list[Inbound], data: st.DataObject
) -> None:
    moments_s = [0.0, *(each.at_s for each in inbound)]
    from_at_s = data.draw(st.one_of(st.sampled_from(moments_s), st.floats(-2.0, 1e5)))
    with tempfile.TemporaryDirectory() as folder:
        session = open_session(record(Path(folder), inbound, clean=data.draw(st.booleans())))
        assert list(session.inbound(from_at_s)) == [e for e in inbound if e.at_s >= from_at_s]


def test_a_clean_end_merges_chunks_and_changes_nothing(tmp_path: Path) -> None:
    inbound = some_inbound(2000)
    single = record(tmp_path / "killed", inbound, clean=False)
    merged = record(tmp_path / "clean", inbound)
    assert rows_of(single) == len(inbound)
    assert rows_of(merged) < len(inbound) / 10
    assert list(open_session(single).inbound()) == inbound
    assert list(open_session(merged).inbound()) == inbound
    check_columns(single, inbound)
    check_columns(merged, inbound)


def test_a_batch_decoder_finds_in_the_columns_what_a_receiver_finds_in_the_events(
    tmp_path: Path,
) -> None:
    """Frames cut anywhere, over a link that is lost and opened again in the middle of a frame."""
    sender, chance = Sender(), random.Random(3)
    frames = [sender.encode("motion", {"speed_mps": n / 9}, n * 10_000) for n in range(300)]
    stream, inbound, place = b"".join(frames), list[Inbound](), 0
    for number in range(600):
        if number % 50 == 0:
            inbound.append(LinkChanged(number / 100, LinkState.CONNECTED))
        size = chance.randint(0, 30)
        inbound.append(BytesReceived(number / 100, stream[place : place + size]))
        place += size

    receiver, heard = Receiver(), list[tuple[float, float | None]]()
    for each in inbound:
        if isinstance(each, LinkChanged):
            receiver.link_restarted()
        elif isinstance(each, BytesReceived):
            events = receiver.receive_data(each.data, each.at_s)
            heard += [(e.vehicle_s, e.at_s) for e in events if isinstance(e, SampleReceived)]
    assert 100 < len(heard) < 300

    columns = open_session(record(tmp_path, inbound)).columns()
    batch = decode(columns.data, columns.at_s, columns.sizes, restarts=columns.restarts)
    times = batch.times("motion")
    assert list(zip(times.vehicle_s.tolist(), times.at_s.tolist(), strict=True)) == heard


def test_blocks_stay_short_in_time_and_in_bytes(tmp_path: Path) -> None:
    slow = [BytesReceived(number * 0.4, b"slow") for number in range(9)]
    fast = [BytesReceived(10.0, bytes(BLOCK_BYTES // 3)) for _ in range(9)]
    path = record(tmp_path, [*slow, *fast])
    with sqlite3.connect(path) as connection:
        sizes = connection.execute("SELECT length(sizes) / 4 FROM inbound ORDER BY id").fetchall()
    connection.close()
    assert [count for (count,) in sizes] == [3, 3, 3, 3, 3, 3]
    assert list(open_session(path).inbound()) == [*slow, *fast]


def test_an_empty_session_reads_as_nothing(tmp_path: Path) -> None:
    session = open_session(record(tmp_path, []))
    assert list(session.inbound()) == []
    assert list(session.inbound(3.0)) == []
    assert session.columns().data == b""
    assert session.columns().at_s.shape == (0,)
    assert session.info.duration_s == 0.0


def test_a_mark_stamped_a_little_early_keeps_its_time_and_its_place(tmp_path: Path) -> None:
    inbound: list[Inbound] = [
        BytesReceived(0.0, b"a"),
        BytesReceived(2.0, b"b"),
        MarkMade(2.0 - STRAY_S / 2),
        BytesReceived(2.0, b"c"),
        BytesReceived(9.0, b"d"),
    ]
    session = open_session(record(tmp_path, inbound))
    assert list(session.inbound()) == inbound
    assert list(session.inbound(1.4)) == inbound[1:]
    assert list(session.inbound(1.6)) == [inbound[1], inbound[3], inbound[4]]


@pytest.mark.parametrize("at_s", [nan, inf, -inf, 1.0])
def test_an_impossible_time_is_mended_so_that_the_file_can_be_read(
    tmp_path: Path, at_s: float
) -> None:
    first = BytesReceived(2.0, b"a")
    wrong: list[Inbound] = [
        BytesReceived(at_s, b"b"),
        replace(MarkMade(0.0), at_s=at_s - 1),
        TelemetrySignal(at_s - 1, -70.0),
    ]
    got = list(open_session(record(tmp_path, [first, *wrong])).inbound())
    assert got[:2] == [first, BytesReceived(2.0, b"b")]
    assert [each.at_s for each in got[2:]] == [2.0 - STRAY_S] * 2


def test_a_session_that_begins_with_an_impossible_time_begins_at_zero(tmp_path: Path) -> None:
    path = record(tmp_path, [BytesReceived(nan, b"a"), BytesReceived(0.5, b"b")])
    assert [each.at_s for each in open_session(path).inbound()] == [0.0, 0.5]
