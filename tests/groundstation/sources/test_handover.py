from __future__ import annotations

import asyncio
import threading

import pytest

from groundstation.inbound import BytesReceived, LinkChanged, LinkState
from groundstation.sources.handover import Handover, SourceCounters
from tests.groundstation.sources.links import run, until

CAPACITY = 8
COUNT = 5000


def event(number: int) -> BytesReceived:
    return BytesReceived(float(number), b"ab")


def test_a_thread_that_is_faster_than_its_reader_waits_and_nothing_is_lost() -> None:
    async def work() -> None:
        handover = Handover(CAPACITY)
        loop = asyncio.get_running_loop()

        def fill() -> None:
            for number in range(COUNT):
                assert handover.put_from_thread(event(number), loop)

        thread = threading.Thread(target=fill)
        thread.start()
        await until(lambda: handover.counters.held_up > 0)
        for number in range(COUNT):
            assert await anext(handover) == event(number)
        thread.join()
        counters = handover.counters
        assert (counters.events, counters.received_bytes) == (COUNT, 2 * COUNT)
        assert counters.most_waiting == CAPACITY
        assert counters.waiting == 0

    run(work())


def test_a_task_that_is_faster_than_its_reader_waits_and_nothing_is_lost() -> None:
    async def work() -> None:
        handover = Handover(CAPACITY)

        async def fill() -> None:
            for number in range(COUNT):
                await handover.put(event(number))
            handover.close()

        filling = asyncio.create_task(fill())
        assert [got async for got in handover] == [event(number) for number in range(COUNT)]
        await filling
        assert handover.counters.most_waiting == CAPACITY
        assert handover.counters.held_up > 0

    run(work())


def test_only_bytes_count_as_bytes() -> None:
    handover = Handover(CAPACITY)
    handover.put_nowait(event(1))
    handover.put_nowait(LinkChanged(2.0, LinkState.LOST))
    assert handover.counters == SourceCounters(2, 2, waiting=2, most_waiting=2, held_up=0)


def test_at_once_or_not_at_all() -> None:
    handover = Handover(1)
    handover.put_nowait(event(1))
    with pytest.raises(BufferError, match="1 events are waiting"):
        handover.put_nowait(event(2))


def test_closing_frees_all_who_wait_and_takes_nothing_more() -> None:
    async def work() -> None:
        full, empty = Handover(1), Handover(1)
        full.put_nowait(event(1))
        loop = asyncio.get_running_loop()
        answers: list[bool] = []
        thread = threading.Thread(
            target=lambda: answers.append(full.put_from_thread(event(2), loop))
        )
        thread.start()
        await until(lambda: full.counters.held_up == 1)
        putting = asyncio.create_task(full.put(event(3)))
        await until(lambda: full.counters.held_up == 2)
        reading = asyncio.create_task(anext(empty, None))
        await asyncio.sleep(0)
        full.close()
        empty.close()
        thread.join()
        await putting
        assert answers == [False]
        assert await reading is None
        full.put_nowait(event(4))
        assert [got async for got in full] == [event(1)]

    run(work())


def test_a_failure_reaches_the_reader_once_and_after_what_came_before() -> None:
    async def work() -> None:
        handover = Handover(CAPACITY)
        handover.put_nowait(event(1))
        handover.close(RuntimeError("a bug"))
        handover.close()
        assert await anext(handover) == event(1)
        with pytest.raises(RuntimeError, match="a bug"):
            await anext(handover)
        assert [got async for got in handover] == []

    run(work())


def test_who_cannot_wait_is_refused_until_the_queue_is_half_empty() -> None:
    async def work() -> None:
        handover = Handover(CAPACITY)
        assert [handover.offer(event(number)) for number in range(CAPACITY)] == [True] * CAPACITY
        assert not handover.offer(event(98))
        for number in range(CAPACITY // 2 - 1):
            assert await anext(handover) == event(number)
            assert not handover.offer(event(99))
        assert await anext(handover) == event(CAPACITY // 2 - 1)
        assert handover.offer(event(CAPACITY))
        assert handover.counters.refused == 1 + CAPACITY // 2 - 1
        handover.close()
        rest = [got async for got in handover]
        assert rest == [event(number) for number in range(CAPACITY // 2, CAPACITY + 1)]
        assert handover.offer(event(0))  # closed: taken for nobody, as by the others

    run(work())
