"""Inbound events and ticks in, session events and snapshots out.

Owns the following of one vehicle. Pure: the time is an argument, and the same inbound events and
ticks in the same order give the same events and snapshots, live and in a replay.
"""

from __future__ import annotations

from collections.abc import Mapping

from groundstation.inbound import (
    BytesReceived,
    DriverPlaced,
    Inbound,
    LinkChanged,
    LinkState,
    MarkMade,
    TelemetrySignal,
)
from groundstation.radio.watch import WatchSetting
from groundstation.vehicle.control import (
    control_link,
    control_margin_db,
    full_scale_g,
    name_of,
    name_of_ident,
    threshold_of,
)
from groundstation.vehicle.peaks import ON_BOARD_PEAKS, is_clipped, number
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
from groundstation.vehicle.snapshot import (
    Forecast,
    Identity,
    LinkFit,
    Snapshot,
    TelemetryLink,
)
from groundstation.vehicle.state import TelemetryState
from groundstation.vehicle.traces import CHARTED
from protocol import (
    FrameEvent,
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    Receiver,
    RejectReason,
    SampleReceived,
    Table,
    Value,
    VehicleRebooted,
)

CLIPPED_APART_S = 2.0

IDLE_PERCENT = 0.5
"""Throttle up to which the car is not driven."""


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
        self._setting = self.profile.watch_setting(None, None)
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
        silence_s = self._silence_s()
        if silence_s is not None and state.passes.end_if_silent(silence_s):
            events.append(self._pass_ended())
        previous = state.watch.judged.level
        view = state.watch.judge(
            now_s,
            silence_s=silence_s,
            failsafe_active=state.channels.failsafe_active(),
            setting=self._watch_setting(),
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
        state, now_s = self.state, self.now_s
        newest_pass = state.passes.newest
        return Snapshot(
            at_s=now_s,
            vehicle_s=state.vehicle_s,
            identity=self._identity(),
            channels=state.channels.readings(now_s),
            swings=dict(state.swung),
            peaks=state.peaks.held(),
            control=control_link(state.channels, self.profile, now_s),
            telemetry=self._telemetry_link(),
            forecast=self._forecast(),
            level=state.watch.judged.level,
            level_reason=state.watch.judged.reason,
            level_since_s=state.watch.judged.since_s,
            in_pass=state.passes.running,
            passes=state.passes.completed,
            pass_peak_speed_mps=None if newest_pass is None else newest_pass.peak_speed_mps,
            reboots=state.reboots,
        )

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
            self._take_sample(event, at_s, events)

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

    def _take_sample(self, sample: SampleReceived, at_s: float, events: list[SessionEvent]) -> None:
        state, values = self.state, sample.values
        known = state.channels.latest.get(sample.kind.name)
        if sample.kind.name == "ident" and (known is None or known.values != values):
            name, firmware = values["vehicle_name"] or "no name", values["firmware"] or "unknown"
            events.append(self._noted("vehicle", f"{name}, firmware {firmware}"))
            if self.profile.checks is not None:
                words = self.profile.check_words(name_of_ident(values))
                events.append(self._noted("check", words))
        state.channels.take(sample, at_s)
        if sample.kind.name == "motion":
            self._take_motion(sample, events)
        elif sample.kind.name == "fix":
            moved_s = state.place.moved_at_s
            lag_s = 0.0 if moved_s is None else moved_s - sample.vehicle_s
            state.place.take_fix(values, lag_s=lag_s)
            state.passes.take_satellite_speed(number(values, "ground_speed_mps"))
            motion = state.channels.latest.get("motion")
            if motion is None or number(motion.values, "speed_mps") is None:
                self._take_speed(number(values, "ground_speed_mps"), sample, events)
        elif sample.kind.name == "radio":
            self._take_report(values)
            margin_db = control_margin_db(state.channels, self.profile, values)
            self._swing("margin_db", margin_db)
            if margin_db is not None:
                state.passes.take_margin(margin_db, state.place.distance_m)
                state.lowest_margin_db = _lower(state.lowest_margin_db, margin_db)

    def _take_motion(self, sample: SampleReceived, events: list[SessionEvent]) -> None:
        state, values = self.state, sample.values
        clipped = is_clipped(values, full_scale_g(state.channels))
        state.peaks.take(values, clipped=clipped)
        for channel in CHARTED:
            self._swing(channel, number(values, channel))
        for peak in ON_BOARD_PEAKS:
            self._swing("accel_z_g", number(values, peak))
        self._take_speed(number(values, "speed_mps"), sample, events)
        state.passes.take_yaw_rate(number(values, "yaw_rate_dps"))
        state.passes.take_shock(number(values, "accel_z_max_g"), clipped=clipped)
        if clipped:
            # A rough course clips at every joint: one line tells of all that follow closely.
            if state.clipped_at_s is None or self.now_s - state.clipped_at_s > CLIPPED_APART_S:
                events.append(self._noted("clipped", "shocks beyond the accelerometer"))
            state.clipped_at_s = self.now_s

    def _take_speed(
        self, speed_mps: float | None, sample: SampleReceived, events: list[SessionEvent]
    ) -> None:
        if speed_mps is None:
            return
        state, profile = self.state, self.profile
        place = state.place
        place.take_motion(sample.values, sample.vehicle_s)
        if place.distance_m is not None:
            state.watch.moved(
                self.now_s,
                distance_m=place.distance_m,
                distance_sigma_m=place.distance_sigma_m,
                speed_mps=place.speed_mps,
                away_mps=place.away_mps,
                brakes=sample.values.get("brake_on") is True,
            )
        state.peak_speed_mps = max(speed_mps, state.peak_speed_mps or 0.0)
        throttle_percent = number(sample.values, "throttle_percent")
        if state.passes.take_speed(
            speed_mps,
            sample.vehicle_s,
            begin_mps=profile.pass_speed_mps,
            end_mps=profile.pass_end_speed_mps,
            driven=None if throttle_percent is None else throttle_percent > IDLE_PERCENT,
        ):
            events.append(self._pass_ended())

    def _take_report(self, radio: Mapping[str, Value]) -> None:
        self.state.watch.reported(
            self.now_s,
            rssi_dbm=number(radio, "control_rssi_dbm"),
            received_percent=number(radio, "control_received_percent"),
            signal_raw=number(radio, "control_signal_raw"),
            setting=self._watch_setting(),
        )

    def _watch_setting(self) -> WatchSetting:
        threshold_dbm = threshold_of(self.state.channels, self.profile)
        prior = self.profile.prior_of(name_of(self.state.channels))
        if self._setting.threshold_dbm != threshold_dbm or self._setting.prior is not prior:
            self._setting = self.profile.watch_setting(threshold_dbm, prior)
        return self._setting

    def _forecast(self) -> Forecast:
        view, place = self.state.view, self.state.place
        if view is None:
            return Forecast()
        fit, threshold_dbm = view.fit, self._setting.threshold_dbm
        return Forecast(
            distance_m=place.distance_m,
            distance_origin=place.origin or "",
            away_mps=None if place.distance_m is None else place.away_mps,
            stop_margin_db=view.stop_margin_db,
            stop_margin_p05_db=view.stop_margin_p05_db,
            lift_in_s=view.lift_in_s,
            stop_point_m=view.stop_point_m,
            lift_point_m=view.lift_point_m,
            range_edge_m=view.range_edge_m,
            fit=None
            if fit is None or threshold_dbm is None
            else LinkFit(
                margin_at_1m_db=fit.level_at_1m_dbm - threshold_dbm,
                exponent=fit.exponent,
                sigma_db=fit.level_sigma_db,
            ),
        )

    def _swing(self, channel: str, value: float | None) -> None:
        """Widen a channel's swing since the last tick to a value, where it is known."""
        if value is None:
            return
        swings = self.state.swings
        low, high = swings.get(channel, (value, value))
        if value < low:
            low = value
        if value > high:
            high = value
        swings[channel] = (low, high)

    def _silence_s(self) -> float | None:
        heard_at_s = self.state.heard_at_s
        return None if heard_at_s is None else max(self.now_s - heard_at_s, 0.0)

    def _noted(self, kind: str, text: str) -> Noted:
        return Noted(self.now_s, self.state.vehicle_s, kind, text)

    def _pass_ended(self) -> PassEnded:
        ended = self.state.passes.newest
        assert ended is not None
        return PassEnded(
            self.now_s,
            self.state.vehicle_s,
            number=ended.number,
            started_vehicle_s=ended.started_vehicle_s,
            ended_vehicle_s=ended.ended_vehicle_s,
            peak_speed_mps=ended.peak_speed_mps,
            lowest_margin_db=ended.lowest_margin_db,
            accel_z_max_g=ended.accel_z_max_g,
            clipped=ended.clipped,
            satellite_peak_mps=ended.satellite_peak_mps,
            lowest_margin_at_m=ended.lowest_margin_at_m,
            yaw_rate_abs_dps=ended.yaw_rate_abs_dps,
            braking_mps2=ended.braking_mps2,
        )

    def _identity(self) -> Identity | None:
        state = self.state
        if state.number is None or state.heard_at_s is None:
            return None
        ident = state.channels.latest.get("ident")
        values = ident.values if ident else {}
        name, firmware = values.get("vehicle_name"), values.get("firmware")
        return Identity(
            state.number,
            name if isinstance(name, str) else self.profile.name,
            firmware if isinstance(firmware, str) else None,
            tuple(state.others),
        )

    def _telemetry_link(self) -> TelemetryLink:
        state = self.state
        recent_loss_ratio, frames_per_s = state.loss.recent(self.now_s)
        return TelemetryLink(
            state=state.source.state,
            detail=state.source.detail,
            frames=state.loss.frames,
            lost=state.loss.lost,
            rejected=state.source.rejected,
            unknown=state.unknown,
            bytes_received=state.source.bytes_received,
            loss_ratio=state.loss.ratio,
            recent_loss_ratio=recent_loss_ratio,
            frames_per_s=frames_per_s,
            age_s=self._silence_s(),
            latency_s=state.delay.latency_s,
            jitter_s=state.delay.jitter,
            rssi_dbm=state.source.rssi_dbm,
        )


def _lower(held: float | None, value: float) -> float:
    return value if held is None else min(held, value)
