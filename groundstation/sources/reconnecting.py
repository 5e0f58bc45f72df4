"""Connecting again and again: the waits between attempts, and what is told of them.

Owns the rules that every source with a connection keeps. Waits grow from attempt to attempt and
begin anew once bytes have come, so that a peer which accepts and hangs up at once is not asked
without pause. A loss is told at once, then that it is being tried again; after that each new
reason is told once and repeated failures are silent until the connection stands.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import Protocol

from groundstation.clock import Clock
from groundstation.errors import SourceError
from groundstation.inbound import BytesReceived, LinkChanged, LinkState
from groundstation.sources.live import LiveSource

BACKOFF_S = (0.2, 2.0)
"""First and longest wait before another attempt."""


class Backoff:
    """Waits that double from the first to the longest."""

    def __init__(self, backoff_s: tuple[float, float]) -> None:
        self._first_s, self._longest_s = backoff_s
        self._next_s = self._first_s

    def next_s(self) -> float:
        """Return how long to wait before the next attempt."""
        wait_s = self._next_s
        self._next_s = min(2 * wait_s, self._longest_s)
        return wait_s

    def begin_anew(self) -> None:
        """Start over with the first wait."""
        self._next_s = self._first_s


class LinkStory:
    """Turns what happens to a connection into the events worth telling."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._told: set[str] = set()

    def connected(self, detail: str) -> list[LinkChanged]:
        """Return what to tell when the connection stands."""
        self._told.clear()
        return [self._event(LinkState.CONNECTED, detail)]

    def lost(self, reason: str, trying: str) -> list[LinkChanged]:
        """Return what to tell of a loss, and of what is tried from now on."""
        self._told.clear()
        return [self._event(LinkState.LOST, reason), *self.failed(trying)]

    def failed(self, reason: str) -> list[LinkChanged]:
        """Return what to tell of an attempt in vain: nothing where the reason is known."""
        if reason in self._told:
            return []
        self._told.add(reason)
        return [self._event(LinkState.RETRYING, reason)]

    def _event(self, state: LinkState, detail: str) -> LinkChanged:
        return LinkChanged(self._clock.now_s(), state, detail)


class Connection(Protocol):
    """A connection that stands."""

    detail: str
    """One plain sentence: what is connected with what."""

    async def receive(self) -> bytes:
        """Return the next bytes, at least one.

        Raises:
            SourceError: The connection is lost; says how, and what to do.
        """
        ...

    async def aclose(self) -> None:
        """Release it."""
        ...


class RetryingSource(LiveSource):
    """A source in the event loop that tries without end. Must: `_attempt`."""

    def __init__(
        self, name: str, *, clock: Clock, backoff_s: tuple[float, float] = BACKOFF_S
    ) -> None:
        super().__init__(name, clock=clock)
        self._backoff = Backoff(backoff_s)
        self._story = LinkStory(clock)

    @abstractmethod
    async def _attempt(self) -> None:
        """Connect, and hand over until the connection is lost; tell what happens."""

    async def _pump(self) -> None:
        while True:
            await self._attempt()
            await self._clock.sleep(self._backoff.next_s())

    async def _tell(self, changes: list[LinkChanged]) -> None:
        for change in changes:
            await self._handover.put(change)


class ReconnectingSource(RetryingSource):
    """A source whose bytes are asked for one read at a time. Must: `_connect`, `_trying`."""

    _trying: str
    """One plain sentence for the time after a loss."""

    @abstractmethod
    async def _connect(self) -> Connection:
        """Return a connection that stands.

        Raises:
            SourceError: It cannot be had now; says why, and what to do.
        """

    async def _attempt(self) -> None:
        try:
            connection = await self._connect()
        except SourceError as reason:
            await self._tell(self._story.failed(str(reason)))
        else:
            await self._tell(await self._stream(connection))

    async def _stream(self, connection: Connection) -> list[LinkChanged]:
        """Hand over until the connection is lost; return what to tell of that."""
        try:
            await self._tell(self._story.connected(connection.detail))
            while True:
                data = await connection.receive()
                await self._handover.put(BytesReceived(self._clock.now_s(), data))
                self._backoff.begin_anew()
        except SourceError as reason:
            return self._story.lost(str(reason), self._trying)
        finally:
            await connection.aclose()
