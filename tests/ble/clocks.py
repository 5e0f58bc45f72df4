"""Clocks for tests in which time must not pass by itself."""

from __future__ import annotations

import asyncio

from groundstation.clock import Clock


class HandClock:
    """A clock that is moved by hand; whoever sleeps wakes when it gets there."""

    def __init__(self) -> None:
        self._now_s = 1000.0
        self._sleepers: dict[asyncio.Future[None], float] = {}

    def now_s(self) -> float:
        return self._now_s

    async def sleep(self, seconds: float) -> None:
        if seconds <= 0:
            await asyncio.sleep(0)
            return
        woken = asyncio.get_running_loop().create_future()
        self._sleepers[woken] = self._now_s + seconds
        try:
            await woken
        finally:
            del self._sleepers[woken]

    def is_awaited_in(self, seconds: float) -> bool:
        """Return whether somebody sleeps until so long from now."""
        return any(abs(due - self._now_s - seconds) < 1e-6 for due in self._sleepers.values())

    def move(self, seconds: float) -> None:
        """Let so much time pass."""
        self._now_s += seconds
        for woken, due_s in self._sleepers.items():
            if due_s <= self._now_s and not woken.done():
                woken.set_result(None)


class NoHurry:
    """Another clock's time, on which nothing that is waited for ever comes too late."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    def now_s(self) -> float:
        return self._clock.now_s()

    async def sleep(self, seconds: float) -> None:
        if seconds > 0:
            await asyncio.Event().wait()
        await asyncio.sleep(0)
