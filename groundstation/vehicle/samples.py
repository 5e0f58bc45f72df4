"""What each sample of the vehicle that is followed changes in its state.

Owns which channel goes where: motion to peaks, passes and place, fixes to the place, reports to
the watch. Rule: a channel that is unknown changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from groundstation.radio.watch_setting import WatchSetting
from groundstation.vehicle.control import (
    control_margin_db,
    full_scale_g,
    name_of,
    name_of_ident,
    threshold_of,
)
from groundstation.vehicle.passes import IDLE_PERCENT
from groundstation.vehicle.peaks import ON_BOARD_PEAKS, is_clipped, number
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import Noted, SessionEvent
from groundstation.vehicle.state import TelemetryState
from groundstation.vehicle.telling import pass_ended
from groundstation.vehicle.traces import CHARTED, widen
from protocol import SampleReceived, Value

CLIPPED_APART_S = 2.0


class Samples:
    """Takes the samples of one vehicle."""

    def __init__(self, state: TelemetryState, profile: VehicleProfile) -> None:
        self._state = state
        self._profile = profile
        self._setting = profile.watch_setting(None, None)

    def take(self, sample: SampleReceived, at_s: float) -> list[SessionEvent]:
        """Take note of a sample that is not late; return what is worth telling.

        Args:
            sample: Of the vehicle that is followed.
            at_s: When it arrived, session clock.
        """
        state, values, events = self._state, sample.values, list[SessionEvent]()
        known = state.channels.latest.get(sample.kind.name)
        if sample.kind.name == "ident" and (known is None or known.values != values):
            name, firmware = values["vehicle_name"] or "no name", values["firmware"] or "unknown"
            events.append(Noted(at_s, state.vehicle_s, "vehicle", f"{name}, firmware {firmware}"))
            if self._profile.checks is not None:
                words = self._profile.check_words(name_of_ident(values))
                events.append(Noted(at_s, state.vehicle_s, "check", words))
        state.channels.take(sample, at_s)
        if sample.kind.name == "motion":
            self._take_motion(sample, at_s, events)
        elif sample.kind.name == "fix":
            moved_s = state.place.moved_at_s
            lag_s = 0.0 if moved_s is None else moved_s - sample.vehicle_s
            state.place.take_fix(values, lag_s=lag_s)
            state.passes.take_satellite_speed(number(values, "ground_speed_mps"))
            motion = state.channels.latest.get("motion")
            if motion is None or number(motion.values, "speed_mps") is None:
                self._take_speed(number(values, "ground_speed_mps"), sample, at_s, events)
        elif sample.kind.name == "radio":
            self._take_report(values, at_s)
            margin_db = control_margin_db(state.channels, self._profile, values)
            widen(state.swings, "margin_db", margin_db)
            if margin_db is not None:
                state.passes.take_margin(margin_db, state.place.distance_m)
                state.lowest_margin_db = _lower(state.lowest_margin_db, margin_db)
        return events

    def watch_setting(self) -> WatchSetting:
        """Return how the control link is watched: the profile's word, and the car's own."""
        threshold_dbm = threshold_of(self._state.channels, self._profile)
        prior = self._profile.prior_of(name_of(self._state.channels))
        if self._setting.threshold_dbm != threshold_dbm or self._setting.prior is not prior:
            self._setting = self._profile.watch_setting(threshold_dbm, prior)
        return self._setting

    def _take_motion(self, sample: SampleReceived, at_s: float, events: list[SessionEvent]) -> None:
        state, values = self._state, sample.values
        clipped = is_clipped(values, full_scale_g(state.channels))
        state.peaks.take(values, clipped=clipped)
        for channel in CHARTED:
            widen(state.swings, channel, number(values, channel))
        for peak in ON_BOARD_PEAKS:
            widen(state.swings, "accel_z_g", number(values, peak))
        self._take_speed(number(values, "speed_mps"), sample, at_s, events)
        state.passes.take_yaw_rate(number(values, "yaw_rate_dps"))
        state.passes.take_shock(number(values, "accel_z_max_g"), clipped=clipped)
        if clipped:
            # A rough course clips at every joint: one line tells of all that follow closely.
            if state.clipped_at_s is None or at_s - state.clipped_at_s > CLIPPED_APART_S:
                events.append(
                    Noted(at_s, state.vehicle_s, "clipped", "shocks beyond the accelerometer")
                )
            state.clipped_at_s = at_s

    def _take_speed(
        self,
        speed_mps: float | None,
        sample: SampleReceived,
        at_s: float,
        events: list[SessionEvent],
    ) -> None:
        if speed_mps is None:
            return
        state, profile = self._state, self._profile
        place = state.place
        place.take_motion(sample.values, sample.vehicle_s)
        if place.distance_m is not None:
            state.watch.moved(
                at_s,
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
            events.append(pass_ended(state, at_s))

    def _take_report(self, radio: Mapping[str, Value], at_s: float) -> None:
        self._state.watch.reported(
            at_s,
            rssi_dbm=number(radio, "control_rssi_dbm"),
            received_percent=number(radio, "control_received_percent"),
            signal_raw=number(radio, "control_signal_raw"),
            setting=self.watch_setting(),
        )


def _lower(held: float | None, value: float) -> float:
    return value if held is None else min(held, value)
