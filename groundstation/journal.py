"""What has happened lately in a session that runs, for whoever shows it."""

from __future__ import annotations

from collections import deque

from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import Traces

EVENTS_KEPT = 500


class Journal:
    """A listener that keeps the latest events and the traces of the charted channels."""

    def __init__(self) -> None:
        self.events: deque[SessionEvent] = deque(maxlen=EVENTS_KEPT)
        self.traces = Traces()

    def clear(self) -> None:
        """Forget everything, as before a seek."""
        self.events.clear()
        self.traces.clear()

    def happened(self, event: SessionEvent) -> None:
        """Keep an event; the oldest makes room."""
        self.events.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Keep the swings of the charted channels."""
        self.traces.add(telemetry.now_s, telemetry.state.swung)
