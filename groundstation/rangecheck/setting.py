"""What a range check is told beforehand. Every limit says where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

HEADINGS_DEG = (0, 90, 180, 270)
"""Of the nose: 0 away from the driver, positive to the left."""

HEADING_WORDS = {
    0: "nose away from you",
    90: "nose to the left",
    180: "nose towards you",
    270: "nose to the right",
}
"""As the driver sees it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestLimits:
    """Sensors of a car that stands still. All are common practice, no source, but where said."""

    for_s: float = 5.0
    gyro_bias_dps: float = 3.0
    """A gyro that was zeroed at switching on stays well under this."""
    gyro_noise_dps: float = 1.0
    """One standard deviation of the samples."""
    accel_off_g: float = 0.10
    """Of |accel| from 1 g: zero offset and scale of small sensors add up to some 0.06 g."""
    accel_noise_g: float = 0.10
    satellites: int = 6
    fix_accuracy_m: float = 5.0
    pack_low_v: float | None = None
    """Of this car's pack, from its maker; None judges nothing but that a voltage is reported."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FailsafeLimits:
    """How fast a car must notice, and recover."""

    within_s: float = 1.5
    """From the last control packets to failsafe with neutral throttle."""
    recover_within_s: float = 2.0
    """From the first control packets to leaving failsafe."""
    neutral_percent: float = 3.0
    """Throttle up to this is neutral; braking is neutral too (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkSetting:
    """The walk: where to stand, how long, how the marks are told."""

    marks_m: tuple[float, ...] = ()
    """Distances that will be walked to, in order: then a hold begins by itself once the car has
    been carried and put down. Empty: each mark is told by `mark_typed` or `mark_by_fix`."""
    hold_s: float = 5.0
    headings: int = 4
    """1 or 4, a quarter turn apart."""
    attenuation_db: float = 0.0
    """By how much the transmitter is turned down for the check; added back to every level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseSetting:
    """What the radio must hold for."""

    far_end_m: float | None = None
    """From the driver to the far end of the course, where the throttle is lifted at the latest."""
    top_speed_mps: float | None = None
    """Planned; with the braking it gives the overrun. Without both no margin is judged: HOLD."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSetting:
    """Everything that a check is told beforehand, but the vehicle's profile."""

    rest: RestLimits = RestLimits()
    failsafe: FailsafeLimits = FailsafeLimits()
    walk: WalkSetting = WalkSetting()
    course: CourseSetting = CourseSetting()
    least_distances: int = 3
    least_span: float = 4.0
    """Farthest mark over nearest."""
    least_headings: int = 4
    """At each distance that counts."""
    least_reports: int = 10
    """Of one hold that counts (common practice, no source)."""
    floor_dbm: float | None = None
    """Lowest level the receiver reports, where known: at it, the level is that or less."""
