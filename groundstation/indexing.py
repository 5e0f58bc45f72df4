"""What a recording keeps beside the raw bytes: an index of events, and states to begin from."""

from __future__ import annotations

from groundstation.recording.writer import Recorder
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import TICK_S
from groundstation.wording import describe, kind_of

CHECKPOINT_TICKS = round(30 / TICK_S)
"""How often the state is kept, for seeking."""


class RecordingIndex:
    """A listener that writes the index of one recording, and closes it."""

    def __init__(self, recorder: Recorder, keeper: StateKeeper) -> None:
        self.recorder = recorder
        self._keeper = keeper

    def happened(self, event: SessionEvent) -> None:
        """Index an event."""
        self.recorder.note_event(event.at_s, event.vehicle_s, kind_of(event), describe(event))

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Keep the state, now and then."""
        if tick and tick % CHECKPOINT_TICKS == 0:
            self.recorder.keep_checkpoint(tick * TICK_S, self._keeper.keep(telemetry.state))

    def close(self, telemetry: Telemetry, *, end_at_s: float) -> None:
        """Close the recording with the counters that the session list shows."""
        identity = telemetry.snapshot().identity
        self.recorder.close(
            end_at_s=end_at_s,
            summary=telemetry.state.summary(),
            vehicle_name=identity.name if identity else None,
        )
