"""Peaks worth holding for the eye, and what charts need between two ticks.

A peak that the accelerometer could not follow is "clipped": it was at least that, never a value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from groundstation.vehicle.snapshot import HeldPeaks
from protocol import Value

HELD_S = 5.0
CLIPPED_AT = 0.995
"""Share of full scale from which a peak counts as clipped (common practice, no source)."""

ON_BOARD_PEAKS = ("accel_z_max_g", "accel_z_min_g")
"""Highest and lowest accel_z since the frame before."""

Tick = tuple[float, float | None, float | None, float | None, float | None, bool]
"""Time, highest and lowest accel_z, largest |accel_y| and |yaw rate|, clipped."""


def number(values: Mapping[str, Value], name: str) -> float | None:
    """Return a channel as a number; None where it is not one."""
    value = values.get(name)
    # The exact type, because a flag is an int to Python too.
    return value if type(value) is float or type(value) is int else None


def is_clipped(values: Mapping[str, Value], full_scale_g: float | None) -> bool:
    """Return whether a motion sample says that a shock went beyond the accelerometer."""
    if values.get("sensor_clipped") or number(values, "clipped_samples"):
        return True
    if full_scale_g is None:
        return False
    for name in ON_BOARD_PEAKS:
        peak = number(values, name)
        if peak is not None and abs(peak) >= CLIPPED_AT * full_scale_g:
            return True
    return False


@dataclass(slots=True)
class Peaks:
    """Peaks of the last few seconds."""

    ticks: list[Tick] = field(default_factory=list)
    highest: float | None = None
    lowest: float | None = None
    lateral: float | None = None
    yaw: float | None = None
    clipped: bool = False

    def take(self, values: Mapping[str, Value], *, clipped: bool) -> None:
        """Take note of a motion sample."""
        for name in ("accel_z_g", *ON_BOARD_PEAKS):
            peak = number(values, name)
            if peak is not None:
                if self.highest is None or peak > self.highest:
                    self.highest = peak
                if self.lowest is None or peak < self.lowest:
                    self.lowest = peak
        self.lateral = _larger(self.lateral, number(values, "accel_y_g"))
        self.yaw = _larger(self.yaw, number(values, "yaw_rate_dps"))
        self.clipped = self.clipped or clipped

    def tick(self, now_s: float) -> None:
        """Close the interval since the tick before, and let old peaks go."""
        tick = (now_s, self.highest, self.lowest, self.lateral, self.yaw, self.clipped)
        if tick[1:] != (None, None, None, None, False):
            self.ticks.append(tick)
        while self.ticks and self.ticks[0][0] < now_s - HELD_S:
            del self.ticks[0]
        self.highest = self.lowest = self.lateral = self.yaw = None
        self.clipped = False

    def held(self) -> HeldPeaks:
        """Return the peaks of the last few seconds."""
        return HeldPeaks(
            accel_z_max_g=max((t[1] for t in self.ticks if t[1] is not None), default=None),
            accel_z_min_g=min((t[2] for t in self.ticks if t[2] is not None), default=None),
            accel_y_abs_g=max((t[3] for t in self.ticks if t[3] is not None), default=None),
            yaw_rate_abs_dps=max((t[4] for t in self.ticks if t[4] is not None), default=None),
            clipped=any(t[5] for t in self.ticks),
        )


def _larger(held: float | None, value: float | None) -> float | None:
    if value is None:
        return held
    return abs(value) if held is None else max(held, abs(value))
