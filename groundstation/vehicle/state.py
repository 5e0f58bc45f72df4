"""All that `Telemetry` remembers, as plain data.

Rule: everything that a later snapshot depends on lives here and nowhere else. So a replay can go
on from a kept copy and give the very same numbers as if it had been run from the beginning.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.inbound import LinkState
from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import WatchView
from groundstation.vehicle.channels import Channels
from groundstation.vehicle.delay import Delay
from groundstation.vehicle.loss import Loss
from groundstation.vehicle.passes import Passes
from groundstation.vehicle.peaks import Peaks
from groundstation.vehicle.place import Place
from protocol.receiver import Stream


@dataclass(slots=True)
class SourceState:
    """What the source says of itself, and what it gave."""

    state: LinkState | None = None
    detail: str = ""
    bytes_received: int = 0
    rejected: int = 0
    rssi_dbm: float | None = None


@dataclass(slots=True)
class TelemetryState:
    """The memory of one session."""

    stream: Stream = field(default_factory=Stream)
    source: SourceState = field(default_factory=SourceState)
    number: int | None = None
    """Vehicle number that is followed."""
    others: list[int] = field(default_factory=list)
    reboots: int = 0
    unknown: int = 0
    """Good frames of kinds that are not in the table."""
    heard_at_s: float | None = None
    """Arrival of the newest good frame."""
    vehicle_s: float | None = None
    channels: Channels = field(default_factory=Channels)
    loss: Loss = field(default_factory=Loss)
    delay: Delay = field(default_factory=Delay)
    peaks: Peaks = field(default_factory=Peaks)
    place: Place = field(default_factory=Place)
    passes: Passes = field(default_factory=Passes)
    watch: LinkWatch = field(default_factory=LinkWatch)
    view: WatchView | None = None
    """The control link and its forecast at the last tick."""
    swings: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest of the charted channels since the last tick."""
    swung: dict[str, tuple[float, float]] = field(default_factory=dict)
    """The same between the last two ticks."""
    clipped_at_s: float | None = None
    """Arrival of the newest clipped motion frame."""
    peak_speed_mps: float | None = None
    lowest_margin_db: float | None = None
    marks: int = 0

    def silence_s(self, now_s: float) -> float | None:
        """Return for how long nothing has been heard; None where nothing ever was."""
        return None if self.heard_at_s is None else max(now_s - self.heard_at_s, 0.0)

    def summary(self) -> dict[str, float | int | None]:
        """Return the figures by which a session is listed."""
        return {
            "frames": self.loss.frames,
            "lost": self.loss.lost,
            "rejected": self.source.rejected,
            "unknown": self.unknown,
            "bytes": self.source.bytes_received,
            "passes": self.passes.completed,
            "marks": self.marks,
            "peak_speed_mps": self.peak_speed_mps,
            "lowest_margin_db": None
            if self.lowest_margin_db is None
            else round(self.lowest_margin_db, 3),
        }
