"""Inbound events and ticks in, session events and snapshots out.

Owns the following of one vehicle: which frames are its own, and what time alone tells. What a
sample changes is in `samples.py`, what is read out of the state in `telling.py`. Pure: the time is
an argument, and the same inbound events and ticks in the same order give the same events and
snapshots, live and in a replay.
"""

from __future__ import annotations

from groundstation.inbound import (
    BytesReceived,
    DriverPlaced,
    Inbound,
    LinkChanged,
    LinkState,
    MarkMade,
    TelemetrySignal,
)
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.samples import Samples
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    SessionEvent,
    SourceChanged,
)
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.state import TelemetryState
from groundstation.vehicle.telling import pass_ended, snapshot_of
from protocol import (
    FrameEvent,
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    Receiver,
    RejectReason,
    SampleReceived,
    Table,
    VehicleRebooted,
)


class Telemetry:
    """Follows one vehicle and both of its radio links."""

    def __init__(
        self,
        profile: VehicleProfile | None = None,
        *,
        table: Table | None = None,
        state: TelemetryState | None = None,
    ) -> None:
        self.profile = profile or VehicleProfile()
        self.state = state or TelemetryState(number=self.profile.number)
        self._receiver = Receiver(table, self.state.stream)
        self._samples = Samples(self.state, self.profile)
        self.now_s = 0.0
        """Time of the last event or tick."""

    def handle(self, inbound: Inbound) -> list[SessionEvent]:
        """Take note of an inbound event; return what is worth telling."""
        self.now_s = inbound.at_s
        match inbound:
            case BytesReceived(at_s, data):
                self.state.source.bytes_received += len(data)
                events: list[SessionEvent] = []
                for frame_event in self._receiver.receive_data(data, at_s):
                    self._take_frame_event(frame_event, at_s, events)
                return events
            case LinkChanged(at_s, link, detail):
                if link is LinkState.CONNECTED:
                    self._receiver.link_restarted()
                else:
                    self.state.source.rssi_dbm = None
                self.state.source.state, self.state.source.detail = link, detail
                return [SourceChanged(at_s, self.state.vehicle_s, link, detail)]
            case TelemetrySignal(_, rssi_dbm):
                self.state.source.rssi_dbm = rssi_dbm
                return []
            case DriverPlaced(_, latitude_deg, longitude_deg):
                self.state.place.stand_at(latitude_deg, longitude_deg)
                text = f"the driver stands at {latitude_deg:.6f}, {longitude_deg:.6f}"
                return [self._noted("driver", text)]
            case MarkMade(_, text):
                self.state.marks += 1
                return [self._noted("mark", text or "mark")]

    def tick(self, now_s: float) -> list[SessionEvent]:
        """Judge what only time tells: silence, levels, peaks that are to be let go."""
        self.now_s = now_s
        state, events = self.state, list[SessionEvent]()
        state.swung = dict(state.swings)
        state.swings.clear()
        state.peaks.tick(now_s)
        silence_s = state.silence_s(now_s)
        if silence_s is not None and state.passes.end_if_silent(silence_s):
            events.append(pass_ended(state, now_s))
        previous = state.watch.judged.level
        view = state.watch.judge(
            now_s,
            silence_s=silence_s,
            failsafe_active=state.channels.failsafe_active(),
            setting=self._samples.watch_setting(),
        )
        state.view = view
        if view.level is not None and view.level is not previous:
            lift_in_s = view.lift_in_s
            events.append(
                LevelChanged(now_s, state.vehicle_s, view.level, previous, view.reason, lift_in_s)
            )
        return events

    def snapshot(self) -> Snapshot:
        """Return all that is known at the time of the last event or tick."""
        return snapshot_of(self.state, self.profile, self.now_s)

    def _take_frame_event(self, event: FrameEvent, at_s: float, events: list[SessionEvent]) -> None:
        state = self.state
        match event:
            case FrameRejected():
                # Joining in the middle of a frame says nothing about the link.
                state.source.rejected += event.reason is not RejectReason.JOINED_MIDWAY
                return
            case FrameUnknown() | SampleReceived() if not self._follows(event.vehicle, events):
                return
            case FramesMissed() | VehicleRebooted() if event.vehicle != state.number:
                return
            case FramesMissed():
                state.loss.missed(at_s, event.count)
                return
            case VehicleRebooted():
                state.reboots += 1
                state.delay.restart()
                events.append(self._noted("reboot", "the car was switched off and on"))
                return
        state.heard_at_s = at_s
        state.loss.received(at_s, late=event.late)
        if isinstance(event, FrameUnknown):
            state.unknown += 1
        if event.late:
            return
        state.vehicle_s = max(event.vehicle_s, state.vehicle_s or 0.0)
        state.delay.take(event.vehicle_s, at_s)
        if isinstance(event, SampleReceived):
            events += self._samples.take(event, at_s)

    def _follows(self, vehicle: int, events: list[SessionEvent]) -> bool:
        """Return whether a vehicle is the one we follow; the first one heard becomes it."""
        state = self.state
        if state.number is None:
            state.number = vehicle
        if vehicle == state.number:
            return True
        if vehicle not in state.others:
            state.others.append(vehicle)
            text = f"another vehicle on this channel: number {vehicle}"
            events.append(self._noted("vehicle", text))
        return False

    def _noted(self, kind: str, text: str) -> Noted:
        return Noted(self.now_s, self.state.vehicle_s, kind, text)
