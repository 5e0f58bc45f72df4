"""The least error that any analysis of a pass can have: the bound of Cramér and Rao.

Owns what a pass tells of an invented car whose numbers are known: the information in the frames and
in what is known of any car beforehand, and the errors of frequency and damping that follow from it
for an estimator that wastes nothing. (van Trees, "Detection, Estimation, and Modulation Theory",
part I, 1968, section 2.4.3, from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, radians

import numpy as np

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.analysis.robust_line import NORMAL_PER_DEVIATION
from groundstation.analysis.yaw_filter import foresee, nudged, slopes_of
from groundstation.analysis.yaw_fit import prior_of
from groundstation.analysis.yaw_grid import motion_of
from groundstation.analysis.yaw_model import CarGeometry, Plant, closed_loop_mode, plant_of
from groundstation.simulator.scenario import CarParameters
from groundstation.simulator.yaw import YawParameters

DRAWS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """Cars that an estimator without waste would take this one for."""

    plants: Plant
    """The true one first, then `DRAWS`."""

    def errors(
        self, speed_mps: float, *, gain_s: float, delay_s: float
    ) -> list[tuple[float, float]]:
        """Return errors of frequency, as a share, and of damping ratio."""
        ratios, modes_hz = closed_loop_mode(
            self.plants, speed_mps=speed_mps, gain_s=gain_s, delay_s=delay_s
        )
        if modes_hz[0] <= 0.0:
            return []
        return list(zip(modes_hz[1:] / modes_hz[0] - 1.0, ratios[1:] - ratios[0], strict=True))


def bound_of(
    record: Record,
    span: PassSpan,
    car: CarParameters,
    *,
    geometry: CarGeometry,
    seed: int,
) -> Bound | None:
    """Return what a pass tells of a car at best; None where it tells nothing at all.

    Args:
        record: The recording.
        span: The pass.
        car: The true one.
        geometry: What is told of the car.
        seed: Of the draws.
    """
    motion = motion_of(record, span)
    if motion is None:
        return None
    true = numbers_of(car.yaw, car.drive.mass_kg)
    road = np.array([car.yaw.road_yaw_per_mps, car.yaw.road_side_per_mps])
    cars = nudged(true)
    giving = np.zeros((len(motion.speed_mps), 2))
    foreseen = foresee(motion, cars, road, giving)
    foreseen = foresee(motion, cars, road, foreseen.given_way)
    errors = foreseen.whitened(motion)
    errors /= NORMAL_PER_DEVIATION * np.median(np.abs(errors[:, 0]), axis=0)
    slopes = slopes_of(errors)
    spread = prior_of(geometry)[1]
    covariance = np.linalg.inv(slopes @ slopes.T + np.diag(1.0 / spread**2))
    draws = np.random.default_rng([20312, seed]).standard_normal((DRAWS, len(true)))
    return Bound(plant_of(np.vstack([true, true + draws @ np.linalg.cholesky(covariance).T])))


def numbers_of(yaw: YawParameters, mass_kg: float) -> Floats:
    """Return the (8) numbers that a fit would find of a car if it knew all."""
    wheelbase_m = yaw.front_m + yaw.rear_m
    return np.array(
        [
            log(yaw.front_stiffness_n_per_rad / mass_kg),
            log(yaw.rear_stiffness_n_per_rad / mass_kg),
            yaw.front_m / wheelbase_m,
            log(yaw.inertia_kg_m2 / (mass_kg * yaw.front_m * yaw.rear_m)),
            log(yaw.servo_lag_s),
            log(wheelbase_m),
            log(radians(yaw.steering_lock_deg)),
            log(yaw.road_length_m),
        ]
    )
