from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.errors import SessionFileError
from groundstation.inbound import BytesReceived
from groundstation.recording import capture
from groundstation.recording.capture import Capture, open_capture, open_tape
from groundstation.recording.reader import SessionFile
from groundstation.recording.tape import Tape
from protocol import FrameEvent, Receiver, SampleReceived, Sender, load_table
from protocol.order import CLOCK_WRAP_US
from tests.groundstation.recording.examples import record, some_inbound


def frames(count: int, *, vehicle: int = 1, start_us: int = 5_000_000) -> list[bytes]:
    """Return motion frames at 100 Hz."""
    sender = Sender(vehicle=vehicle)
    return [
        sender.encode("motion", {"speed_mps": number / 10}, start_us + number * 10_000)
        for number in range(count)
    ]


def captured(folder: Path, data: bytes) -> Capture:
    path = folder / "capture.bin"
    path.write_bytes(data)
    return open_capture(path)


def frame_events(tape: Tape) -> list[FrameEvent]:
    receiver = Receiver()
    found = []
    for inbound in tape.inbound():
        assert isinstance(inbound, BytesReceived)
        found += receiver.receive_data(inbound.data, inbound.at_s)
    return found


def test_each_frame_arrives_at_its_own_vehicle_time(tmp_path: Path) -> None:
    sent = frames(50)
    tape = captured(tmp_path, b"".join(sent))
    got = list(tape.inbound())
    assert [inbound.data for inbound in got] == sent
    assert [inbound.at_s for inbound in got] == pytest.approx([n / 100 for n in range(50)])
    assert tape.end_at_s == got[-1].at_s
    assert tape.events() == []
    assert tape.checkpoint_before(0.3) is None


def test_what_is_no_frame_arrives_with_the_frame_before(tmp_path: Path) -> None:
    first, second, third = frames(3)
    damaged = bytes([second[0], second[1] ^ 1 or 2]) + second[2:]
    tape = captured(tmp_path, b"\x07joined midway\0" + first + damaged + b"\0\0" + third + b"tail")
    assert [(each.at_s, each.data) for each in tape.inbound()] == [
        (0.0, b"\x07joined midway\0"),
        (0.0, first),
        (0.0, damaged),
        (pytest.approx(0.02), b"\0\0" + third),
        (pytest.approx(0.02), b"tail"),
    ]


def test_the_clock_of_the_first_vehicle_counts(tmp_path: Path) -> None:
    ours, theirs = frames(40), frames(40, vehicle=9, start_us=4_000_000_000)
    mixed = b"".join(one + other for one, other in zip(ours, theirs, strict=True))
    got = list(captured(tmp_path, mixed).inbound())
    assert [each.at_s for each in got] == pytest.approx([n // 2 / 100 for n in range(80)])


def test_times_go_on_where_the_vehicles_clock_wraps(tmp_path: Path) -> None:
    sent = frames(100, start_us=CLOCK_WRAP_US - 500_000)
    times_s = [each.at_s for each in captured(tmp_path, b"".join(sent)).inbound()]
    assert times_s == pytest.approx([n / 100 for n in range(100)])


def test_times_go_on_over_a_reboot_and_never_go_back(tmp_path: Path) -> None:
    before, after = frames(100, start_us=100_000_000), frames(100, start_us=20_000)
    overtaken = after[40]
    sent = [*before, *after[:50], overtaken, *after[50:]]
    times_s = [each.at_s for each in captured(tmp_path, b"".join(sent)).inbound()]
    # A reboot takes no time: nothing tells how long it took.
    assert times_s[99] == times_s[100] == pytest.approx(0.99)
    assert times_s[149] == times_s[150] == pytest.approx(0.99 + 0.49)
    assert times_s[-1] == pytest.approx(0.99 + 0.99)


def test_a_builders_own_frames_carry_time_too(tmp_path: Path) -> None:
    extra = tmp_path / "own.toml"
    extra.write_text(
        '[[kind]]\nname = "tyre"\ncode = 0x80\n[[kind.field]]\nname = "tyre_c"\n'
        'type = "i16"\nmin = -40\nmax = 300\nunknown = -32768\n'
    )
    table = load_table(extra)
    sender = Sender(table)
    sent = [sender.encode("tyre", {"tyre_c": 40}, number * 1_000_000) for number in range(3)]
    path = tmp_path / "capture.bin"
    path.write_bytes(b"".join(sent))
    for known in (table, None):
        assert [each.at_s for each in open_capture(path, known).inbound()] == [0.0, 1.0, 2.0]


@settings(max_examples=60, deadline=None)
@given(
    pieces=st.lists(
        st.one_of(
            st.integers(0, 49), st.binary(max_size=90), st.integers(1, 5).map(lambda n: bytes(n))
        ),
        max_size=30,
    ),
    from_at_s=st.floats(-1.0, 1.0),
)
def test_any_capture_is_cut_into_blocks_without_losing_a_byte(
    tmp_path_factory: pytest.TempPathFactory, pieces: list[int | bytes], from_at_s: float
) -> None:
    sent = frames(50)
    parts = [sent[piece] if isinstance(piece, int) else piece for piece in pieces]
    data = b"".join([b"\0", sent[0], *parts])
    tape = captured(tmp_path_factory.mktemp("capture"), data)
    got = list(tape.inbound())
    assert b"".join(each.data for each in got) == data
    assert all(earlier.at_s <= later.at_s for earlier, later in pairwise(got))
    assert list(tape.inbound(from_at_s)) == [each for each in got if each.at_s >= from_at_s]

    columns = tape.columns()
    assert columns.data == data
    assert columns.at_s.tolist() == [each.at_s for each in got]
    assert columns.sizes.tolist() == [len(each.data) for each in got]
    assert columns.restarts.tolist() == []

    whole = [e for e in Receiver().receive_data(data) if isinstance(e, SampleReceived)]
    cut = [e for e in frame_events(tape) if isinstance(e, SampleReceived)]
    assert [(e.sequence, e.values) for e in cut] == [(e.sequence, e.values) for e in whole]


def test_the_first_frame_is_found_behind_garbage(tmp_path: Path) -> None:
    garbage = random.Random(1).randbytes(200_000)
    got = list(captured(tmp_path, garbage + b"\0" + b"".join(frames(3))).inbound())
    assert [each.at_s for each in got[-3:]] == pytest.approx([0.0, 0.01, 0.02])


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"", "is empty"),
        (b"plain text, saved by mistake\n" * 100, "holds no frame"),
        (bytes(100_000), "holds no frame"),
        (b"\xff" * 100_000, "holds no frame"),
        (random.Random(2).randbytes(100_000), "holds no frame"),
        (frames(1)[0][:-1], "holds no frame"),
    ],
)
def test_a_file_without_a_frame_is_refused(tmp_path: Path, data: bytes, what: str) -> None:
    path = tmp_path / "capture.bin"
    path.write_bytes(data)
    with pytest.raises(SessionFileError, match=what) as caught:
        open_capture(path)
    assert caught.value.hint
    with pytest.raises(SessionFileError, match=what):
        open_tape(path)


def test_the_search_for_a_first_frame_has_an_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(capture, "SEARCHED_BYTES", 1000)
    path = tmp_path / "capture.bin"
    path.write_bytes(b"\1\0" * 1000 + frames(1)[0])
    with pytest.raises(SessionFileError, match="holds no frame"):
        open_capture(path)


def test_a_capture_too_long_to_be_one_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(capture, "MAX_CAPTURE_BYTES", 10)
    path = tmp_path / "capture.bin"
    path.write_bytes(frames(1)[0])
    with pytest.raises(SessionFileError, match="too long"):
        open_capture(path)


def test_the_content_decides_what_a_tape_is(tmp_path: Path) -> None:
    session = record(tmp_path, some_inbound(20)).rename(tmp_path / "session.bin")
    raw = tmp_path / "capture.session"
    raw.write_bytes(b"".join(frames(20)))
    assert isinstance(open_tape(session), SessionFile)
    assert isinstance(open_tape(raw), Capture)
    with pytest.raises(SessionFileError, match="does not exist"):
        open_tape(tmp_path / "nowhere")
    tapes: list[Tape] = [open_tape(session), open_tape(raw)]
    assert [len(list(tape.inbound())) for tape in tapes] == [len(some_inbound(20)), 20]
