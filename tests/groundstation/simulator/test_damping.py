"""The simulator's yaw mode against all eigenvalues of its steps, and against the textbook."""

from __future__ import annotations

from cmath import log
from math import degrees, pi, radians, sqrt

import numpy as np
import pytest

from groundstation.simulator.damping import mode_table, yaw_mode
from groundstation.simulator.yaw import STEP_S, StabiliserParameters, YawParameters

MASS_KG = 5.0
FASTEST_HZ = 7.0
"""A delay has swings of its own, above the car's."""


def _moves(yaw: YawParameters, speed_mps: float) -> np.ndarray:
    front, rear = yaw.front_stiffness_n_per_rad, yaw.rear_stiffness_n_per_rad
    balance = yaw.front_m * front - yaw.rear_m * rear
    turn = yaw.front_m**2 * front + yaw.rear_m**2 * rear
    inertia = yaw.inertia_kg_m2
    return np.array(
        [
            [-(front + rear) / (MASS_KG * speed_mps), -balance / (MASS_KG * speed_mps) - speed_mps],
            [-balance / (inertia * speed_mps), -turn / (inertia * speed_mps)],
        ]
    )


def _by_all_eigenvalues(
    yaw: YawParameters, stabiliser: StabiliserParameters, speed_mps: float
) -> tuple[float, float]:
    """Return the least damped mode of one step of the car with every place of its delay."""
    count = round(stabiliser.delay_s / STEP_S)
    gain = stabiliser.gain_percent_per_dps * degrees(1.0) * radians(yaw.steering_lock_deg) / 100.0
    share = STEP_S / yaw.servo_lag_s
    # Side speed, yaw rate, wheel angle, then the yaw rates heard, the latest first.
    step = np.zeros((3 + count, 3 + count))
    step[2, 2], step[2, -1] = 1.0 - share, -share * gain
    by_wheel = yaw.front_stiffness_n_per_rad * np.array(
        [1.0 / MASS_KG, yaw.front_m / yaw.inertia_kg_m2]
    )
    step[:2, :2] = np.eye(2) + STEP_S * _moves(yaw, speed_mps)
    # The wheel is moved before the tyres are asked.
    step[:2] += STEP_S * np.outer(by_wheel, step[2])
    step[3, 1] = 1.0
    step[4:, 3:-1] += np.eye(count - 1)
    values = np.array([log(each) for each in np.linalg.eigvals(step) if abs(each) > 1e-3]) / STEP_S
    values = values[np.abs(values.imag) < 2.0 * pi * FASTEST_HZ]
    least = values[np.argmin(-values.real / np.abs(values))]
    return -least.real / abs(least), abs(least.imag) / (2.0 * pi)


@pytest.mark.parametrize("speed_mps", [8.0, 20.0, 45.0])
@pytest.mark.parametrize("gain", [0.05, 0.13, 0.3, 0.48])
@pytest.mark.parametrize("delay_s", [0.02, 0.04, 0.12])
def test_mode_is_among_the_eigenvalues_of_a_step(
    speed_mps: float, gain: float, delay_s: float
) -> None:
    yaw, stabiliser = YawParameters(), StabiliserParameters(gain, delay_s=delay_s)
    wanted = _by_all_eigenvalues(yaw, stabiliser, speed_mps)
    found = yaw_mode(speed_mps, yaw=yaw, stabiliser=stabiliser, mass_kg=MASS_KG)
    assert found == pytest.approx(wanted, rel=1e-5)


def test_without_stabiliser_it_is_the_textbook_s_taken_in_steps() -> None:
    # Natural frequency and damping from determinant and trace of the 2x2 bicycle model; a step of
    # Euler's method multiplies by 1 + rate STEP_S.
    moves = _moves(YawParameters(), 40.0)
    natural = sqrt(np.linalg.det(moves))
    ratio = -float(np.trace(moves)) / (2.0 * natural)
    rate = natural * complex(-ratio, sqrt(1.0 - ratio**2))
    stepped = log(1.0 + rate * STEP_S) / STEP_S
    found = yaw_mode(
        40.0, yaw=YawParameters(), stabiliser=StabiliserParameters(0.0), mass_kg=MASS_KG
    )
    assert found[0] == pytest.approx(-stepped.real / abs(stepped), rel=1e-9)
    assert found[1] == pytest.approx(abs(stepped.imag) / (2.0 * pi), rel=1e-9)
    assert found[0] == pytest.approx(ratio, abs=0.01)


def test_damping_falls_with_speed_and_with_too_much_gain() -> None:
    _, calm, _ = mode_table(YawParameters(), StabiliserParameters(), MASS_KG)
    assert (np.diff(calm[8:60]) < 0).all()
    _, wild, frequencies_hz = mode_table(YawParameters(), StabiliserParameters(0.7), MASS_KG)
    assert wild[48] < 0.0 < calm[48]
    assert 2.0 < frequencies_hz[48] < 6.0
