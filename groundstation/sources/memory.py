"""A source in memory: a script of events, or events pushed one by one.

For tests and for whoever joins two parts without a port between them. Rule: it keeps the promises
of every source (order, one reader, an end), and does nothing by itself.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable

from groundstation.clock import Clock, MonotonicClock
from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.sources.base import Source
from groundstation.sources.handover import CAPACITY_EVENTS, Handover, SourceCounters


class MemorySource(Source):
    """Events pushed by the program itself."""

    def __init__(
        self,
        name: str = "memory:",
        *,
        clock: Clock | None = None,
        capacity: int = CAPACITY_EVENTS,
    ) -> None:
        self.name = name
        self._clock = clock or MonotonicClock()
        self._handover = Handover(capacity)
        self._read = False

    @classmethod
    def playing(cls, script: Iterable[Inbound], name: str = "memory:") -> MemorySource:
        """Return a finite source that gives the events of `script` as they stand."""
        events = list(script)
        source = cls(name, capacity=len(events))
        for event in events:
            source.push(event)
        source.finish()
        return source

    @property
    def counters(self) -> SourceCounters:
        """How the hand-over to the reader goes."""
        return self._handover.counters

    def events(self) -> AsyncIterator[Inbound]:
        """Return what was and will be pushed; call once."""
        if self._read:
            raise RuntimeError(f"the events of {self.name} are already being read")
        self._read = True
        return self._handover

    async def aclose(self) -> None:
        """End the iterator; may be called more than once."""
        self._handover.close()

    def push(self, event: Inbound) -> None:
        """Hand over `event` as it stands; once closed, do nothing.

        Raises:
            BufferError: The reader is too far behind.
        """
        self._handover.put_nowait(event)

    def connect(self, detail: str = "connected in memory") -> None:
        """Push that the connection stands, now."""
        self.push(LinkChanged(self._clock.now_s(), LinkState.CONNECTED, detail))

    def receive(self, data: bytes) -> None:
        """Push `data` as received now."""
        self.push(BytesReceived(self._clock.now_s(), data))

    def lose(self, detail: str = "The connection in memory was cut") -> None:
        """Push a loss, and that it is being tried again, now."""
        now_s = self._clock.now_s()
        self.push(LinkChanged(now_s, LinkState.LOST, detail))
        self.push(LinkChanged(now_s, LinkState.RETRYING, "Waiting to be connected again"))

    def finish(self) -> None:
        """End the iterator after what was pushed so far."""
        self._handover.close()
