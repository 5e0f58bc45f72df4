"""A pass on an even grid for the fit of a car: what it felt, and what it was told to do.

Owns the step from frames, some lost, to a grid: what is held between frames becomes a mean over the
step, biases are taken off, and a grid point inside a hole is marked as not measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np

from groundstation.analysis.even import HOLE_S, before_spin_s
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.units import STANDARD_GRAVITY_MPS2

STEP_S = 0.02
LEAST_SPEED_MPS = 7.0
"""Slower, a small car's yaw is damped so well that nothing is learned."""
LEAST_STEPS = 100
GYRO_NOISE_DPS = 0.25, 0.05, 1.5
"""Of one frame, one sigma: where the car did not stand before, and the least and the most that the
noise at rest is believed to be."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """A pass on an even grid of `STEP_S`."""

    speed_mps: Floats
    yaw_rate_radps: Floats
    side_mps2: Floats
    """Mean over the step before."""
    command: Floats
    """Driver and stabiliser together, as a share of full steering, mean over the step before."""
    measured: Floats
    """1 where frames were heard, else 0."""
    has_side: bool
    gyro_noise_radps: float
    """Of one frame, one sigma."""


def at_rest(record: Record, before_s: float, channel: str) -> tuple[float, float] | None:
    """Return mean and spread of a motion channel while the car stood before a pass, if it did."""
    motion = record.motion.between(before_s - 60.0, before_s)
    values = motion[channel][motion["speed_mps"] < 0.1]
    values = values[~np.isnan(values)]
    return (float(values.mean()), float(values.std())) if len(values) >= 20 else None


def motion_of(record: Record, span: PassSpan) -> Motion | None:
    """Return the fast part of a pass on the grid; None where it is too short or tells too little.

    Bias of gyro and accelerometer is taken from the rest before, else from the pass itself: a
    course is straight. What comes after a spin is left out.
    """
    motion = record.motion.between(span.start_s, before_spin_s(record, span))
    needed = [motion[name] for name in ("speed_mps", "yaw_rate_dps", "steering_percent")]
    correction = motion["correction_percent"]
    known = ~np.isnan(np.stack([*needed, correction])).any(axis=0)
    t_s = motion.t_s[known]
    speed_mps, yaw_dps, steering = (column[known] for column in needed)
    fast = np.flatnonzero(speed_mps >= LEAST_SPEED_MPS)
    if len(fast) < 2:
        return None
    grid_s = np.arange(t_s[fast[0]], t_s[fast[-1]], STEP_S)
    if len(grid_s) < LEAST_STEPS:
        return None
    correction = correction[known]
    middle = correction.copy()
    middle[1:] = 0.5 * (correction[1:] + correction[:-1])
    side_g = motion["accel_y_g"][known]
    has_side = not bool(np.isnan(side_g).any())
    side_rest = at_rest(record, span.start_s, "accel_y_g")
    yaw_rest = at_rest(record, span.start_s, "yaw_rate_dps")
    side_g = np.nan_to_num(side_g)
    side_g = side_g - (side_rest[0] if side_rest else side_g.mean())
    yaw_dps = yaw_dps - (yaw_rest[0] if yaw_rest else yaw_dps.mean())
    usual_dps, least_dps, most_dps = GYRO_NOISE_DPS
    noise_dps = min(max(yaw_rest[1], least_dps), most_dps) if yaw_rest else usual_dps
    hole = np.searchsorted(t_s, grid_s)
    hole_s = t_s[np.minimum(hole, len(t_s) - 1)] - t_s[np.maximum(hole - 1, 0)]
    return Motion(
        speed_mps=np.maximum(np.interp(grid_s, t_s, speed_mps), 0.7 * LEAST_SPEED_MPS),
        yaw_rate_radps=np.radians(np.interp(grid_s, t_s, yaw_dps)),
        side_mps2=_means(grid_s, t_s, side_g) * STANDARD_GRAVITY_MPS2,
        command=_means(grid_s, t_s, steering + middle) / 100.0,
        measured=(hole_s <= HOLE_S).astype(float),
        has_side=has_side,
        gyro_noise_radps=radians(noise_dps),
    )


def _means(grid_s: Floats, t_s: Floats, values: Floats) -> Floats:
    """Return means over the steps before; a frame stands for the time since the one before."""
    summed = np.concatenate([[0.0], np.cumsum(values[1:] * np.diff(t_s))])
    at = np.interp(grid_s, t_s, summed)
    return np.concatenate([[values[0]], np.diff(at) / np.diff(grid_s)])
