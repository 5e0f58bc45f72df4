"""The closed loop of car and stabiliser against textbook forms and a finer approximant."""

from __future__ import annotations

from math import factorial, log, pi, radians, sqrt

import numpy as np
import pytest
from scipy.interpolate import pade

from groundstation.analysis.yaw_model import closed_loop_mode, plant_of

CAR = np.array([log(70.0), log(75.0), 0.45, log(0.9), log(0.03), log(0.33), log(radians(12.0))])


def _matrix(speed_mps: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the bicycle model of `CAR` as textbooks write it: side speed and yaw rate."""
    front, rear = np.exp(CAR[:2])
    ahead_m, behind_m = 0.33 * 0.45, 0.33 * 0.55
    gyration_m2 = 0.9 * ahead_m * behind_m
    balance = ahead_m * front - behind_m * rear
    turn = ahead_m**2 * front + behind_m**2 * rear
    moves = np.array(
        [
            [-(front + rear) / speed_mps, -balance / speed_mps - speed_mps],
            [-balance / (gyration_m2 * speed_mps), -turn / (gyration_m2 * speed_mps)],
        ]
    )
    lock_rad = radians(12.0)
    return moves, np.array([front * lock_rad, ahead_m * front * lock_rad / gyration_m2])


@pytest.mark.parametrize("speed_mps", [15.0, 30.0, 45.0])
def test_without_a_stabiliser_it_is_the_textbook_s_pair(speed_mps: float) -> None:
    moves, _ = _matrix(speed_mps)
    natural = sqrt(np.linalg.det(moves))
    wanted = -np.trace(moves) / (2.0 * natural)
    ratio, frequency_hz = closed_loop_mode(
        plant_of(CAR), speed_mps=speed_mps, gain_s=0.0, delay_s=0.04
    )
    assert ratio == pytest.approx(wanted, rel=1e-9)
    assert frequency_hz == pytest.approx(natural * sqrt(1.0 - wanted**2) / (2.0 * pi), rel=1e-9)


@pytest.mark.parametrize("gain_s", [0.03, 0.1, 0.25])
@pytest.mark.parametrize("delay_s", [0.02, 0.06, 0.12])
def test_the_delay_is_taken_as_it_is(gain_s: float, delay_s: float) -> None:
    # scipy's Padé approximant of order 5, good to a millionth at these delays; in x = rate * delay.
    moves, drive = _matrix(30.0)
    above, below = pade([(-1.0) ** n / factorial(n) for n in range(11)], 5)
    rate = np.poly1d([1.0 / delay_s, 0.0])
    open_loop = (rate - moves[0, 0]) * (rate - moves[1, 1]) - moves[0, 1] * moves[1, 0]
    by_wheel = (rate - moves[0, 0]) * drive[1] + moves[1, 0] * drive[0]
    roots = ((0.03 * rate + 1.0) * open_loop * below + gain_s * by_wheel * above).roots / delay_s
    roots = roots[np.abs(roots.imag) < 2.0 * pi * 6.0]
    least = roots[np.argmin(-roots.real / np.abs(roots))]
    ratio, frequency_hz = closed_loop_mode(
        plant_of(CAR), speed_mps=30.0, gain_s=gain_s, delay_s=delay_s
    )
    assert ratio == pytest.approx(-least.real / abs(least), abs=1e-5)
    assert frequency_hz == pytest.approx(abs(least.imag) / (2.0 * pi), rel=1e-5)


def test_many_cars_at_once_are_as_many_alone() -> None:
    cars = CAR + 0.05 * np.random.default_rng(2).standard_normal((6, 7))
    ratios, modes_hz = closed_loop_mode(plant_of(cars), speed_mps=25.0, gain_s=0.1, delay_s=0.05)
    alone = [
        closed_loop_mode(plant_of(car), speed_mps=25.0, gain_s=0.1, delay_s=0.05) for car in cars
    ]
    assert ratios == pytest.approx([float(each[0]) for each in alone], rel=1e-9)
    assert modes_hz == pytest.approx([float(each[1]) for each in alone], rel=1e-9)


def test_a_car_that_only_creeps_back_does_not_swing() -> None:
    # At walking pace tyres damp all; mass in the middle keeps both ways of creeping apart.
    car = CAR.copy()
    car[3] = log(0.4)
    ratio, frequency_hz = closed_loop_mode(plant_of(car), speed_mps=2.0, gain_s=0.0, delay_s=0.04)
    assert (float(ratio), float(frequency_hz)) == (1.0, 0.0)
