"""The car as a bicycle with a servo and a stabiliser: its matrices, and how its yaw mode swings.

Owns the algebra from a car's few numbers to the damping of its closed loop. The stabiliser is taken
as it shows itself: so much correction against the yaw rate of a while ago. Small swings are meant,
tyres far from their limit; in large ones the tyres give way and the car swings more slowly.

Bicycle model: Riekert and Schunck, "Zur Fahrmechanik des gummibereiften Kraftfahrzeugs",
Ingenieur-Archiv 11, 1940 (from memory; in every textbook of vehicle dynamics).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats

ComplexArray = NDArray[np.complex128]

PARAMETERS = (
    "log front stiffness over mass",
    "log rear stiffness over mass",
    "front share of the wheelbase",
    "log dynamic index",
    "log servo lag",
    "log wheelbase",
    "log steering lock",
)
"""Of a car, in the order of the last axis of every parameter array; SI and rad under the log.

The front share is the distance from the centre of mass to the front axle over the wheelbase. The
dynamic index is the squared radius of gyration in yaw over the product of the distances to both
axles: 1 for a car that is two masses over the axles.
"""

LEAST_DELAY_S = 1e-3
POLISHING_ROUNDS = 8
NUDGE = 1e-4
"""1/s"""
SWINGS = 1e-6
"""Imaginary part over size: below it an eigenvalue is real."""


@dataclass(frozen=True, slots=True)
class CarGeometry:
    """What a ruler tells of a car; unknown numbers are guessed, at the price of wider intervals."""

    wheelbase_m: float | None = None
    steering_lock_deg: float | None = None
    """Wheel angle at 100 % steering."""
    servo_lag_s: float | None = None
    """Time constant from command to wheel."""


@dataclass(frozen=True, slots=True, eq=False)
class Plant:
    """How wheel angle turns into motion: `d(v, r)/dt = [s/V, t/V] (v, r) + b u - (V r, 0)`."""

    side: Floats
    """(..., 3) of the side acceleration: by v/V, by r/V, by full steering."""
    turn: Floats
    """(..., 3) of the yaw acceleration, likewise."""
    servo_lag_s: Floats
    """(...)"""


def plant_of(parameters: Floats) -> Plant:
    """Return the plant of cars given as (..., 7) `PARAMETERS`."""
    front, rear = np.exp(parameters[..., 0]), np.exp(parameters[..., 1])
    wheelbase_m, lock_rad = np.exp(parameters[..., 5]), np.exp(parameters[..., 6])
    ahead_m = wheelbase_m * parameters[..., 2]
    behind_m = wheelbase_m - ahead_m
    gyration_m2 = ahead_m * behind_m * np.exp(parameters[..., 3])
    balance = ahead_m * front - behind_m * rear
    resistance = ahead_m**2 * front + behind_m**2 * rear
    side = np.stack([-(front + rear), -balance, front * lock_rad], axis=-1)
    turn = np.stack([-balance, -resistance, ahead_m * front * lock_rad], axis=-1)
    return Plant(side, turn / gyration_m2[..., None], np.exp(parameters[..., 4]))


def closed_loop_mode(
    plant: Plant, *, speed_mps: float, gain_s: float, delay_s: float
) -> tuple[Floats, Floats]:
    """Return damping ratio and frequency in Hz of the least damped mode, hands still.

    The damping ratio is -Re/|eigenvalue|: negative where the mode grows, 1 where nothing swings.

    Args:
        plant: Of one car or of many.
        speed_mps: Above zero.
        gain_s: Correction, as a share of full steering, against each rad/s of yaw rate.
        delay_s: Of the correction behind the yaw rate.
    """
    delay_s = max(delay_s, LEAST_DELAY_S)
    lag_s = plant.servo_lag_s
    # States: side speed, yaw rate, steering in force, two of the delay's Padé approximant.
    matrix = np.zeros((*lag_s.shape, 5, 5))
    for row, by in enumerate((plant.side, plant.turn)):
        matrix[..., row, 0] = by[..., 0] / speed_mps
        matrix[..., row, 1] = by[..., 1] / speed_mps
        matrix[..., row, 2] = by[..., 2]
    matrix[..., 0, 1] -= speed_mps
    matrix[..., 2, 1] = -gain_s / lag_s
    matrix[..., 2, 2] = -1.0 / lag_s
    matrix[..., 2, 4] = 12.0 * gain_s / (delay_s * lag_s)
    matrix[..., 3, 4] = 1.0
    matrix[..., 4, 1] = 1.0
    matrix[..., 4, 3] = -12.0 / delay_s**2
    matrix[..., 4, 4] = -6.0 / delay_s
    near = np.linalg.eigvals(matrix).astype(np.complex128)
    values = _polished(near, matrix, gain_s=gain_s, delay_s=delay_s)
    # One that runs off belongs to the approximant alone.
    own = np.abs(values - near) < 0.5 * np.abs(near)
    least = np.argmin(np.where(own, -near.real / np.abs(near), np.inf), axis=-1)[..., None]
    value = np.take_along_axis(values, least, axis=-1)[..., 0]
    swings = np.abs(value.imag) > SWINGS * np.abs(value)
    return -value.real / np.abs(value), swings * np.abs(value.imag) / (2.0 * np.pi)


def _polished(near: ComplexArray, matrix: Floats, *, gain_s: float, delay_s: float) -> ComplexArray:
    """Return the eigenvalues with the delay as it is, by Newton's method from its approximant's."""
    side, turn, steer = (matrix[..., :2, column, None] for column in range(3))
    servo = matrix[..., 2, 2, None]

    def missing(rate: ComplexArray) -> ComplexArray:
        """Return the characteristic function."""
        across, along = rate - side[..., 0, :], rate - turn[..., 1, :]
        open_loop = across * along - turn[..., 0, :] * side[..., 1, :]
        by_wheel = across * steer[..., 1, :] + side[..., 1, :] * steer[..., 0, :]
        fed_back = gain_s * np.exp(-delay_s * rate) * by_wheel
        return np.asarray((1.0 - rate / servo) * open_loop + fed_back)

    value = near
    with np.errstate(all="ignore"):
        for _ in range(POLISHING_ROUNDS):
            slope = (missing(value + NUDGE) - missing(value - NUDGE)) / (2.0 * NUDGE)
            value = np.asarray(value - missing(value) / slope, dtype=np.complex128)
    return value
