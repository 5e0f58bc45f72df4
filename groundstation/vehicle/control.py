"""The control link as the car reports it: RSSI, threshold and the margin between them."""

from __future__ import annotations

from collections.abc import Mapping

from groundstation.vehicle.channels import Channels
from groundstation.vehicle.peaks import number
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.snapshot import ControlLink
from protocol import Value


def full_scale_g(channels: Channels) -> float | None:
    """Return the accelerometer's full scale, None before an ident frame tells it."""
    return number(_ident(channels), "accel_full_scale_g")


def control_margin_db(
    channels: Channels, profile: VehicleProfile, radio: Mapping[str, Value]
) -> float | None:
    """Return what RSSI has beyond the threshold; None where either is not known.

    Args:
        channels: Tell the threshold where the profile does not.
        profile: Of the vehicle.
        radio: The radio sample that is now; empty where there is none.
    """
    rssi_dbm, threshold_dbm = number(radio, "control_rssi_dbm"), threshold_of(channels, profile)
    return None if rssi_dbm is None or threshold_dbm is None else rssi_dbm - threshold_dbm


def control_link(channels: Channels, profile: VehicleProfile, now_s: float) -> ControlLink:
    """Return the control link; figures that are too old to be now are None."""
    radio = channels.fresh("radio", now_s)
    threshold_dbm = threshold_of(channels, profile)
    origin = "ident frame" if profile.threshold_dbm is None else "profile"
    antenna, failsafe_count = radio.get("antenna"), radio.get("failsafe_count")
    return ControlLink(
        rssi_dbm=number(radio, "control_rssi_dbm"),
        snr_db=number(radio, "control_snr_db"),
        received_percent=number(radio, "control_received_percent"),
        antenna=antenna if isinstance(antenna, int) else None,
        failsafe_active=channels.failsafe_active(),
        failsafe_count=failsafe_count if isinstance(failsafe_count, int) else None,
        threshold_dbm=threshold_dbm,
        threshold_origin="" if threshold_dbm is None else origin,
        margin_db=control_margin_db(channels, profile, radio),
        stale=not radio and "radio" in channels.latest,
    )


def threshold_of(channels: Channels, profile: VehicleProfile) -> float | None:
    """Return the level at which the control receiver stops working, in dBm: profile or ident."""
    if profile.threshold_dbm is not None:
        return profile.threshold_dbm
    return number(_ident(channels), "control_sensitivity_dbm")


def name_of(channels: Channels) -> str | None:
    """Return the vehicle's name, None before an ident frame tells it."""
    return name_of_ident(_ident(channels))


def name_of_ident(ident: Mapping[str, Value]) -> str | None:
    """Return the name that an ident frame gives; None where it gives none."""
    name = ident.get("vehicle_name")
    return name if isinstance(name, str) else None


def _ident(channels: Channels) -> dict[str, Value]:
    # Who the car is does not go stale: the newest ident frame holds until another comes.
    held = channels.latest.get("ident")
    return {} if held is None else held.values
