"""The yaw mode that a set-up has at each speed: the truth that an analysis tries to find.

Owns nothing that runs: the model of `yaw` is made linear, the stabiliser's delay is replaced by
its Padé approximant of second order, and the eigenvalues tell damping and frequency with
the driver's hands still.
"""

from __future__ import annotations

from functools import lru_cache
from math import degrees, radians

import numpy as np
from numpy.typing import NDArray

from groundstation.simulator.yaw import CRAWL_MPS, StabiliserParameters, YawParameters

TABLE_STEP_MPS = 1.0
TABLE_TOP_MPS = 100.0


def yaw_mode(
    speed_mps: float, *, yaw: YawParameters, stabiliser: StabiliserParameters, mass_kg: float
) -> tuple[float, float]:
    """Return damping ratio and frequency in Hz of the least damped mode at a speed.

    The damping ratio is -Re/|eigenvalue|: negative where the mode grows, 1 where nothing swings.
    """
    front, rear = yaw.front_stiffness_n_per_rad, yaw.rear_stiffness_n_per_rad
    ahead, behind = yaw.front_m, yaw.rear_m
    balance = ahead * front - behind * rear
    turn = ahead * ahead * front + behind * behind * rear
    inertia, delay_s, lag_s = yaw.inertia_kg_m2, stabiliser.delay_s, yaw.servo_lag_s
    # rad of wheel per rad/s of yaw
    gain = stabiliser.gain_at(speed_mps) * degrees(1.0) * radians(yaw.steering_lock_deg) / 100.0
    # States: side speed, yaw rate, wheel angle, two of the delay.
    matrix = np.zeros((5, 5))
    matrix[0, :3] = (
        -(front + rear) / (mass_kg * speed_mps),
        -balance / (mass_kg * speed_mps) - speed_mps,
        front / mass_kg,
    )
    matrix[1, :3] = (
        -balance / (inertia * speed_mps),
        -turn / (inertia * speed_mps),
        ahead * front / inertia,
    )
    matrix[2, (1, 2, 4)] = (-gain / lag_s, -1.0 / lag_s, 12.0 * gain / (delay_s * lag_s))
    matrix[3, 4] = 1.0
    matrix[4, (1, 3, 4)] = (1.0, -12.0 / delay_s**2, -6.0 / delay_s)
    values = np.linalg.eigvals(matrix)
    ratios = -values.real / np.abs(values)
    least = int(np.argmin(ratios))
    return float(ratios[least]), float(abs(values[least].imag) / (2.0 * np.pi))


@lru_cache(maxsize=64)
def mode_table(
    yaw: YawParameters, stabiliser: StabiliserParameters, mass_kg: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return speeds, damping ratios and frequencies, `TABLE_STEP_MPS` apart, to interpolate."""
    speeds_mps = np.arange(CRAWL_MPS, TABLE_TOP_MPS + TABLE_STEP_MPS / 2, TABLE_STEP_MPS)
    modes = np.array(
        [
            yaw_mode(speed, yaw=yaw, stabiliser=stabiliser, mass_kg=mass_kg)
            for speed in speeds_mps.tolist()
        ]
    )
    return speeds_mps, modes[:, 0], modes[:, 1]
