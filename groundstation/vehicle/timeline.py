"""The order of inbound events and ticks, the same live and in a replay.

Ticks lie on a fixed grid of the session clock. Rule: a tick comes before every inbound event of the
same or a later time. A live event that was stamped before a tick that has already run is given
that tick's time (`in_order`), before it is recorded; so the recording replays in the very order in
which it was lived.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from groundstation.inbound import Inbound
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import TICK_S


class Listener(Protocol):
    """Somebody who is told what happens, in order."""

    def happened(self, event: SessionEvent) -> None:
        """Something worth telling happened."""
        ...

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """A tick has run; `telemetry.snapshot()` is the state at it."""
        ...


class Timeline:
    """Runs one `Telemetry` along the session clock."""

    def __init__(
        self, telemetry: Telemetry, listeners: Sequence[Listener], *, next_tick: int = 0
    ) -> None:
        self.telemetry = telemetry
        self.listeners = list(listeners)
        self.next_tick = next_tick

    @property
    def ticked_to_s(self) -> float:
        """Time of the last tick that has run, zero before the first."""
        return max(self.next_tick - 1, 0) * TICK_S

    def in_order(self, inbound: Inbound) -> Inbound:
        """Return the event with a time that is not before the last tick."""
        if inbound.at_s >= self.ticked_to_s:
            return inbound
        return replace(inbound, at_s=self.ticked_to_s)

    def advance(self, now_s: float) -> None:
        """Run every tick that is due at `now_s`."""
        while self.next_tick * TICK_S <= now_s:
            tick, self.next_tick = self.next_tick, self.next_tick + 1
            for event in self.telemetry.tick(tick * TICK_S):
                self._tell(event)
            for listener in self.listeners:
                listener.ticked(tick, self.telemetry)

    def accept(self, inbound: Inbound) -> None:
        """Run the ticks that are due, then the event."""
        self.advance(inbound.at_s)
        for event in self.telemetry.handle(inbound):
            self._tell(event)

    def _tell(self, event: SessionEvent) -> None:
        for listener in self.listeners:
            listener.happened(event)
