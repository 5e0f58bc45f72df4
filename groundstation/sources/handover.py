"""Bounded hand-over of events from whatever receives them to whoever reads them.

Owns the queue between a source's thread or task and its reader, in the order of arrival. Rule:
nothing is dropped. Where the queue is full the receiving side waits; the operating system's own
buffer then fills, and what is lost in front of it shows as missing sequence numbers. How often
that was near is counted. A receiver that cannot wait is refused instead: until the queue is half
empty, so that one long hole is left and not many short ones. Each refusal is counted, and is the
receiver's to tell of.
"""

from __future__ import annotations

import asyncio
from collections import deque
from dataclasses import dataclass
from threading import Condition
from typing import Self

from groundstation.inbound import BytesReceived, Inbound

CAPACITY_EVENTS = 1024
"""Ten seconds at 100 reads a second: far longer than any screen blocks the event loop."""


@dataclass(frozen=True, slots=True)
class SourceCounters:
    """How the hand-over from a source to its reader goes."""

    events: int = 0
    """Taken over so far."""
    received_bytes: int = 0
    waiting: int = 0
    """Events in the queue now."""
    most_waiting: int = 0
    held_up: int = 0
    """Times when the queue was full and reception had to wait."""
    refused: int = 0
    """Events of a receiver that cannot wait for which there was no room."""


class Handover:
    """A bounded queue with one reader, who iterates over it in the event loop."""

    def __init__(self, capacity: int = CAPACITY_EVENTS) -> None:
        self._capacity = capacity
        self._events: deque[Inbound] = deque()
        self._room = Condition()  # guards everything below, and tells a waiting thread of room
        self._room_for_task = asyncio.Event()
        self._arrived = asyncio.Event()
        self._closed = False
        self._failure: Exception | None = None
        self._count = 0
        self._received_bytes = 0
        self._most_waiting = 0
        self._held_up = 0
        self._refused = 0
        self._overfull = False

    @property
    def counters(self) -> SourceCounters:
        """How it goes so far."""
        with self._room:
            return SourceCounters(
                events=self._count,
                received_bytes=self._received_bytes,
                waiting=len(self._events),
                most_waiting=self._most_waiting,
                held_up=self._held_up,
                refused=self._refused,
            )

    def put_nowait(self, event: Inbound) -> None:
        """Hand over `event` from the event loop at once. Once closed, do nothing.

        Raises:
            BufferError: The queue is full.
        """
        if not self._offer(event):
            raise BufferError(f"{self._capacity} events are waiting to be read")

    def offer(self, event: Inbound) -> bool:
        """Hand over `event` from the event loop at once; return False where it is refused.

        It is refused where the queue is full, or was and is not half empty again.
        """
        with self._room:
            if self._overfull and len(self._events) <= self._capacity // 2:
                self._overfull = False
        if not self._overfull and self._offer(event):
            return True
        self._overfull = True
        self._refused += 1
        return False

    async def put(self, event: Inbound) -> None:
        """Hand over `event` from a coroutine; wait for room. Once closed, do nothing."""
        if self._offer(event):
            return
        self._held_up += 1
        while not self._offer(event):
            self._room_for_task.clear()
            await self._room_for_task.wait()

    def put_from_thread(self, event: Inbound, loop: asyncio.AbstractEventLoop) -> bool:
        """Hand over `event` from a thread; wait for room. Return False once closed.

        Raises:
            RuntimeError: The reader's event loop is gone.
        """
        with self._room:
            if len(self._events) >= self._capacity and not self._closed:
                self._held_up += 1
                self._room.wait_for(lambda: len(self._events) < self._capacity or self._closed)
            if self._closed:
                return False
            self._append(event)
            first = len(self._events) == 1
        if first:  # a reader only ever waits at an empty queue
            loop.call_soon_threadsafe(self._arrived.set)
        return True

    def close(self, failure: Exception | None = None) -> None:
        """Take nothing more; the reader gets what is there, then the end, or `failure`."""
        with self._room:
            self._closed = True
            self._failure = self._failure or failure
            self._room.notify_all()
        self._room_for_task.set()
        self._arrived.set()

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> Inbound:
        while True:
            with self._room:
                if self._events:
                    event = self._events.popleft()
                    self._room.notify()
                    self._room_for_task.set()
                    return event
                if self._closed:
                    failure, self._failure = self._failure, None
                    raise failure or StopAsyncIteration
                self._arrived.clear()
            await self._arrived.wait()

    def _offer(self, event: Inbound) -> bool:
        """Take `event`, in the event loop; return False where there is no room."""
        with self._room:
            if not self._closed:
                if len(self._events) >= self._capacity:
                    return False
                self._append(event)
                self._arrived.set()
            return True

    def _append(self, event: Inbound) -> None:
        self._events.append(event)
        self._count += 1
        self._most_waiting = max(self._most_waiting, len(self._events))
        if isinstance(event, BytesReceived):
            self._received_bytes += len(event.data)
