"""What has happened lately in a session that runs, for whoever shows it."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import CourseTrace, Traces

EVENTS_KEPT = 500


class Journal:
    """A listener that keeps the latest events and the traces of the charted channels."""

    def __init__(self) -> None:
        self.events: deque[SessionEvent] = deque(maxlen=EVENTS_KEPT)
        self.traces = Traces()
        self.course = CourseTrace()
        self._in_pass = False

    def clear(self) -> None:
        """Forget everything, as before a seek."""
        self.events.clear()
        self.traces.clear()
        self.course.clear()

    def happened(self, event: SessionEvent) -> None:
        """Keep an event; the oldest makes room."""
        self.events.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Keep the swings of the charted channels, and the margin where the car is."""
        state = telemetry.state
        self.traces.add(telemetry.now_s, state.swung)
        if state.passes.running and not self._in_pass:
            self.course.clear()
        self._in_pass = state.passes.running
        distance_m, margin_db = state.place.distance_m, state.swung.get("margin_db")
        if self._in_pass and distance_m is not None and margin_db is not None:
            self.course.add(distance_m, margin_db)


class WithJournal:
    """What a live session and a replay show alike: the newest state and what happened lately."""

    _journal: Journal
    telemetry: Telemetry

    @property
    def snapshot(self) -> Snapshot:
        """The newest state."""
        return self.telemetry.snapshot()

    @property
    def events(self) -> Sequence[SessionEvent]:
        """The latest events, oldest first."""
        return self._journal.events

    def range_check(self, snapshot: Snapshot) -> str:
        """Return the range check that the session began under."""
        identity = snapshot.identity
        return "" if identity is None else self.telemetry.profile.check_words(identity.name)

    @property
    def traces(self) -> Traces:
        """For strip charts."""
        return self._journal.traces

    @property
    def course(self) -> CourseTrace:
        """The margin over distance."""
        return self._journal.course
