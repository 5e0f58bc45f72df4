"""The bicycle model against its closed forms, and the stabiliser's two faces."""

from __future__ import annotations

from itertools import pairwise
from math import degrees, exp, hypot, log, pi, radians, sqrt

import numpy as np
import pytest

from groundstation.simulator.damping import yaw_mode
from groundstation.simulator.yaw import (
    NOISE_PER_FRAME,
    STEPS_PER_FRAME,
    StabiliserParameters,
    YawMotion,
    YawParameters,
)

MASS_KG = 5.0
QUIET = [0.0] * NOISE_PER_FRAME
OFF = StabiliserParameters(gain_percent_per_dps=0.0)
STRONG = StabiliserParameters(gain_percent_per_dps=0.7)


def motion(
    stabiliser: StabiliserParameters = OFF,
    yaw: YawParameters = YawParameters(),  # noqa: B008
) -> YawMotion:
    return YawMotion(yaw, stabiliser, mass_kg=MASS_KG, gyro_bias_radps=0.0, gyro_noise_radps=0.0)


def swing(car: YawMotion, *, speed_mps: float, frames: int, kick_dps: float) -> np.ndarray:
    """Return the yaw rate in deg/s after a kick, at 100 Hz."""
    car.kick(radians(kick_dps))
    rates = []
    for _ in range(frames):
        car.advance(speed_mps=speed_mps, command_percent=0.0, noise=QUIET)
        rates.append(degrees(car.yaw_rate_radps))
    return np.array(rates)


@pytest.mark.parametrize("gain", [0.0, 0.3, 0.45])
@pytest.mark.parametrize("speed_mps", [25.0, 45.0])
def test_free_swing_has_the_mode_s_frequency_and_damping(gain: float, speed_mps: float) -> None:
    stabiliser = StabiliserParameters(gain_percent_per_dps=gain)
    ratio, frequency_hz = yaw_mode(
        speed_mps, yaw=YawParameters(), stabiliser=stabiliser, mass_kg=MASS_KG
    )
    rates = swing(motion(stabiliser), speed_mps=speed_mps, frames=300, kick_dps=8.0)
    # Half-waves, counted after the first, where faster modes have died away.
    signs = np.flatnonzero(np.diff(np.sign(rates)))[1:6]
    assert 100.0 / (2 * np.mean(np.diff(signs))) == pytest.approx(frequency_hz, rel=0.12)
    peaks = [np.abs(rates[a + 1 : b + 1]).max() for a, b in pairwise(signs)]
    halves = log(peaks[0] / peaks[2]) / 2
    # Logarithmic decrement over half waves: pi zeta / sqrt(1 - zeta^2).
    assert halves / hypot(pi, halves) == pytest.approx(ratio, abs=0.04)


def test_too_much_gain_grows_until_its_authority_is_spent() -> None:
    car = motion(STRONG)
    rates = swing(car, speed_mps=50.0, frames=1500, kick_dps=2.0)
    early, late = np.abs(rates[:20]).max(), np.abs(rates[-100:]).max()
    assert late > 3 * early
    assert STRONG.authority_percent / STRONG.gain_percent_per_dps < late < 150.0


def test_correction_is_against_the_yaw_rate_measured_a_delay_ago() -> None:
    car = motion(StabiliserParameters(gain_percent_per_dps=0.2, delay_s=0.04))
    car.kick(radians(10.0))
    corrections = []
    for _ in range(6):
        car.advance(speed_mps=20.0, command_percent=0.0, noise=QUIET)
        corrections.append(car.correction_percent)
    assert corrections[:4] == [0.0] * 4
    assert corrections[4] < -1.0


@pytest.mark.parametrize("speed_mps", [8.0, 30.0, 50.0])
@pytest.mark.parametrize("command_percent", [1.0, -1.0])
def test_steady_turn_is_the_bicycle_s(speed_mps: float, command_percent: float) -> None:
    # r = v delta / (l + K v^2), K = m (b Cr - a Cf) / (l Cf Cr); left is positive (ISO 8855).
    car, yaw = motion(), YawParameters()
    for _ in range(500):
        car.advance(speed_mps=speed_mps, command_percent=command_percent, noise=QUIET)
    front, rear = yaw.front_stiffness_n_per_rad, yaw.rear_stiffness_n_per_rad
    wheelbase_m = yaw.front_m + yaw.rear_m
    understeer = MASS_KG * (yaw.rear_m * rear - yaw.front_m * front) / (wheelbase_m * front * rear)
    wheel_rad = radians(yaw.steering_lock_deg) * command_percent / 100
    wanted = speed_mps * wheel_rad / (wheelbase_m + understeer * speed_mps**2)
    assert car.yaw_rate_radps == pytest.approx(wanted, rel=0.01)
    assert car.side_force_mps2 == pytest.approx(speed_mps * wanted, rel=0.01)


def test_crawling_car_rolls_where_its_wheels_point() -> None:
    car, yaw = motion(), YawParameters()
    for _ in range(100):
        car.advance(speed_mps=1.0, command_percent=100.0, noise=QUIET)
    wheel_rad = radians(yaw.steering_lock_deg)
    assert car.yaw_rate_radps == pytest.approx(wheel_rad / (yaw.front_m + yaw.rear_m), rel=1e-3)


def test_tyres_saturate() -> None:
    car = motion()
    for _ in range(200):
        car.advance(speed_mps=25.0, command_percent=100.0, noise=QUIET)
        assert abs(car.side_force_mps2) < 1.01 * 9.81


def test_servo_moves_no_faster_than_it_can() -> None:
    # Full lock in one lag would be 100 %/30 ms; the servo does 1200 %/s.
    car = motion()
    car.advance(speed_mps=1.0, command_percent=100.0, noise=QUIET)
    turned = car.yaw_rate_radps * 0.33 / radians(12.0)
    assert turned == pytest.approx(1200.0 / 100 * STEPS_PER_FRAME * 0.001, rel=1e-6)


def test_schedule_is_straight_between_its_points() -> None:
    stabiliser = StabiliserParameters(0.4, ((10.0, 1.0), (30.0, 0.5), (50.0, 0.25)))
    gains = [stabiliser.gain_at(speed) for speed in (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 90.0)]
    assert gains == pytest.approx([0.4, 0.4, 0.3, 0.2, 0.15, 0.1, 0.1])


def test_road_shakes_in_proportion_to_speed() -> None:
    noise = np.random.default_rng(1)
    spreads = []
    for speed_mps in (20.0, 40.0):
        car, rates = motion(StabiliserParameters()), []
        for _ in range(4000):
            row = noise.standard_normal(NOISE_PER_FRAME).tolist()
            car.advance(speed_mps=speed_mps, command_percent=0.0, noise=row)
            rates.append(degrees(car.yaw_rate_radps))
        spreads.append(float(np.std(rates)))
    assert 2.0 < spreads[0] < spreads[1] < 20.0


def test_kick_dies_as_the_exponential_says() -> None:
    ratio, frequency_hz = yaw_mode(40.0, yaw=YawParameters(), stabiliser=OFF, mass_kg=MASS_KG)
    decay = 2 * pi * frequency_hz * ratio / sqrt(1 - ratio**2)
    rates = np.abs(swing(motion(), speed_mps=40.0, frames=100, kick_dps=10.0))
    assert rates[60:].max() < 3 * 10.0 * exp(-decay * 0.6)
