"""Bytes in, events out: however they are cut, whatever is wrong with them."""

from __future__ import annotations

import random
import tracemalloc

import pytest

from protocol import (
    FrameEvent,
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    Receiver,
    RejectReason,
    SampleReceived,
    Sender,
    VehicleRebooted,
)
from protocol.framing import MAX_ENCODED_BYTES, wrap
from protocol.table import HEADER
from tests.helpers import feed, feed_every_way
from tests.protocol.samples import MOTION, motion_frames, own_table


def frame(code: int, sequence: int, clock_us: int, payload: bytes, *, vehicle: int = 1) -> bytes:
    """Return any frame, right in its form whatever it says."""
    return wrap(HEADER.pack(code, vehicle, sequence, clock_us) + payload)


def kinds_of(events: list[FrameEvent]) -> list[str]:
    return [type(each).__name__ for each in events]


def test_a_sample_comes_back_with_all_that_its_header_says() -> None:
    sender = Sender(vehicle=7, sequence=300)
    (event,) = feed_every_way(sender.encode("motion", MOTION, 12_345_678), at_s=3.25)
    assert isinstance(event, SampleReceived)
    assert event.kind.name == "motion"
    assert (event.vehicle, event.sequence, event.vehicle_s) == (7, 300, 12.345678)
    assert (event.at_s, event.extra, event.late) == (3.25, b"", False)
    assert event.values == MOTION


def test_what_was_not_measured_is_none() -> None:
    (event,) = feed_every_way(Sender().encode("motion", {}, 0))
    assert isinstance(event, SampleReceived)
    assert set(event.values) == set(MOTION)
    assert set(event.values.values()) == {None}


def test_every_kind_in_one_stream() -> None:
    sender = Sender(own_table())
    stream = b"".join(
        sender.encode(kind.name, {}, 10_000 * number)
        for number, kind in enumerate(sender.table.kinds)
    )
    events = feed_every_way(stream, table=sender.table)
    assert [each.kind for each in events if isinstance(each, SampleReceived)] == [
        *sender.table.kinds
    ]


def test_a_gap_is_told_before_the_frame_behind_it() -> None:
    frames = motion_frames(6)
    events = feed_every_way(frames[0] + frames[1] + frames[5], at_s=1.0)
    assert kinds_of(events) == [
        "SampleReceived",
        "SampleReceived",
        "FramesMissed",
        "SampleReceived",
    ]
    assert events[2] == FramesMissed(1, 3, 1.0)


def test_a_late_frame_and_one_heard_twice() -> None:
    frames = motion_frames(3)
    events = feed_every_way(frames[0] + frames[2] + frames[1] + frames[2] + frames[2])
    samples = [each for each in events if isinstance(each, SampleReceived)]
    assert [each.sequence for each in samples] == [0, 2, 1, 2, 2]
    assert [each.late for each in samples] == [False, False, True, True, True]


def test_a_reboot_is_told_before_the_first_frame_after_it() -> None:
    receiver = Receiver()
    receiver.receive_data(Sender(sequence=900).encode("motion", MOTION, 60_000_000), 10.0)
    rebooted, sample = receiver.receive_data(Sender().encode("motion", MOTION, 400_000), 12.0)
    assert rebooted == VehicleRebooted(1, 12.0)
    assert isinstance(sample, SampleReceived)
    assert sample.vehicle_s == 62.0


def test_two_vehicles_on_one_channel_keep_their_own_order() -> None:
    ours, theirs = motion_frames(4, sequence=65_534), motion_frames(4, vehicle=2, sequence=500)
    stream = ours[0] + theirs[0] + ours[1] + theirs[3] + ours[2] + ours[3]
    events = feed_every_way(stream)
    assert [each for each in events if not isinstance(each, SampleReceived)] == [
        FramesMissed(2, 2, None)
    ]
    samples = [each for each in events if isinstance(each, SampleReceived)]
    assert [(each.vehicle, each.sequence) for each in samples] == [
        (1, 65_534), (2, 500), (1, 65_535), (2, 503), (1, 0), (1, 1),
    ]  # fmt: skip


def test_an_unknown_kind_is_kept_and_counts_in_the_order() -> None:
    stream = (
        frame(0x01, 1, 10_000, bytes(21))
        + frame(0x60, 3, 20_000, b"from the future")
        + frame(0x60, 4, 30_000, b"")
    )
    events = feed_every_way(stream)
    assert events[1:] == [
        FramesMissed(1, 1, None),
        FrameUnknown(0x60, 1, 3, 0.02, None, b"from the future"),
        FrameUnknown(0x60, 1, 4, 0.03, None, b""),
    ]


def test_a_builders_kind_is_unknown_without_the_builders_table() -> None:
    table = own_table()
    data = Sender(table).encode("motor", {"motor_rpm": 123_456, "note": "ok"}, 0)
    (unknown,) = feed_every_way(data)
    assert isinstance(unknown, FrameUnknown)
    (sample,) = feed_every_way(data, table=table)
    assert isinstance(sample, SampleReceived)
    assert sample.values == {"motor_rpm": 123_456, "tyre_temperature_c": None, "note": "ok"}


def test_a_longer_payload_keeps_the_bytes_that_are_not_known() -> None:
    power = Receiver().table.by_name["power"]
    known = power.encode({"pack_voltage_v": 15.5})
    (event,) = feed_every_way(frame(power.code, 0, 0, known + b"\x00new\x00"))
    assert isinstance(event, SampleReceived)
    assert event.values["pack_voltage_v"] == 15.5
    assert event.extra == b"\x00new\x00"


@pytest.mark.parametrize(
    ("block", "reason"),
    [
        (b"\x05\x11\x22", RejectReason.STUFFING),
        (b"\x01", RejectReason.TOO_SHORT),
        (wrap(b"too few")[:-1], RejectReason.TOO_SHORT),
        (frame(0x01, 0, 0, bytes(20))[:-1], RejectReason.TOO_SHORT),
        (b"\x20" + b"\x11" * 31, RejectReason.CRC),
        (b"\xff" * MAX_ENCODED_BYTES, RejectReason.STUFFING),
        (b"\x11" * (MAX_ENCODED_BYTES + 1), RejectReason.TOO_LONG),
        (b"\x11" * 500, RejectReason.TOO_LONG),
    ],
    ids=lambda given: f"{len(given)} bytes" if isinstance(given, bytes) else given.name,
)
def test_what_is_no_frame_is_rejected_with_its_reason(block: bytes, reason: RejectReason) -> None:
    good = motion_frames(2)
    events = feed_every_way(good[0] + block + b"\0" + good[1], at_s=2.0)
    assert kinds_of(events) == ["SampleReceived", "FrameRejected", "SampleReceived"]
    assert events[1] == FrameRejected(reason, 2.0, len(block))


def test_the_longest_frame_is_taken() -> None:
    longest = frame(0x70, 0, 0, b"\xff" * 54)
    assert len(longest) == MAX_ENCODED_BYTES + 1
    (event,) = feed_every_way(longest)
    assert isinstance(event, FrameUnknown)


def test_delimiters_alone_are_nothing() -> None:
    good = motion_frames(1)[0]
    assert feed_every_way(b"\0" * 70) == []
    assert kinds_of(feed_every_way(b"\0\0" + good + b"\0")) == ["SampleReceived"]


@pytest.mark.parametrize("begun_at", [1, 5, 20, 31])
def test_joining_midway_is_not_an_error_of_the_link(begun_at: int) -> None:
    stream = b"".join(motion_frames(2))[begun_at:]
    rejected, sample = feed_every_way(stream)
    assert rejected == FrameRejected(RejectReason.JOINED_MIDWAY, None, 32 - begun_at)
    assert isinstance(sample, SampleReceived)


def test_joining_in_a_long_silence_of_delimiters_is_told_once() -> None:
    broken, good = motion_frames(1)[0][9:], motion_frames(1)[0]
    events = feed_every_way(broken + broken + good)
    assert [each.reason for each in events if isinstance(each, FrameRejected)] == [
        RejectReason.JOINED_MIDWAY,
        RejectReason.STUFFING,
    ]


def test_a_new_link_drops_the_tail_of_the_old_one() -> None:
    first, second, third = motion_frames(3)
    receiver = Receiver()
    events = receiver.receive_data(first + second[:12])
    receiver.link_restarted()
    events += receiver.receive_data(second[20:] + third)
    assert kinds_of(events) == ["SampleReceived", "FrameRejected", "FramesMissed", "SampleReceived"]
    assert events[1] == FrameRejected(RejectReason.JOINED_MIDWAY, None, 12)


def test_a_new_link_drops_what_was_already_too_long() -> None:
    receiver = Receiver()
    receiver.receive_data(motion_frames(1)[0] + b"\x11" * 300)
    receiver.link_restarted()
    assert kinds_of(receiver.receive_data(motion_frames(2)[1])) == ["SampleReceived"]


def test_ten_megabytes_of_noise_cost_no_memory_and_hide_nothing() -> None:
    chance, receiver, noise_bytes = random.Random(20), Receiver(), 10_000_000
    noise = chance.randbytes(noise_bytes)
    for begin in range(0, 2_000_000, 4096):
        receiver.receive_data(noise[begin : begin + 4096])
    tracemalloc.start()
    try:
        for begin in range(2_000_000, noise_bytes, 4096):
            receiver.receive_data(noise[begin : begin + 4096])
            assert len(receiver.stream.tail) <= MAX_ENCODED_BYTES
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak_bytes < 100_000
    first, second = motion_frames(2)
    # The first frame is glued to the noise before it; the first one behind a delimiter is whole.
    events = receiver.receive_data(first + second)
    assert isinstance(events[0], FrameRejected)
    assert isinstance(events[-1], SampleReceived)
    assert events[-1].values == MOTION


def test_noise_without_a_delimiter_costs_no_memory() -> None:
    receiver = Receiver()
    for _ in range(1000):
        assert receiver.receive_data(b"\x55" * 4096) == []
        assert receiver.stream.tail == b""
    rejected, sample = receiver.receive_data(b"\0" + motion_frames(1)[0])
    assert rejected == FrameRejected(RejectReason.JOINED_MIDWAY, None, 4_096_000)
    assert isinstance(sample, SampleReceived)


def test_the_first_frame_behind_a_delimiter_is_found_after_any_noise() -> None:
    chance, good = random.Random(21), motion_frames(1)[0]
    for _ in range(300):
        noise = chance.randbytes(chance.randrange(1, 300)) + b"\0"
        events = feed(noise + good, chunk_bytes=chance.randrange(1, 40))
        assert isinstance(events[-1], SampleReceived)


def test_a_stream_is_cut_anywhere_by_20_byte_notifications() -> None:
    frames = motion_frames(200)
    events = feed(b"".join(frames), chunk_bytes=20)
    assert kinds_of(events) == ["SampleReceived"] * 200


def test_what_a_receiver_remembers_can_be_kept_and_taken_up() -> None:
    stream = b"".join(motion_frames(6))
    whole = Receiver().receive_data(stream)
    for cut in range(len(stream)):
        first = Receiver()
        events = first.receive_data(stream[:cut])
        events += Receiver(stream=first.stream).receive_data(stream[cut:])
        assert events == whole
