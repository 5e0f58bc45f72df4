"""The yaw mode that a set-up has at each speed: the truth that an analysis tries to find.

Owns nothing that runs: the model of `yaw` is made linear, and the least damped eigenvalue of its
steps of 1 ms tells damping and frequency with the driver's hands still. The steps matter: at 4 Hz
they take 0.01 off the damping ratio of the differential equations. Small swings are meant; in
large ones the tyres give way, and the car swings more slowly.
"""

from __future__ import annotations

from cmath import exp
from functools import lru_cache
from math import degrees, pi, radians

import numpy as np
from numpy.typing import NDArray

from groundstation.simulator.yaw import CRAWL_MPS, STEP_S, StabiliserParameters, YawParameters

TABLE_STEP_MPS = 1.0
TABLE_TOP_MPS = 100.0
NEWTON_ROUNDS = 30
NUDGE = 1e-4
NEAR_ENOUGH = 1e-7
"""Both in 1/s."""


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
    near = complex(values[np.argmin(-values.real / np.abs(values))])
    value = _of_the_steps(near, matrix, gain_s=gain, delay_s=delay_s)
    swinging = abs(value.imag) if abs(value.imag) > NEAR_ENOUGH else 0.0
    return -value.real / abs(value), swinging / (2.0 * pi)


def _of_the_steps(
    near: complex, matrix: NDArray[np.float64], *, gain_s: float, delay_s: float
) -> complex:
    """Return the eigenvalue of the simulated steps that is next to one of the approximant's.

    Newton's method on their characteristic function. `YawMotion` steps by Euler's forward method,
    but for the wheel, which is moved before the tyres are asked; its delay is a ring of steps.
    """
    side_side, side_turn, side_wheel = map(float, matrix[0, :3])
    turn_side, turn_turn, turn_wheel = map(float, matrix[1, :3])
    share = -float(matrix[2, 2]) * STEP_S
    delay_steps = max(round(delay_s / STEP_S), 1)

    def missing(rate: complex) -> complex:
        step = exp(rate * STEP_S)
        grown = (step - 1.0) / STEP_S
        open_loop = (grown - side_side) * (grown - turn_turn) - side_turn * turn_side
        by_wheel = (grown - side_side) * turn_wheel + turn_side * side_wheel
        fed_back = share * gain_s * by_wheel / step ** (delay_steps - 1)
        return (step - 1.0 + share) * open_loop + fed_back

    value = near
    for _ in range(NEWTON_ROUNDS):
        slope = (missing(value + NUDGE) - missing(value - NUDGE)) / (2.0 * NUDGE)
        change = missing(value) / slope
        value -= change
        if abs(change) < NEAR_ENOUGH:
            break
    return value


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
