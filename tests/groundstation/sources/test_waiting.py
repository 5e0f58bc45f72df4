from __future__ import annotations

import asyncio

import pytest

from groundstation.sources.waiting import CLEANING_UP_S, within
from tests.ble.clocks import HandClock
from tests.groundstation.sources.links import run, until


async def sevenfold(clock: HandClock) -> int:
    await clock.sleep(3.0)
    return 7


async def failing() -> None:
    raise EOFError


def test_it_gives_what_the_procedure_gives() -> None:
    async def work() -> None:
        clock = HandClock()
        waiting = asyncio.create_task(within(5.0, sevenfold(clock), clock=clock))
        await until(lambda: clock.is_awaited_in(3.0))
        clock.move(3.0)
        assert await waiting == 7
        with pytest.raises(EOFError):
            await within(5.0, failing(), clock=clock)
        assert asyncio.all_tasks() == {asyncio.current_task()}

    run(work())


def test_what_takes_too_long_is_cancelled() -> None:
    async def work() -> None:
        clock, cancelled = HandClock(), asyncio.Event()

        async def procedure() -> None:
            try:
                await asyncio.Event().wait()
            finally:
                cancelled.set()

        waiting = asyncio.create_task(within(5.0, procedure(), clock=clock))
        await until(lambda: clock.is_awaited_in(5.0))
        clock.move(5.0)
        with pytest.raises(TimeoutError):
            await waiting
        assert cancelled.is_set()
        assert asyncio.all_tasks() == {asyncio.current_task()}

    run(work())


def test_what_has_become_pointless_is_cancelled() -> None:
    async def work() -> None:
        clock, pointless = HandClock(), asyncio.Event()
        waiting = asyncio.create_task(
            within(5.0, asyncio.Event().wait(), clock=clock, pointless=pointless.wait())
        )
        await until(lambda: clock.is_awaited_in(5.0))
        pointless.set()
        with pytest.raises(ConnectionAbortedError):
            await waiting
        assert asyncio.all_tasks() == {asyncio.current_task()}

    run(work())


def test_a_procedure_that_somebody_else_cancels_is_no_cancellation_of_ours() -> None:
    async def work() -> None:
        async def cancelled_within() -> None:
            raise asyncio.CancelledError

        with pytest.raises(ConnectionAbortedError):
            await within(5.0, cancelled_within(), clock=HandClock())

    run(work())


def test_one_that_ignores_its_cancellation_is_left_alone_after_a_moment() -> None:
    async def work() -> None:
        clock, let_go = HandClock(), asyncio.Event()

        async def stubborn() -> None:
            try:
                await asyncio.Event().wait()
            except asyncio.CancelledError:
                await let_go.wait()
                raise EOFError from None

        waiting = asyncio.create_task(within(5.0, stubborn(), clock=clock))
        await until(lambda: clock.is_awaited_in(5.0))
        clock.move(5.0)
        await until(lambda: clock.is_awaited_in(CLEANING_UP_S))
        assert not waiting.done()
        clock.move(CLEANING_UP_S)
        with pytest.raises(TimeoutError):
            await waiting
        assert len(asyncio.all_tasks()) == 2
        let_go.set()
        await until(lambda: len(asyncio.all_tasks()) == 1)  # and what it raises is nobody's concern

    run(work())


def test_whoever_is_cancelled_while_waiting_takes_the_procedure_along() -> None:
    async def work() -> None:
        clock = HandClock()
        waiting = asyncio.create_task(within(5.0, asyncio.Event().wait(), clock=clock))
        await until(lambda: clock.is_awaited_in(5.0))
        waiting.cancel()
        with pytest.raises(asyncio.CancelledError):
            await waiting
        assert asyncio.all_tasks() == {asyncio.current_task()}

    run(work())
