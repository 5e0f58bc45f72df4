from __future__ import annotations

import pytest

from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState, MarkMade
from groundstation.sources.memory import MemorySource
from tests.groundstation.sources.links import SteppingClock, run

SCRIPT: list[Inbound] = [
    LinkChanged(0.0, LinkState.CONNECTED, "a script"),
    BytesReceived(0.1, b"\x01\x00"),
    MarkMade(0.2, "bump"),
    LinkChanged(0.3, LinkState.LOST, "the end"),
]


def test_a_script_is_played_as_it_stands_and_ends() -> None:
    async def work() -> list[Inbound]:
        async with MemorySource.playing(SCRIPT) as source:
            return [event async for event in source.events()]

    assert run(work()) == SCRIPT


def test_an_empty_script_ends_at_once() -> None:
    async def work() -> list[Inbound]:
        async with MemorySource.playing([]) as source:
            return [event async for event in source.events()]

    assert run(work()) == []


def test_what_is_pushed_is_stamped_with_the_given_clock(clock: SteppingClock) -> None:
    async def work() -> list[Inbound]:
        async with MemorySource(clock=clock) as source:
            source.connect()
            source.receive(b"a")
            source.lose()
            source.finish()
            return [event async for event in source.events()]

    events = run(work())
    assert [type(event) for event in events] == [
        LinkChanged,
        BytesReceived,
        LinkChanged,
        LinkChanged,
    ]
    assert all(event.at_s > clock.start_s for event in events)


def test_a_reader_too_far_behind_is_told_to_the_one_who_pushes() -> None:
    source = MemorySource(capacity=1)
    source.receive(b"a")
    with pytest.raises(BufferError):
        source.receive(b"b")
    assert source.counters.received_bytes == 1
