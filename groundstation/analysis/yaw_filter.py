"""What a car's model does not foresee of a pass: a Kalman filter over bicycle models.

Owns the filter: the car's model, its tyres giving way as far as they did, on a road that pushes it
at random; each yaw rate and side acceleration foreseen from the frames before. The driver's
steering and the stabiliser's correction are inputs, so that the loop around the car does no harm.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.riccati import steady_covariance
from groundstation.analysis.yaw_grid import STEP_S, Motion
from groundstation.analysis.yaw_model import Plant, plant_of
from groundstation.units import STANDARD_GRAVITY_MPS2

NUDGES = np.array([0.02, 0.02, 0.003, 0.02, 0.03, 0.02, 0.02, 0.05])
ACCEL_NOISE_MPS2 = 0.1
GRIP = 1.0
"""Largest side force of a tyre over its load: our own judgement, no source. The figures suffer
little if it is a third off."""

STATES = 5
"""Side speed, yaw rate, the road's push on either, mean side acceleration over the step."""
SEEN = np.eye(STATES)[1::3]
GRID_SPEEDS = 24
WARM_UP = 10
"""Steps until the filter has found the car."""


@dataclass(frozen=True, slots=True, eq=False)
class Foreseen:
    """How well models foresaw a pass of n steps."""

    errors: Floats
    """(n, cars, 2) of yaw rate, rad/s, and of side acceleration, m/s^2."""
    whiten: Floats
    """(n, 2, 2) makes the first car's errors unrelated and of one sigma."""
    given_way: Floats
    """(n, 2) by how much of their stiffness the first car's tyres gave way, front and rear; 0 or
    below."""

    def whitened(self, motion: Motion) -> Floats:
        """Return the errors where the pass was heard, (m, cars, 2), to unit variance."""
        errors = self.errors @ self.whiten.swapaxes(-1, -2)
        return errors[motion.measured > 0.0][WARM_UP:]


def nudged(car: Floats) -> Floats:
    """Return a car's 8 numbers, and that car with each of them `NUDGES` off, (1 + 8, 8)."""
    cars = np.tile(car, (len(car) + 1, 1))
    cars[1:] += np.diag(NUDGES)
    return cars


def slopes_of(errors: Floats) -> Floats:
    """Return by how much errors of `nudged` cars, (m, 1 + 8, 2), grow with each number, (8, 2m)."""
    slopes = (errors[:, 1:] - errors[:, :1]) / NUDGES[:, None]
    return np.asarray(slopes.swapaxes(0, 1).reshape(len(NUDGES), -1))


def foresee(motion: Motion, cars: Floats, road_per_mps: Floats, giving: Floats) -> Foreseen:
    """Return what each car's model did not foresee of a pass.

    All that depends on speed is reckoned at a few speeds, with straight lines between them.

    Args:
        motion: The pass, n steps.
        cars: (1 + 8, 8) `PARAMETERS` and the log of the road's length, as `nudged` gives them.
        road_per_mps: (2) how an uneven road pushes, as `ROAD_PER_MPS`.
        giving: (n, 2) by how much of their stiffness the tyres of the front and of the rear axle
            have given way, 0 or below; as a `Foreseen` tells it.
    """
    plant, roads_m = plant_of(cars), np.exp(cars[:, 7])
    speed_mps = motion.speed_mps
    speeds_mps = np.linspace(speed_mps.min(), speed_mps.max() + 0.1, GRID_SPEEDS)
    moves, drive = _steps(plant, speeds_mps, roads_m)
    noise = np.stack(
        [_road_noise(speeds_mps, road_m, road_per_mps) for road_m in roads_m[[0, -1]].tolist()]
    )
    gains, whiten = _gains(moves[[0, -1]], noise, motion)
    # For a car a nudge away the first one's predictor is right enough; for the last, on another
    # road, it is another one.
    all_gains = np.repeat(gains[:1], len(cars), axis=0)
    all_gains[-1] = gains[1]
    keep = np.eye(STATES) - all_gains @ SEEN

    # x- = moves x + drive wheel; x = x- + gains (told - SEEN x-): one linear recursion.
    place = np.searchsorted(speeds_mps, speed_mps, side="right") - 1
    share = (speed_mps - speeds_mps[place]) / (speeds_mps[1] - speeds_mps[0])

    def over_time(grid: Floats) -> Floats:
        by_speed = np.ascontiguousarray(grid.swapaxes(0, 1))
        weight = share.reshape(-1, *(1,) * (by_speed.ndim - 1))
        low = by_speed[place]
        return np.asarray(low + weight * (by_speed[place + 1] - low))

    def yielding(grid: Floats) -> Floats:
        """Return matrices over time for tyres that give way: so far off as stiffness is."""
        softer = (grid[1:3] - grid[:1]) / NUDGES[:2, None, None, None]
        slack = over_time(softer) * giving[:, :, None, None]
        return np.asarray(over_time(grid) + slack.sum(axis=1, keepdims=True))

    all_moves = yielding(moves)
    pushes = yielding(drive[..., None])
    lags_s = plant.servo_lag_s.tolist()
    wheel = {lag_s: _wheel(motion.command, lag_s) for lag_s in set(lags_s)}
    pushes *= np.stack([wheel[lag_s] for lag_s in lags_s], axis=1)[..., None, None]
    told = np.stack([motion.yaw_rate_radps, motion.side_mps2], axis=-1)[:, None, :, None]
    keeps = over_time(keep)
    turned, added = keeps @ all_moves, keeps @ pushes + over_time(all_gains) @ told
    missed = motion.measured == 0.0
    turned[missed], added[missed] = all_moves[missed], pushes[missed]
    states = np.empty((len(speed_mps), len(cars), STATES, 1))
    state = np.zeros((len(cars), STATES, 1))
    for index, (turn, add) in enumerate(zip(turned, added, strict=True)):
        states[index] = state
        state = turn @ state + add
    before = SEEN @ (all_moves @ states + pushes)
    given_way = _given_way(cars[0], states[:, 0, :2, 0], wheel[lags_s[0]], speed_mps)
    return Foreseen((told - before)[..., 0], whiten[place], given_way)


def _given_way(car: Floats, state: Floats, wheel: Floats, speed_mps: Floats) -> Floats:
    """Return by how much of their stiffness the tyres of each axle have given way, (n, 2).

    A tyre's side force is taken as the hyperbolic tangent of its slip angle: straight to begin
    with, no larger than `GRIP` times the load in the end.
    """
    front, rear = np.exp(car[:2])
    wheelbase_m, share, lock_rad = exp(car[5]), car[2], exp(car[6])
    later = np.concatenate([state[1:], state[-1:]])
    side_mps, yaw_radps = (0.5 * (state + later)).T
    front_rad = wheel * lock_rad - (side_mps + wheelbase_m * share * yaw_radps) / speed_mps
    rear_rad = (wheelbase_m * (1.0 - share) * yaw_radps - side_mps) / speed_mps
    most_mps2 = GRIP * STANDARD_GRAVITY_MPS2 * np.array([1.0 - share, share])
    slip = np.abs(np.stack([front * front_rad, rear * rear_rad], axis=1) / most_mps2)
    slip = np.maximum(slip, 1e-6)
    return np.asarray(np.tanh(slip) / slip - 1.0, dtype=np.float64)


def _wheel(command: Floats, lag_s: float) -> Floats:
    """Return the mean wheel angle over each step behind a servo of first order."""
    keep = exp(-STEP_S / lag_s)
    share = lag_s / STEP_S * (1.0 - keep)
    means, angle = [], 0.0
    for wanted in command.tolist():
        means.append(wanted + (angle - wanted) * share)
        angle = wanted + (angle - wanted) * keep
    return np.array(means)


def _steps(plant: Plant, speed_mps: Floats, roads_m: Floats) -> tuple[Floats, Floats]:
    """Return transition and input of each step, (cars, n, 5, 5) and (cars, n, 5)."""
    rates = np.zeros((len(plant.side), len(speed_mps), 4, 4))
    for row, by in enumerate((plant.side, plant.turn)):
        rates[..., row, :2] = by[:, None, :2] / speed_mps[:, None]
    rates[..., 0, 2] = rates[..., 1, 3] = 1.0
    rates[..., 2, 2] = rates[..., 3, 3] = -speed_mps / roads_m[:, None]
    # What an accelerometer feels is the change of side speed but for the turning of the axes.
    feels = rates[..., :1, :].copy()
    rates[..., 0, 1] -= speed_mps
    once = rates * STEP_S
    twice = once @ once
    thrice = twice @ once
    fourth = twice @ twice
    unit = np.eye(4)
    # The exponential, its mean over the step, and the mean of its running integral.
    mean = unit + once / 2.0 + twice / 6.0 + thrice / 24.0 + fourth / 120.0
    within = (unit / 2.0 + once / 6.0 + twice / 24.0 + thrice / 120.0) * STEP_S
    inputs = np.zeros((len(plant.side), 1, 4, 1))
    inputs[:, 0, 0, 0], inputs[:, 0, 1, 0] = plant.side[:, 2], plant.turn[:, 2]
    moves = np.zeros((*rates.shape[:2], STATES, STATES))
    moves[..., :4, :4] = unit + once + twice / 2.0 + thrice / 6.0 + fourth / 24.0
    moves[..., 4:, :4] = feels @ mean
    drive = np.zeros((*rates.shape[:2], STATES))
    drive[..., :4] = (mean @ inputs)[..., 0] * STEP_S
    drive[..., 4] = (feels @ within @ inputs)[..., 0, 0] + plant.side[:, None, 2]
    return moves, drive


def _gains(moves: Floats, noise: Floats, motion: Motion) -> tuple[Floats, Floats]:
    """Return steady Kalman gains, (roads, speeds, 5, 2), and the first road's whitening."""
    accel_mps2 = ACCEL_NOISE_MPS2 if motion.has_side else 1e4
    sensors = np.diag([motion.gyro_noise_radps**2, accel_mps2**2])
    spread = steady_covariance(moves, noise, SEEN, sensors)
    inner = spread[..., 1::3, 1::3] + sensors
    gains = spread[..., :, 1::3] @ np.linalg.inv(inner)
    return gains, np.linalg.inv(np.linalg.cholesky(inner[0]))


def _road_noise(speeds_mps: Floats, road_m: float, road_per_mps: Floats) -> Floats:
    """Return what a step adds to the state's covariance, (n, 5, 5).

    The pushes are Ornstein-Uhlenbeck processes; they, and their integrals over the step, given
    their values before it.
    """
    rate = speeds_mps / road_m
    keep = np.exp(-rate * STEP_S)
    summed = (2.0 * rate * STEP_S - 3.0 + 4.0 * keep - keep**2) / rate**2
    crossed = (1.0 - keep) ** 2 / rate
    noise = np.zeros((len(speeds_mps), STATES, STATES))
    for state, push, size in ((0, 2, road_per_mps[1]), (1, 3, road_per_mps[0])):
        variance = (size * speeds_mps) ** 2
        noise[:, state, state] = variance * summed
        noise[:, state, push] = noise[:, push, state] = variance * crossed
        noise[:, push, push] = variance * (1.0 - keep**2)
    side = (road_per_mps[1] * speeds_mps) ** 2
    noise[:, 4, 4] = side * summed / STEP_S**2
    noise[:, 4, 0] = noise[:, 0, 4] = side * summed / STEP_S
    noise[:, 4, 2] = noise[:, 2, 4] = side * crossed / STEP_S
    return noise
