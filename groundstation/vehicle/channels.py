"""The newest value of every channel, and when it is too old to show."""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.vehicle.snapshot import Reading
from protocol import SampleReceived, Value

STALE_AFTER_INTERVALS = 5.0
STALE_AT_LEAST_S = 0.3
"""Bluetooth hands over in bunches: less than this is no sign of silence."""


@dataclass(slots=True)
class LatestSample:
    """The newest sample of one kind."""

    values: dict[str, Value]
    vehicle_s: float
    at_s: float
    interval_s: float | None = None
    """Smoothed time between samples of this kind, by the vehicle's clock; None after only one."""

    def is_stale(self, now_s: float) -> bool:
        """Return whether the next sample is overdue."""
        usual_s = STALE_AFTER_INTERVALS * (self.interval_s or 1.0)
        return now_s - self.at_s > max(usual_s, STALE_AT_LEAST_S)


@dataclass(slots=True)
class Channels:
    """The newest sample of every kind, by the kind's name."""

    latest: dict[str, LatestSample] = field(default_factory=dict)

    def take(self, sample: SampleReceived, at_s: float) -> None:
        """Take note of a sample that is not late."""
        held, values = self.latest.get(sample.kind.name), dict(sample.values)
        if held is None:
            self.latest[sample.kind.name] = LatestSample(values, sample.vehicle_s, at_s)
            return
        step_s = sample.vehicle_s - held.vehicle_s
        if step_s > 0:
            usual_s = held.interval_s
            # A gap is a loss, not a slower rate: it may pull the estimate only a little.
            held.interval_s = (
                step_s if usual_s is None else usual_s + (min(step_s, 3 * usual_s) - usual_s) / 16
            )
        held.values, held.vehicle_s, held.at_s = values, sample.vehicle_s, at_s

    def fresh(self, kind: str, now_s: float) -> dict[str, Value]:
        """Return the newest values of a kind; empty where there are none or they are stale."""
        held = self.latest.get(kind)
        return {} if held is None or held.is_stale(now_s) else held.values

    def failsafe_active(self) -> bool | None:
        """Return the newest failsafe flag, however old; None where the car never sent one."""
        held = self.latest.get("motion")
        flag = held.values.get("failsafe_active") if held else None
        return flag if isinstance(flag, bool) else None

    def readings(self, now_s: float) -> dict[str, Reading]:
        """Return every channel ever heard."""
        readings: dict[str, Reading] = {}
        for held in self.latest.values():
            stale = held.is_stale(now_s)
            for name, value in held.values.items():
                readings[name] = Reading(value, held.vehicle_s, held.at_s, stale)
        return readings
