"""A car's numbers from how it swung: the bicycle model fitted to one pass.

Owns the fit: the numbers under which each yaw rate and side acceleration is best foreseen from the
frames before it, together with what is known of any such car beforehand. A pass alone does not
carry damping to a few hundredths; with what is known of cars it does.

Method: Ljung, "System Identification", 2nd ed. 1999, chapter 7 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, radians

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.robust_line import NORMAL_PER_DEVIATION
from groundstation.analysis.yaw_filter import foresee, nudged, slopes_of
from groundstation.analysis.yaw_grid import Motion
from groundstation.analysis.yaw_model import CarGeometry, Plant, plant_of

ROAD_PER_MPS = np.array([0.1, 0.03])
"""How an uneven road pushes, to begin with: yaw rad/s^2 and side m/s^2 one sigma per m/s of speed.
Each round of the fit takes them as it finds them. The length over which a push keeps its sign is
fitted with the car, for frequency and damping depend on it."""

USUAL = np.array(
    [log(75.0), log(75.0), 0.48, log(0.9), log(0.03), log(0.3), log(radians(18.0)), 0.0]
)
USUAL_SPREAD = np.array([0.5, 0.5, 0.05, 0.2, 0.4, 0.3, 0.5, 0.4])
"""What any small car is like, in `PARAMETERS`, and the log of the road's length: our own judgement,
no source. Axle stiffness of 8 to 25 times the load per radian, mass near the middle, servos of 20
to 45 ms."""
RULED_SPREAD, FILMED_SPREAD = 0.03, 0.1
"""Of the logarithm of a number that somebody measured with a ruler, or from a film."""

ROUNDS = 40

ROUNDS = 6
MODEL_WIDENS = 1.5
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
    for place, known, error in (
        (4, geometry.servo_lag_s, FILMED_SPREAD),
        (5, geometry.wheelbase_m, RULED_SPREAD),
        (6, lock_rad, RULED_SPREAD),
    ):
        if known is not None:
            mean[place], spread[place] = log(known), error
    return mean, spread


def fit_car(motion: Motion, geometry: CarGeometry) -> CarFit:
    """Return the car's numbers by Gauss and Newton's method from what is usual."""
    mean, spread = prior_of(geometry)
    precision = np.diag(1.0 / spread**2)
    at = mean.copy()
    information = precision
    road_per_mps = ROAD_PER_MPS
    giving = np.zeros((len(motion.speed_mps), 2))
    for _ in range(ROUNDS):
        foreseen = foresee(motion, nudged(at), road_per_mps, giving)
        giving = foreseen.given_way
        # To unit variance, if the road is as assumed.
        errors = foreseen.whitened(motion)
        own = errors[:, 0]
        # So many times the median size is the sigma of normal errors, whatever the kicks.
        scale = np.clip(NORMAL_PER_DEVIATION * np.median(np.abs(own), axis=0), 0.3, 3.0)
        road_per_mps = road_per_mps * scale
        errors /= scale
        slopes = slopes_of(errors)
        flat = errors[:, 0].ravel()
        weights = np.minimum(1.0, BOUND / np.maximum(np.abs(flat), 1e-9))
        information = (slopes * weights) @ slopes.T + precision
        downhill = (slopes * weights) @ flat + precision @ (at - mean)
        step = np.linalg.solve(information, -downhill)
        # At most two spreads a round: far from the answer the model is not linear.
        at = at + step / max(1.0, float(np.max(np.abs(step) / (2.0 * spread))))
    return CarFit(at, np.asarray(MODEL_WIDENS**2 * np.linalg.inv(information), dtype=np.float64))
