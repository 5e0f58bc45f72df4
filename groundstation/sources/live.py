"""What every source that runs by itself has in common: one task that receives, one queue.

Owns the task's life. Rules: the task starts with `events()` and ends with `aclose()`; what it
holds is released before `aclose()` returns; an error nobody foresaw reaches the reader of the
events instead of vanishing with the task.
"""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from collections.abc import AsyncIterator

from groundstation.clock import Clock
from groundstation.inbound import Inbound
from groundstation.sources.base import Source
from groundstation.sources.handover import Handover, SourceCounters


class LiveSource(Source):
    """A source with a task of its own. Must: `_pump`."""

    def __init__(self, name: str, *, clock: Clock) -> None:
        self.name = name
        self._clock = clock
        self._handover = Handover()
        self._task: asyncio.Task[None] | None = None
        self._closed = False

    @property
    def counters(self) -> SourceCounters:
        """How the hand-over to the reader goes."""
        return self._handover.counters

    def events(self) -> AsyncIterator[Inbound]:
        """Start to receive, and return what comes in; call once, in the event loop."""
        if self._task is not None:
            raise RuntimeError(f"the events of {self.name} are already being read")
        if not self._closed:
            self._task = asyncio.create_task(self._run(), name=self.name)
        return self._handover

    async def aclose(self) -> None:
        """Release the port and end the iterator; may be called more than once."""
        self._closed = True
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait({self._task})
        self._handover.close()

    @abstractmethod
    async def _pump(self) -> None:
        """Receive and hand over until cancelled; return only where the source is finite."""

    async def _run(self) -> None:
        failure: Exception | None = None
        try:
            await self._pump()
        except Exception as unforeseen:
            failure = unforeseen
        finally:
            self._handover.close(failure)
