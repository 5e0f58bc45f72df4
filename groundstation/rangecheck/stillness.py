"""Whether the car stands still, and by how much it has been turned.

Owns what a gyro and an accelerometer say of a car in somebody's hands. Rule: one odd sample is no
movement. Durations are counted on the vehicle's clock, so that frames that arrive in bunches
do not turn the car.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from groundstation.vehicle.peaks import number
from protocol import Value

MOVING_DPS = 6.0
MOVING_G = 0.12
"""Of |accel| from its mean over a second; a walk gives some 0.2 g (common practice, no source)."""
MOVING_MPS = 0.5
"""Of the wheels."""
ODD_SAMPLES = 3
"""In a row, more or less, make a movement."""
LONGEST_STEP_S = 0.25
"""A gap is not bridged by the yaw rate before it."""
MEAN_S = 1.0
"""Time constant of the mean acceleration, and of the bias."""
LEARNS_AFTER_S = 0.5
"""A stretch shorter than this is a moment between two steps: it teaches no bias."""
STEADY_DPS = 1.5
STEADY_S = 2.5
"""A yaw rate that keeps within this for so long is the zero of a gyro that is off, whatever it
says: nobody turns a car by hand so evenly for so long."""


@dataclass(slots=True)
class Stillness:
    """Follows one car; plain data."""

    bias_dps: float = 0.0
    mean_g: float | None = None
    still_s: float = 0.0
    """For how long it has stood, by motion frames."""
    moving_s: float = 0.0
    """Time moved since `begin`."""
    turned_deg: float = 0.0
    """Since `begin`, positive to the left."""
    odd: int = 0
    sample_s: float | None = None
    anchor_dps: float = 0.0
    steady_s: float = 0.0
    """For how long the yaw rate has kept near `anchor_dps`."""

    @property
    def moving(self) -> bool:
        """Whether the car moves."""
        return self.odd >= ODD_SAMPLES

    def begin(self) -> None:
        """Count turning and moving from here."""
        self.turned_deg = self.moving_s = 0.0

    def take(self, values: Mapping[str, Value], vehicle_s: float) -> None:
        """Take note of a motion frame."""
        step_s = 0.0 if self.sample_s is None else vehicle_s - self.sample_s
        self.sample_s = vehicle_s
        if not 0.0 <= step_s <= LONGEST_STEP_S:
            step_s = 0.0
            self.still_s = 0.0
        yaw_dps, accel_g = number(values, "yaw_rate_dps"), magnitude_g(values)
        turning_dps = 0.0 if yaw_dps is None else yaw_dps - self.bias_dps
        self._look_for_zero(yaw_dps, step_s)
        self.turned_deg += turning_dps * step_s
        if self._is_odd(turning_dps, accel_g, number(values, "speed_mps"), step_s):
            self.odd = min(self.odd + 1, 2 * ODD_SAMPLES)
        else:
            self.odd = max(self.odd - 1, 0)
        if self.moving:
            self.moving_s += step_s
            self.still_s = 0.0
            return
        self.still_s += step_s
        if self.odd == 0 and self.still_s > LEARNS_AFTER_S:
            self.bias_dps += min(step_s / MEAN_S, 1.0) * turning_dps

    def _look_for_zero(self, yaw_dps: float | None, step_s: float) -> None:
        if yaw_dps is None or abs(yaw_dps - self.anchor_dps) > STEADY_DPS:
            self.anchor_dps, self.steady_s = yaw_dps or 0.0, 0.0
            return
        self.steady_s += step_s
        if self.steady_s >= STEADY_S and abs(self.anchor_dps - self.bias_dps) > STEADY_DPS:
            self.bias_dps = self.anchor_dps

    def _is_odd(
        self, turning_dps: float, accel_g: float | None, speed_mps: float | None, step_s: float
    ) -> bool:
        shaken = False
        if accel_g is not None:
            self.mean_g = accel_g if self.mean_g is None else self.mean_g
            self.mean_g += min(step_s / MEAN_S, 1.0) * (accel_g - self.mean_g)
            shaken = abs(accel_g - self.mean_g) > MOVING_G
        driven = speed_mps is not None and speed_mps > MOVING_MPS
        return shaken or driven or abs(turning_dps) > MOVING_DPS


def magnitude_g(values: Mapping[str, Value]) -> float | None:
    """Return |accel| of a motion frame; None where an axis is not known."""
    square = 0.0
    for axis in ("accel_x_g", "accel_y_g", "accel_z_g"):
        part = number(values, axis)
        if part is None:
            return None
        square += part * part
    return sqrt(square)
