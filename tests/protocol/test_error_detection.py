"""What the air does to a motion frame: no wrong sample may come of it.

The Hamming distance of 0x1021 is 4 up to 32,751 bits (brute force over its syndromes; Koopman's
tables agree): any 1, 2 or 3 wrong bits are told. That holds for a frame whose length is known. On
the wire a wrong bit may hit a COBS code or a delimiter and cut frames anew; there nothing is
guaranteed but a chance of 2^-16 a block, and these seeded patterns show none that gets through.
"""

from __future__ import annotations

import random
from itertools import combinations

from cobs import cobs

from protocol import FrameRejected, Receiver, RejectReason, SampleReceived
from protocol.framing import crc_is_good, unstuff
from tests.protocol.samples import motion_frames

BEFORE, HIT, AFTER = motion_frames(3)
NEIGHBOURS = {0, 2}
"""Sequence numbers of the frames that are not hit."""


def plain_frame() -> tuple[int, int]:
    """Return the frame without COBS as a number, and its bits."""
    frame = unstuff(HIT[:-1])
    assert frame is not None
    assert crc_is_good(frame)
    return int.from_bytes(frame, "big"), 8 * len(frame)


def flipped(data: bytes, places: tuple[int, ...]) -> bytes:
    changed = bytearray(data)
    for place in places:
        changed[place // 8] ^= 1 << place % 8
    return bytes(changed)


def assert_no_wrong_sample(wire: bytes) -> None:
    right = {each.sequence: each for each in samples(BEFORE + HIT + AFTER)}
    for each in samples(BEFORE + wire + AFTER):
        expected = right[each.sequence]
        assert (each.values, each.vehicle_s) == (expected.values, expected.vehicle_s)


def samples(data: bytes) -> list[SampleReceived]:
    return [each for each in Receiver().receive_data(data) if isinstance(each, SampleReceived)]


def test_every_1_and_2_bit_error_is_told() -> None:
    frame, bits = plain_frame()
    assert bits == 248
    masks = [1 << place for place in range(bits)]
    for first, second in combinations([0, *masks], 2):
        assert not crc_is_good((frame ^ first ^ second).to_bytes(bits // 8, "big"))


def test_3_bit_errors_are_told() -> None:
    frame, bits = plain_frame()
    chance = random.Random(3)
    for _ in range(30_000):
        error = sum(1 << place for place in chance.sample(range(bits), 3))
        assert not crc_is_good((frame ^ error).to_bytes(bits // 8, "big"))


def test_a_told_error_is_one_rejected_frame_and_one_missed() -> None:
    frame, bits = plain_frame()
    for place in range(bits):
        wrong = (frame ^ 1 << place).to_bytes(bits // 8, "big")
        events = Receiver().receive_data(BEFORE + cobs.encode(wrong) + b"\0" + AFTER)
        first, rejected, missed, last = events
        assert isinstance(first, SampleReceived)
        assert isinstance(rejected, FrameRejected)
        assert rejected.reason is RejectReason.CRC
        assert missed.count == 1  # type: ignore[union-attr]
        assert isinstance(last, SampleReceived)


def test_no_1_or_2_bit_error_on_the_wire_gives_a_wrong_sample() -> None:
    bits = 8 * len(HIT)
    for places in [*combinations(range(bits), 1), *combinations(range(bits), 2)]:
        received = samples(BEFORE + flipped(HIT, places) + AFTER)
        assert {each.sequence for each in received} <= NEIGHBOURS
        assert received[0].sequence == 0


def test_no_sampled_3_bit_error_on_the_wire_gives_a_wrong_sample() -> None:
    chance, bits = random.Random(4), range(8 * len(HIT))
    for _ in range(20_000):
        received = samples(BEFORE + flipped(HIT, tuple(chance.sample(bits, 3))) + AFTER)
        assert {each.sequence for each in received} <= NEIGHBOURS


def test_no_lost_added_or_doubled_byte_gives_a_wrong_sample() -> None:
    # What a serial port does when it overruns.
    for place in range(len(HIT)):
        assert_no_wrong_sample(HIT[:place] + HIT[place + 1 :])
        assert_no_wrong_sample(HIT[: place + 1] + HIT[place:])
        assert_no_wrong_sample(HIT[:place])
        assert_no_wrong_sample(HIT[place:])
        for byte in range(256):
            assert_no_wrong_sample(HIT[:place] + bytes([byte]) + HIT[place:])


def test_a_zero_behind_a_frame_passes_and_leaves_the_values_alone() -> None:
    # The one hole of a CRC without a final inversion: zeros appended leave its register at zero. A
    # doubled 01 can append one. The frame's own CRC then looks like a newer firmware's field.
    wrong = cobs.encode(cobs.decode(HIT[:-1]) + b"\0") + b"\0"
    (sample,), (right,) = samples(wrong), samples(HIT)
    assert sample.values == right.values
    assert (len(sample.extra), right.extra) == (1, b"")
