"""A car's numbers from how it swung: the bicycle model fitted to one pass.

Owns the fit: the numbers under which each yaw rate and side acceleration is best told from the
frames before it (prediction errors, whitened by a Kalman filter for a road that pushes the car at
random), together with what is known of any such car beforehand. The driver's steering and the
stabiliser's correction are inputs, so that the loop around the car does no harm. A pass alone does
not carry damping to a few hundredths; with what is known of cars it does.

Method: Ljung, "System Identification", 2nd ed. 1999, chapter 7 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, radians

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.robust_line import NORMAL_PER_DEVIATION
from groundstation.analysis.yaw_grid import STEP_S, Motion
from groundstation.analysis.yaw_model import CarGeometry, Plant, plant_of

ROAD_PER_MPS = np.array([0.1, 0.03])
"""How an uneven road pushes, to begin with: yaw rad/s^2 and side m/s^2 one sigma per m/s of speed.
Each round of the fit takes them as it finds them. The length over which a push keeps its sign is
fitted with the car, for frequency and damping depend on it."""
ACCEL_NOISE_MPS2 = 0.1

USUAL = np.array(
    [log(75.0), log(75.0), 0.48, log(0.9), log(0.03), log(0.3), log(radians(18.0)), 0.0]
)
USUAL_SPREAD = np.array([0.5, 0.5, 0.05, 0.2, 0.4, 0.3, 0.5, 0.4])
"""What any small car is like, in `PARAMETERS`, and the log of the road's length: our own judgement,
no source. Axle stiffness of 8 to 25 times the load per radian, mass near the middle, servos of 20
to 45 ms."""
MEASURED_SPREAD = 0.03
"""Of the logarithm of a number that somebody measured."""

STATES = 5
"""Side speed, yaw rate, the road's push on either, mean side acceleration over the step."""
SEEN = np.eye(STATES)[1::3]
GRID_SPEEDS = 24
RICCATI_ROUNDS = 40

ROUNDS = 4
NUDGES = np.array([0.02, 0.02, 0.003, 0.02, 0.03, 0.02, 0.02, 0.05])
MODEL_WIDENS = 1.45
"""Intervals are this much wider than the fit's own: the model is not the car. Set so that about 95
of 100 hold the truth in simulated passes."""
BOUND = 3.0
"""Prediction errors beyond so many sigma are weighed down: joints kick the car."""


@dataclass(frozen=True, slots=True, eq=False)
class CarFit:
    """A car's numbers and how surely they are known."""

    parameters: Floats
    """(8) `PARAMETERS` and the log of the road's length."""
    covariance: Floats
    """(8, 8)"""

    def draws(self, count: int) -> Plant:
        """Return plants: the fitted one first, then `count` drawn from the fit's uncertainty."""
        root = np.linalg.cholesky(self.covariance)
        normal = np.random.default_rng(1).standard_normal((count, len(self.parameters)))
        return plant_of(np.vstack([self.parameters, self.parameters + normal @ root.T]))


def prior_of(geometry: CarGeometry) -> tuple[Floats, Floats]:
    """Return mean and spread of what is known of a car beforehand."""
    mean, spread = USUAL.copy(), USUAL_SPREAD.copy()
    lock_deg = geometry.steering_lock_deg
    lock_rad = None if lock_deg is None else radians(lock_deg)
    for place, known in ((4, geometry.servo_lag_s), (5, geometry.wheelbase_m), (6, lock_rad)):
        if known is not None:
            mean[place], spread[place] = log(known), MEASURED_SPREAD
    return mean, spread


def fit_car(motion: Motion, geometry: CarGeometry) -> CarFit:
    """Return the car's numbers by Gauss and Newton's method from what is usual."""
    mean, spread = prior_of(geometry)
    precision = np.diag(1.0 / spread**2)
    at = mean.copy()
    count = len(at)
    information = precision
    road_per_mps = ROAD_PER_MPS
    for _ in range(ROUNDS):
        cars = np.tile(at, (count + 1, 1))
        cars[1:] += np.diag(NUDGES)
        errors, whiten = _prediction_errors(motion, cars, road_per_mps)
        # To unit variance, if the road is as assumed.
        errors = errors @ whiten.swapaxes(-1, -2)
        errors = errors[motion.measured > 0.0][10:]
        own = errors[:, 0]
        # So many times the median size is the sigma of normal errors, whatever the kicks.
        scale = np.clip(NORMAL_PER_DEVIATION * np.median(np.abs(own), axis=0), 0.3, 3.0)
        road_per_mps = road_per_mps * scale
        errors /= scale
        slopes = ((errors[:, 1:] - errors[:, :1]) / NUDGES[:, None]).swapaxes(0, 1)
        slopes = slopes.reshape(count, -1)
        flat = errors[:, 0].ravel()
        weights = np.minimum(1.0, BOUND / np.maximum(np.abs(flat), 1e-9))
        information = (slopes * weights) @ slopes.T + precision
        downhill = (slopes * weights) @ flat + precision @ (at - mean)
        step = np.linalg.solve(information, -downhill)
        # At most two spreads a round: far from the answer the model is not linear.
        at = at + step / max(1.0, float(np.max(np.abs(step) / (2.0 * spread))))
    return CarFit(at, np.asarray(MODEL_WIDENS**2 * np.linalg.inv(information), dtype=np.float64))


def _prediction_errors(motion: Motion, cars: Floats, road_per_mps: Floats) -> tuple[Floats, Floats]:
    """Return what each car's model did not foresee, (n, cars, 2), and its whitening, (n, 2, 2).

    All that depends on speed is reckoned at a few speeds, with straight lines between them.
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

    all_moves = over_time(moves)
    pushes = over_time(drive[..., None])
    lags_s = plant.servo_lag_s.tolist()
    wheel = {lag_s: _wheel(motion.command, lag_s) for lag_s in set(lags_s)}
    pushes *= np.stack([wheel[lag_s] for lag_s in lags_s], axis=1)[..., None, None]
    told = np.stack([motion.yaw_rate_radps, motion.side_mps2], axis=-1)[:, None, :, None]
    turned, added = over_time(keep @ moves), over_time(keep) @ pushes + over_time(all_gains) @ told
    missed = motion.measured == 0.0
    turned[missed], added[missed] = all_moves[missed], pushes[missed]
    states = np.empty((len(speed_mps), len(cars), STATES, 1))
    state = np.zeros((len(cars), STATES, 1))
    for index, (turn, add) in enumerate(zip(turned, added, strict=True)):
        states[index] = state
        state = turn @ state + add
    before = SEEN @ (all_moves @ states + pushes)
    return (told - before)[..., 0], whiten[place]


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
    back = moves.swapaxes(-1, -2)
    spread = noise
    for _ in range(RICCATI_ROUNDS):
        spread = moves @ spread @ back + noise
        inner = spread[..., 1::3, 1::3] + sensors
        gains = spread[..., :, 1::3] @ np.linalg.inv(inner)
        spread = spread - gains @ spread[..., 1::3, :]
        spread = 0.5 * (spread + spread.swapaxes(-1, -2))
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
