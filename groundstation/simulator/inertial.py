"""Gyro and accelerometer on board, read 1000 times a second.

Owns what a sensor does to the truth: bias, noise, full scale. A motion frame carries the mean of
the samples since the frame before, and of the vertical axis also the highest, the lowest and
how many stood at full scale: beyond it nothing was measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import radians

from groundstation.simulator.noise import Stream, generator, normals

ONE_DPS = radians(1.0)


@dataclass(frozen=True, slots=True)
class InertialParameters:
    """An inertial sensor."""

    accel_full_scale_g: float = 16.0
    accel_noise_g: float = 0.03
    """Of one sample, one sigma."""
    accel_bias_g: float = 0.012
    """One sigma over sensors."""
    gyro_full_scale_dps: float = 2000.0
    gyro_noise_dps: float = 0.25
    """Of one sample, one sigma."""
    gyro_bias_dps: float = 0.35
    """One sigma over sensors."""


@dataclass(frozen=True, slots=True)
class InertialReading:
    """What a motion frame says of the inertial sensors."""

    yaw_rate_dps: float
    accel_x_g: float
    accel_y_g: float
    accel_z_g: float
    accel_z_max_g: float
    accel_z_min_g: float
    clipped_samples: int


def clip(samples_g: Sequence[float], full_scale_g: float) -> tuple[list[float], int]:
    """Return the samples bounded by the full scale, and how many stand at it."""
    bounded = [
        full_scale_g if each > full_scale_g else -full_scale_g if each < -full_scale_g else each
        for each in samples_g
    ]
    return bounded, sum(1 for each in bounded if each >= full_scale_g or each <= -full_scale_g)


class InertialSensors:
    """One gyro and one accelerometer, with biases of their own."""

    def __init__(self, parameters: InertialParameters, *, seed: int) -> None:
        self.parameters = parameters
        self._noise: Iterator[float] = normals(generator(seed, Stream.INERTIAL))
        self.accel_bias_g = tuple(parameters.accel_bias_g * next(self._noise) for _ in range(3))
        self.gyro_bias_dps = parameters.gyro_bias_dps * next(self._noise)

    def read(
        self,
        *,
        yaw_rate_dps: float,
        x_g: Sequence[float],
        y_g: Sequence[float],
        z_g: Sequence[float],
    ) -> InertialReading:
        """Return the reading of one frame.

        Args:
            yaw_rate_dps: True, at the end of the frame.
            x_g: True specific force forward since the frame before, one sample or more.
            y_g: The same to the left.
            z_g: The same upward, each sample with its noise.
        """
        given, noise = self.parameters, self._noise
        full_g, full_dps = given.accel_full_scale_g, given.gyro_full_scale_dps
        x_bias_g, y_bias_g, z_bias_g = self.accel_bias_g
        mean_noise_g = given.accel_noise_g / len(z_g) ** 0.5
        z_bounded_g = [each + z_bias_g for each in z_g]
        high_g, low_g, clipped = max(z_bounded_g), min(z_bounded_g), 0
        if high_g >= full_g or low_g <= -full_g:
            z_bounded_g, clipped = clip(z_bounded_g, full_g)
            high_g, low_g = max(z_bounded_g), min(z_bounded_g)
        measured_dps = yaw_rate_dps + self.gyro_bias_dps + given.gyro_noise_dps * next(noise)
        return InertialReading(
            yaw_rate_dps=max(min(measured_dps, full_dps), -full_dps),
            accel_x_g=_mean(x_g, full_g) + x_bias_g + mean_noise_g * next(noise),
            accel_y_g=_mean(y_g, full_g) + y_bias_g + mean_noise_g * next(noise),
            accel_z_g=sum(z_bounded_g) / len(z_bounded_g),
            accel_z_max_g=high_g,
            accel_z_min_g=low_g,
            clipped_samples=clipped,
        )


def _mean(samples_g: Sequence[float], full_scale_g: float) -> float:
    if len(samples_g) == 1:
        return samples_g[0]
    bounded, _ = clip(samples_g, full_scale_g)
    return sum(bounded) / len(bounded)
