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
