"""Tyres that give way, as the simulator's do, and how well a car that is known is foreseen."""

from __future__ import annotations

from math import radians, tanh

import numpy as np
import pytest

from groundstation.analysis.record import Floats
from groundstation.analysis.yaw_filter import GRIP, foresee, nudged
from groundstation.analysis.yaw_fit import fit_car
from groundstation.analysis.yaw_grid import Motion
from groundstation.analysis.yaw_model import CarGeometry, closed_loop_mode, plant_of
from groundstation.simulator.damping import yaw_mode
from groundstation.simulator.noise import normal_rows
from groundstation.simulator.yaw import (
    NOISE_PER_FRAME,
    StabiliserParameters,
    YawMotion,
    YawParameters,
)
from tests.benchmarks._analysis_yaw_bound import numbers_of

MASS_KG, SPEED_MPS, FRAMES = 5.0, 35.0, 2400
CAR = YawParameters(grip=GRIP, servo_rate_percent_per_s=1e6)


def _weaving(weave_percent: float) -> tuple[Motion, Floats]:
    """Return a car that is steered from side to side, and the slip angles of its axles, (n, 2)."""
    car = YawMotion(
        CAR,
        StabiliserParameters(0.0),
        mass_kg=MASS_KG,
        gyro_bias_radps=0.0,
        gyro_noise_radps=0.0,
    )
    rows = normal_rows(np.random.default_rng(8), NOISE_PER_FRAME)
    steering = weave_percent * np.sin(2.0 * np.pi * 1.5 * 0.01 * np.arange(FRAMES))
    told = []
    for percent in steering.tolist():
        car.advance(speed_mps=SPEED_MPS, command_percent=percent, noise=next(rows))
        yaw, side = car.yaw_rate_radps, car.side_speed_mps
        told.append((yaw, car.side_force_mps2, side))
    yaw, side_mps2, side = np.array(told).T
    lag = 1.0 - 0.01 / CAR.servo_lag_s
    wheel = np.zeros(FRAMES)
    for index in range(1, FRAMES):
        wheel[index] = lag * wheel[index - 1] + (1.0 - lag) * steering[index]
    front = radians(CAR.steering_lock_deg) * wheel / 100.0
    front -= (side + CAR.front_m * yaw) / SPEED_MPS
    slips = np.stack([front, (CAR.rear_m * yaw - side) / SPEED_MPS], axis=1)
    every = slice(1, None, 2)
    paired = 0.5 * (side_mps2[0::2] + side_mps2[1::2])
    motion = Motion(
        speed_mps=np.full(FRAMES // 2, SPEED_MPS),
        yaw_rate_radps=yaw[every],
        side_mps2=paired,
        command=0.5 * (steering[0::2] + steering[1::2]) / 100.0,
        measured=np.ones(FRAMES // 2),
        has_side=True,
        gyro_noise_radps=radians(0.05),
    )
    return motion, slips[every]


def _cars() -> Floats:
    return nudged(numbers_of(CAR, MASS_KG))


ROAD = np.array([CAR.road_yaw_per_mps, CAR.road_side_per_mps])


def test_tyres_give_way_as_the_simulator_s_do() -> None:
    motion, slips = _weaving(0.8)
    giving = np.zeros((len(slips), 2))
    for _ in range(3):
        giving = foresee(motion, _cars(), ROAD, giving).given_way
    load_n = MASS_KG * 9.80665 / (CAR.front_m + CAR.rear_m) * np.array([CAR.rear_m, CAR.front_m])
    stiffness = np.array([CAR.front_stiffness_n_per_rad, CAR.rear_stiffness_n_per_rad])
    strain = np.abs(slips * stiffness / (CAR.grip * load_n)).clip(1e-9)
    wanted = np.array([[tanh(each) / each - 1.0 for each in row] for row in strain.tolist()])
    assert wanted.min() < -0.1
    assert giving.max() <= 0.0
    assert np.abs(giving[50:] - wanted[50:]).mean() < 0.004


def test_a_known_car_is_foreseen_to_the_noise_of_road_and_sensors() -> None:
    motion, _ = _weaving(1.2)
    foreseen = foresee(motion, _cars(), ROAD, np.zeros((len(motion.measured), 2)))
    spreads = []
    for _ in range(3):
        whitened = foreseen.errors[50:, 0] @ foreseen.whiten[0].T
        spreads.append(whitened.std(axis=0))
        foreseen = foresee(motion, _cars(), ROAD, foreseen.given_way)
    # To unit variance, and unrelated from step to step: nothing is left to foresee.
    assert spreads[-1] == pytest.approx([1.0, 1.0], abs=0.1)
    yaw = whitened[:, 0]
    assert abs(np.corrcoef(yaw[:-1], yaw[1:])[0, 1]) < 0.1


def test_a_car_that_is_swung_hard_has_the_mode_of_small_swings() -> None:
    # With tyres as stiff in large swings as in small ones it would seem 9 % slower.
    motion, _ = _weaving(1.5)
    fit = fit_car(motion, CarGeometry(wheelbase_m=0.33, steering_lock_deg=12.0, servo_lag_s=0.03))
    damping, frequency_hz = closed_loop_mode(
        plant_of(fit.parameters), speed_mps=SPEED_MPS, gain_s=0.0, delay_s=0.0
    )
    wanted = yaw_mode(SPEED_MPS, yaw=CAR, stabiliser=StabiliserParameters(0.0), mass_kg=MASS_KG)
    assert damping == pytest.approx(wanted[0], abs=0.02)
    assert frequency_hz == pytest.approx(wanted[1], rel=0.03)
