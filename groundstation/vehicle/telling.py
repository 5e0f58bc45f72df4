"""The state read out: as a frozen snapshot, and as what is told of a pass that is over.

Rule: nothing here changes the state.
"""

from __future__ import annotations

from groundstation.vehicle.control import control_link, threshold_of
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import PassEnded
from groundstation.vehicle.snapshot import (
    Forecast,
    Identity,
    LinkFit,
    Snapshot,
    TelemetryLink,
)
from groundstation.vehicle.state import TelemetryState


def snapshot_of(state: TelemetryState, profile: VehicleProfile, now_s: float) -> Snapshot:
    """Return all that is known at a time.

    Args:
        state: Up to then.
        profile: Of the vehicle.
        now_s: Session clock, of the last event or tick.
    """
    newest_pass = state.passes.newest
    return Snapshot(
        at_s=now_s,
        vehicle_s=state.vehicle_s,
        identity=_identity(state, profile),
        channels=state.channels.readings(now_s),
        swings=dict(state.swung),
        peaks=state.peaks.held(),
        control=control_link(state.channels, profile, now_s),
        telemetry=_telemetry_link(state, now_s),
        forecast=_forecast(state, threshold_of(state.channels, profile)),
        level=state.watch.judged.level,
        level_reason=state.watch.judged.reason,
        level_since_s=state.watch.judged.since_s,
        in_pass=state.passes.running,
        passes=state.passes.completed,
        pass_peak_speed_mps=None if newest_pass is None else newest_pass.peak_speed_mps,
        reboots=state.reboots,
    )


def pass_ended(state: TelemetryState, at_s: float) -> PassEnded:
    """Return what is told of the newest pass, which is over."""
    ended = state.passes.newest
    assert ended is not None
    return PassEnded(
        at_s,
        state.vehicle_s,
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


def _identity(state: TelemetryState, profile: VehicleProfile) -> Identity | None:
    if state.number is None or state.heard_at_s is None:
        return None
    ident = state.channels.latest.get("ident")
    values = ident.values if ident else {}
    name, firmware = values.get("vehicle_name"), values.get("firmware")
    return Identity(
        state.number,
        name if isinstance(name, str) else profile.name,
        firmware if isinstance(firmware, str) else None,
        tuple(state.others),
    )


def _telemetry_link(state: TelemetryState, now_s: float) -> TelemetryLink:
    recent_loss_ratio, frames_per_s = state.loss.recent(now_s)
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
        age_s=state.silence_s(now_s),
        latency_s=state.delay.latency_s,
        jitter_s=state.delay.jitter,
        rssi_dbm=state.source.rssi_dbm,
    )


def _forecast(state: TelemetryState, threshold_dbm: float | None) -> Forecast:
    view, place = state.view, state.place
    if view is None:
        return Forecast()
    fit = view.fit
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
