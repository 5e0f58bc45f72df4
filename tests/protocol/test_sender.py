"""The car's side of the wire in Python."""

from __future__ import annotations

import pytest

from protocol import EncodeError, Receiver, SampleReceived, Sender
from tests.protocol.samples import MOTION


def received(data: bytes) -> list[SampleReceived]:
    return [each for each in Receiver().receive_data(data) if isinstance(each, SampleReceived)]


def test_frames_are_numbered_over_the_wrap() -> None:
    sender = Sender(sequence=65_534)
    stream = b"".join(sender.encode("motion", MOTION, 10_000 * number) for number in range(4))
    assert [each.sequence for each in received(stream)] == [65_534, 65_535, 0, 1]
    assert sender.sequence == 2


def test_the_clock_is_sent_as_far_as_it_fits() -> None:
    (sample,) = received(Sender().encode("motion", MOTION, (5 << 32) + 1_500_000))
    assert sample.vehicle_s == 1.5


def test_a_motion_frame_takes_at_most_36_bytes_on_the_air() -> None:
    assert len(Sender().encode("motion", MOTION, 0)) == 33


@pytest.mark.parametrize(
    ("kind", "values", "message"),
    [
        ("engine", {}, "no kind engine in the frame table"),
        ("motion", {"speed_kmh": 3.0}, "motion has no field speed_kmh"),
        ("motion", {"speed_mps": "fast"}, "speed_mps is a number, not 'fast'"),
        ("motion", {"brake_on": "no"}, "brake_on is a bit, not 'no'"),
        ("ident", {"vehicle_name": 5}, "vehicle_name is text, not 5"),
    ],
)
def test_what_cannot_be_encoded_is_told_and_not_counted(
    kind: str, values: dict[str, float | str], message: str
) -> None:
    sender = Sender()
    with pytest.raises(EncodeError, match=message):
        sender.encode(kind, values, 0)
    assert sender.sequence == 0
