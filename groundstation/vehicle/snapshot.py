"""All that is known at one moment, frozen: the only thing screens, sound and JSON lines read.

`None` says "not known" everywhere; it is never replaced by a zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from groundstation.inbound import LinkState
from groundstation.radio.level import Level
from protocol import Value


@dataclass(frozen=True, slots=True)
class Reading:
    """The newest value of one channel."""

    value: Value
    vehicle_s: float
    at_s: float
    stale: bool
    """Overdue by several of its own intervals: do not show it as if it were now."""


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the car is."""

    number: int
    """Vehicle number in the frame header."""
    name: str | None = None
    """Free of control characters; markup and path separators are the reader's to escape."""
    firmware: str | None = None
    others: tuple[int, ...] = ()
    """Numbers of other vehicles heard on the same channel."""


@dataclass(frozen=True, slots=True)
class HeldPeaks:
    """Highest and lowest values of the last few seconds, from the on-board peaks."""

    accel_z_max_g: float | None = None
    accel_z_min_g: float | None = None
    accel_y_abs_g: float | None = None
    """Largest |accel_y|."""
    yaw_rate_abs_dps: float | None = None
    """Largest |yaw rate|."""
    clipped: bool = False
    """The accelerometer hit full scale: the vertical peaks are "at least", never a value."""


@dataclass(frozen=True, slots=True)
class ControlLink:
    """Transmitter to car, as the car measures it. Losing it is what crashes cars."""

    rssi_dbm: float | None = None
    snr_db: float | None = None
    received_percent: float | None = None
    antenna: int | None = None
    failsafe_active: bool | None = None
    failsafe_count: int | None = None
    threshold_dbm: float | None = None
    threshold_origin: str = ""
    """Where the threshold comes from: "ident frame" or "profile"."""
    margin_db: float | None = None
    """RSSI less threshold."""
    stale: bool = False
    """The car's last report is old: the figures above are not now."""


@dataclass(frozen=True, slots=True)
class TelemetryLink:
    """Car to laptop, as we measure it. Losing it makes us blind."""

    state: LinkState | None = None
    """What the source says; None before it said anything."""
    detail: str = ""
    frames: int = 0
    lost: int = 0
    """By sequence numbers."""
    rejected: int = 0
    unknown: int = 0
    """Good frames of kinds that are not in the table."""
    bytes_received: int = 0
    loss_ratio: float | None = None
    """Lost frames of all that were sent, over the session."""
    recent_loss_ratio: float | None = None
    """The same over the last seconds."""
    frames_per_s: float | None = None
    age_s: float | None = None
    """Since the last good frame."""
    latency_s: float | None = None
    """Delay of the newest frame beyond the smallest seen; the smallest itself cannot be known."""
    jitter_s: float | None = None
    """Smoothed change of the delay from frame to frame (RFC 3550)."""
    rssi_dbm: float | None = None


@dataclass(frozen=True, slots=True)
class LinkFit:
    """The control link over distance, as far as it is known: a line over log10 of the distance."""

    margin_at_1m_db: float
    exponent: float
    sigma_db: float
    """One standard deviation of the margin about the line where the car is."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where the car would stop if the driver lifted now, and how the link would be there."""

    distance_m: float | None = None
    """From the driver."""
    distance_origin: str = ""
    """Whose position that is measured from, in words."""
    away_mps: float | None = None
    """Speed of leaving; negative while the car comes nearer."""
    stop_margin_db: float | None = None
    stop_margin_p05_db: float | None = None
    """The 5 % quantile."""
    lift_in_s: float | None = None
    """Until the lift point; 0 when it is reached."""
    stop_point_m: float | None = None
    """Where the car would come to rest, from the driver."""
    lift_point_m: float | None = None
    """Last place to lift so that the car stops inside range."""
    range_edge_m: float | None = None
    """Where the margin is used up, by the fit."""
    fit: LinkFit | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that is known at `at_s`."""

    at_s: float = 0.0
    """Session clock."""
    vehicle_s: float | None = None
    """The vehicle's clock, unrolled, of the newest sample."""
    identity: Identity | None = None
    """None before the first good frame."""
    channels: Mapping[str, Reading] | None = None
    """By name; every channel ever heard, a builder's own too."""
    swings: Mapping[str, tuple[float, float]] | None = None
    """Lowest and highest value of the charted channels between the last two ticks; a chart drawn
    from these loses no peak."""
    peaks: HeldPeaks = HeldPeaks()
    control: ControlLink = ControlLink()
    telemetry: TelemetryLink = TelemetryLink()
    forecast: Forecast = Forecast()
    level: Level | None = None
    """None before anything is known of the control link."""
    level_reason: str = ""
    level_since_s: float = 0.0
    in_pass: bool = False
    passes: int = 0
    """Passes completed."""
    pass_peak_speed_mps: float | None = None
    """Of the pass that runs, else of the last one."""
    reboots: int = 0

    def value(self, channel: str) -> Value:
        """Return the newest value of a channel; None where it is unknown or stale."""
        reading = (self.channels or {}).get(channel)
        return None if reading is None or reading.stale else reading.value

    def number(self, channel: str) -> float | None:
        """Return the newest value of a numeric channel; None where it is unknown or stale."""
        value = self.value(channel)
        return value if isinstance(value, (int, float)) and not isinstance(value, bool) else None
