"""What happened, worth telling: the events that screens list and JSON lines print."""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.inbound import LinkState
from groundstation.radio.level import Level


@dataclass(frozen=True, slots=True)
class LevelChanged:
    """The control link's level changed."""

    at_s: float
    vehicle_s: float | None
    level: Level
    previous: Level | None
    reason: str
    lift_in_s: float | None = None


@dataclass(frozen=True, slots=True)
class SourceChanged:
    """The source's connection changed."""

    at_s: float
    vehicle_s: float | None
    state: LinkState
    detail: str


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over."""

    at_s: float
    vehicle_s: float | None
    number: int
    """Counted from 1."""
    started_vehicle_s: float
    ended_vehicle_s: float
    peak_speed_mps: float
    lowest_margin_db: float | None
    accel_z_max_g: float | None
    clipped: bool
    """Some shock went beyond the accelerometer: its peak was not measured."""
    satellite_peak_mps: float | None = None
    """Highest median of three neighbouring satellite speeds; the wheels may have slipped."""
    lowest_margin_at_m: float | None = None
    """Distance from the driver where it was lowest."""
    yaw_rate_abs_dps: float | None = None
    """Largest |yaw rate|."""
    braking_mps2: float | None = None
    """Mean deceleration from the last lift on."""


@dataclass(frozen=True, slots=True)
class Noted:
    """Anything else worth a line in the event list."""

    at_s: float
    vehicle_s: float | None
    kind: str
    """One word: mark, vehicle, reboot, clipped, pass."""
    text: str


SessionEvent = LevelChanged | SourceChanged | PassEnded | Noted
