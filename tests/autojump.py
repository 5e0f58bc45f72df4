"""A clock for tests: nobody waits; when all are waiting, it jumps to whoever is due next."""

from __future__ import annotations

import asyncio
import heapq
from collections.abc import Coroutine
from itertools import count
from typing import Any

SPINS = 8
"""Rounds of the event loop in which whoever was woken gets to its next wait."""


class AutojumpClock:
    """Runs a job in no time, in the order in which real time would have run it."""

    def __init__(self, start_s: float = 1000.0) -> None:
        self._now_s = start_s
        self._order = count()
        self._sleepers: list[tuple[float, int, asyncio.Future[None]]] = []

    def now_s(self) -> float:
        return self._now_s

    async def sleep(self, seconds: float) -> None:
        woken = asyncio.get_running_loop().create_future()
        due_s = self._now_s + max(seconds, 0.0)
        heapq.heappush(self._sleepers, (due_s, next(self._order), woken))
        await woken

    async def run(self, job: Coroutine[Any, Any, None]) -> None:
        """Run a job to its end, jumping from one sleeper to the next."""
        task = asyncio.create_task(job)
        while not task.done():
            for _ in range(SPINS):
                await asyncio.sleep(0)
            if self._sleepers and not task.done():
                due_s, _, woken = heapq.heappop(self._sleepers)
                self._now_s = max(self._now_s, due_s)
                if not woken.done():
                    woken.set_result(None)
        task.result()


class SelfJumpingClock(AutojumpClock):
    """The same for a program that starts its event loop itself: the first who waits starts it."""

    def __init__(self, start_s: float = 1000.0) -> None:
        super().__init__(start_s)
        self._jumper: asyncio.Task[None] | None = None

    async def sleep(self, seconds: float) -> None:
        if self._jumper is None or self._jumper.done():
            self._jumper = asyncio.create_task(self._jump())
        await super().sleep(seconds)

    async def _jump(self) -> None:
        idle = 0
        while idle < SPINS:
            for _ in range(SPINS):
                await asyncio.sleep(0)
            idle = 0 if self._sleepers else idle + 1
            if self._sleepers:
                due_s, _, woken = heapq.heappop(self._sleepers)
                self._now_s = max(self._now_s, due_s)
                if not woken.done():
                    woken.set_result(None)


class SteppedClock(AutojumpClock):
    """A clock that goes on only when it is told to, and then in no time."""

    async def run_until(self, now_s: float) -> None:
        """Wake whoever is due up to a moment, in order, and stand there."""
        while True:
            for _ in range(SPINS):
                await asyncio.sleep(0)
            if not self._sleepers or self._sleepers[0][0] > now_s:
                break
            due_s, _, woken = heapq.heappop(self._sleepers)
            self._now_s = max(self._now_s, due_s)
            if not woken.done():
                woken.set_result(None)
        self._now_s = max(self._now_s, now_s)
