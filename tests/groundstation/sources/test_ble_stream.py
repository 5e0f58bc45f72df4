from __future__ import annotations

from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.sources.ble_stream import NotificationStream
from groundstation.sources.handover import Handover
from groundstation.sources.reconnecting import LinkStory
from protocol import FrameRejected, FramesMissed, SampleReceived, Sender
from tests.ble.trackside import decode
from tests.groundstation.sources.links import SteppingClock, run

CAPACITY = 8


def new_stream(handover: Handover, clock: SteppingClock) -> NotificationStream:
    return NotificationStream(handover, LinkStory(clock), clock=clock, detail="connected to CAR-1")


async def read_out(handover: Handover) -> list[Inbound]:
    handover.close()
    return [event async for event in handover]


def test_connected_is_told_once_and_before_the_first_bytes(clock: SteppingClock) -> None:
    async def work() -> None:
        handover = Handover()
        stream = new_stream(handover, clock)
        assert not stream.began
        stream.take(b"one")
        assert stream.began
        assert stream.begin()
        stream.take(b"")
        stream.take(b"two")
        connected, *rest = await read_out(handover)
        assert isinstance(connected, LinkChanged)
        assert (connected.state, connected.detail) == (LinkState.CONNECTED, "connected to CAR-1")
        assert [event.data for event in rest if isinstance(event, BytesReceived)] == [
            b"one",
            b"two",
        ]
        stamps = [event.at_s for event in [connected, *rest]]
        assert stamps == sorted(stamps)
        assert stream.last_s == stamps[-1]

    run(work())


def test_after_its_end_it_takes_nothing(clock: SteppingClock) -> None:
    async def work() -> None:
        handover = Handover()
        stream = new_stream(handover, clock)
        stream.end()
        stream.take(b"late")
        assert not stream.begin()
        begun = new_stream(handover, clock)
        begun.take(b"in time")
        begun.end()
        begun.take(b"late")
        received = [e.data for e in await read_out(handover) if isinstance(e, BytesReceived)]
        assert received == [b"in time"]

    run(work())


def test_what_is_left_out_is_told_and_a_new_stream_begins_behind_it(clock: SteppingClock) -> None:
    """The reader is far behind three times; each frame is cut into two notifications."""

    async def work() -> None:
        handover, sender = Handover(CAPACITY), Sender()
        stream = new_stream(handover, clock)
        pieces: list[bytes] = []
        seen: list[Inbound] = []
        for _ in range(3):
            for _ in range(10):
                frame = sender.encode("motion", {"speed_mps": 30}, 10_000 * sender.sequence)
                for piece in (frame[:20], frame[20:]):
                    pieces.append(piece)
                    stream.take(piece)
            seen += [await anext(handover) for _ in range(handover.counters.waiting)]
        assert handover.counters.most_waiting == CAPACITY
        stream.take(b"")
        got = [event.data for event in seen if isinstance(event, BytesReceived)]
        assert handover.counters.refused == len(pieces) - len(got) > 0
        changes = [event.detail for event in seen if isinstance(event, LinkChanged)]
        left_out = "Bluetooth notifications left out because this computer was too busy to take"
        assert changes == ["connected to CAR-1", f"{left_out} them: 13", f"{left_out} them: 13"]
        frames = decode(seen)
        good = [frame for frame in frames if isinstance(frame, SampleReceived)]
        assert all(frame.values["speed_mps"] == 30 for frame in good)
        # The gap tells of the loss. No half is glued to another: where the new stream joins
        # in the middle of a frame, that is no error either.
        missed = sum(frame.count for frame in frames if isinstance(frame, FramesMissed))
        assert len(good) + missed == good[-1].sequence + 1
        rejected = [frame.reason.name for frame in frames if isinstance(frame, FrameRejected)]
        assert set(rejected) <= {"JOINED_MIDWAY"}

    run(work())


def test_a_connection_for_which_there_is_no_room_is_told_when_there_is(
    clock: SteppingClock,
) -> None:
    async def work() -> None:
        handover = Handover(CAPACITY)
        while handover.offer(BytesReceived(0.0, b"of another connection")):
            pass
        stream = new_stream(handover, clock)
        assert not stream.begin()
        assert not stream.began
        stream.take(b"left out")
        for _ in range(CAPACITY):
            await anext(handover)
        stream.take(b"taken")
        connected, taken = await read_out(handover)
        assert isinstance(connected, LinkChanged)
        assert connected.detail.endswith("too busy to take them: 1")
        assert isinstance(taken, BytesReceived)
        assert taken.data == b"taken"

    run(work())
