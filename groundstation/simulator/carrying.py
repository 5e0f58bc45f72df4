"""What the sensors feel of a car in somebody's hands: the steps of a walk.

Owns the shape of those motions. The figures are rough ones for a walking adult who carries a load
in both hands (from memory, no source): about two steps a second, a few tenths of a g up and down,
less along, a sway of the body once every two steps.
"""

from __future__ import annotations

from math import pi, sin

STEPS_PER_M = 1.35
BOB_G = 0.18
SURGE_G = 0.06
SWAY_G = 0.04
SWAY_RADPS = 0.12
"""Amplitudes at `FULL_PACE_MPS`; a standing person does not bob."""

FULL_PACE_MPS = 1.4


def sway_radps(t_s: float, pace_mps: float) -> float:
    """Return the yaw rate that a walk gives the car."""
    return SWAY_RADPS * _share(pace_mps) * sin(pi * _steps_per_s(pace_mps) * t_s)


def carried_samples_g(
    t_s: float, *, pace_mps: float, step_s: float, noise_g: list[float]
) -> tuple[list[float], list[float], list[float]]:
    """Return the specific force of a carried car, x, y and one z sample for each of the noise.

    Args:
        t_s: Start of the frame.
        pace_mps: Of the walk; 0 while the car is held still.
        step_s: Between two samples.
        noise_g: Of the vertical samples.
    """
    share, phase = _share(pace_mps), 2.0 * pi * _steps_per_s(pace_mps)
    z_g = [
        1.0 + BOB_G * share * sin(phase * (t_s + index * step_s)) + noise
        for index, noise in enumerate(noise_g)
    ]
    x_g = SURGE_G * share * sin(phase * t_s + 0.9)
    y_g = SWAY_G * share * sin(0.5 * phase * t_s + 0.4)
    return [x_g], [y_g], z_g


def _steps_per_s(pace_mps: float) -> float:
    return STEPS_PER_M * pace_mps


def _share(pace_mps: float) -> float:
    return min(pace_mps / FULL_PACE_MPS, 1.0)
