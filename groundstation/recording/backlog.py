"""What waits to be written: the hand-over from the live session to the writer's thread.

Bounded. Policy when full: the newest bytes are refused and counted, loudly, and states kept for
seeking are refused quietly; marks, link changes, facts and index lines have a reserve of their own.
What waits stays until it is written, so a disk that comes back in time costs nothing.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Collection
from dataclasses import dataclass
from itertools import islice
from math import inf
from time import monotonic

from groundstation.inbound import (
    BytesReceived,
    DriverPlaced,
    Inbound,
    LinkChanged,
    MarkMade,
    TelemetrySignal,
)
from groundstation.vehicle.session_events import Noted

LIMIT_BYTES = 16 << 20
"""About eight minutes at 100 Hz, one at 1 kHz."""

RESERVE_BYTES = 4 << 20
"""On top, for what is rare and must not be lost: tens of thousands of marks."""

RAPID_S = 0.0015
GATHER_S = 0.005
"""Where entries follow each other as rapidly as that, the writer lets them gather for so long: at
1 kHz waking up for each costs more than writing it. At 100 Hz each is written at once."""

OVERHEAD_BYTES = 200
"""What an entry takes in memory beside its bytes."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A value of the session's description, already JSON."""

    key: str
    value: str


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A state to begin a replay from; a cache."""

    at_s: float
    state: bytes


Entry = Inbound | Noted | Fact | Checkpoint


@dataclass(frozen=True, slots=True)
class Task:
    """What the writer is to do now."""

    ticket: int
    """To be handed back to `served`."""
    closing: bool


class Backlog:
    """A bounded queue with one reader; any thread may offer, and never waits for the disk."""

    def __init__(self, *, limit_bytes: int = LIMIT_BYTES) -> None:
        self._limit_bytes = limit_bytes
        self._changed = threading.Condition()
        self._entries: deque[Entry] = deque()
        self._held_bytes = 0
        self._closing = False
        self._retired = False
        self._idle = False
        """The writer waits for an entry; otherwise one must not wake it."""
        self._woken_s = -inf
        self._wanted = 0
        self._served = 0
        self._served_well = False
        self.lost_bytes = 0
        """Bytes of telemetry that will never be written."""
        self.lost_since_s: float | None = None
        """Arrival of the first bytes lost that the file does not tell of yet."""
        self.overflowing = False
        """Something was refused and what waits has not been written yet."""

    def offer(self, entry: Entry) -> None:
        """Take an entry, or refuse it by the policy."""
        size = entry_bytes(entry)
        expendable = isinstance(entry, (BytesReceived, TelemetrySignal, Checkpoint))
        limit_bytes = self._limit_bytes + (0 if expendable else RESERVE_BYTES)
        with self._changed:
            if self._closing or self._held_bytes + size > limit_bytes:
                self._lose(entry)
                self.overflowing = self.overflowing or not isinstance(entry, Checkpoint)
                return
            self._held_bytes += size
            self._entries.append(entry)
            if self._idle:
                self._changed.notify_all()

    def flush(self) -> bool:
        """Return once all that was offered has been written: True, or False if it cannot be."""
        with self._changed:
            self._wanted += 1
            ticket = self._wanted
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._served >= ticket or self._retired)
            return self._served >= ticket and self._served_well

    def close(self) -> None:
        """Take nothing more, and let the writer end."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()

    def wait(self, timeout_s: float | None, *, for_entries: bool) -> Task:
        """Return when there is something to do, or after a time (the writer's side).

        Args:
            timeout_s: None waits without end.
            for_entries: Whether an entry that waits is a reason to return.
        """
        with self._changed:
            self._idle = for_entries
            self._changed.wait_for(
                lambda: self._asked() or (for_entries and bool(self._entries)), timeout_s
            )
            self._idle = False
            if for_entries and self._entries and monotonic() - self._woken_s < RAPID_S:
                self._changed.wait_for(self._asked, GATHER_S)
            self._woken_s = monotonic()
            return Task(self._wanted, self._closing)

    def _asked(self) -> bool:
        return self._closing or self._wanted > self._served

    def waiting(self, most: int) -> list[Entry]:
        """Return the entries that are next to be written."""
        with self._changed:
            if not self._entries:
                self.overflowing = False
            return list(islice(self._entries, most))

    def done(self, count: int, *, lost: Collection[int] = ()) -> None:
        """Drop the first entries: they are in the file, or never can be.

        Args:
            count: How many.
            lost: Which of them, counted from 0, no file can hold.
        """
        with self._changed:
            for number in range(count):
                entry = self._entries.popleft()
                self._held_bytes -= entry_bytes(entry)
                if number in lost:
                    self._lose(entry)

    def served(self, ticket: int, *, well: bool) -> None:
        """Tell those who wait in `flush` how it went."""
        with self._changed:
            self._served, self._served_well = ticket, well
            self._changed.notify_all()

    def retire(self) -> None:
        """Count what is left as lost, and let nobody wait any more."""
        with self._changed:
            self._closing = self._retired = True
            while self._entries:
                self._lose(self._entries.popleft())
            self._changed.notify_all()

    def _lose(self, entry: Entry) -> None:
        if isinstance(entry, BytesReceived):
            self.lost_bytes += len(entry.data)
            if self.lost_since_s is None:
                self.lost_since_s = entry.at_s


def entry_bytes(entry: Entry) -> int:
    """Return about what an entry takes in memory."""
    match entry:
        case BytesReceived(_, content) | Checkpoint(_, content):
            return len(content) + OVERHEAD_BYTES
        case Fact(_, value):
            return len(value) + OVERHEAD_BYTES
        case Noted(text=text) | MarkMade(text=text) | LinkChanged(detail=text):
            return len(text) + OVERHEAD_BYTES
        case TelemetrySignal() | DriverPlaced():
            return OVERHEAD_BYTES
