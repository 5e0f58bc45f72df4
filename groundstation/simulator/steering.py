"""How a person steers a car back to the line, from what was seen a reaction time ago.

Owns the law of the hands: a heading that closes the offset, a yaw rate that closes the heading, a
wheel angle that practice has taught for this speed. Distance makes the offset harder to see.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, degrees, exp, radians, sqrt

from groundstation.simulator.driver_plan import DriverPlan
from groundstation.simulator.hands import STEP_S
from groundstation.simulator.noise import Stream, generator, normals
from groundstation.simulator.yaw import CRAWL_MPS, StabiliserParameters, YawParameters

LEAST_UNDERSTEER = 0.0008
"""Wheel angle per side acceleration, rad per m/s^2, that hands expect even of a car without any."""


@dataclass(frozen=True, slots=True)
class Seen:
    """The car as the driver sees it."""

    t_s: float
    along_m: float
    across_m: float
    heading_rad: float
    """0 along the course, positive to the left, not wrapped."""
    speed_mps: float
    distance_m: float
    failsafe: bool
    crashed: bool


class Steering:
    """Steers one car along a line."""

    def __init__(
        self,
        plan: DriverPlan,
        *,
        yaw: YawParameters,
        stabiliser: StabiliserParameters,
        mass_kg: float,
        seed: int,
    ) -> None:
        self._plan = plan
        self._yaw = yaw
        self._stabiliser = stabiliser
        self._wheelbase_m = yaw.front_m + yaw.rear_m
        balance = yaw.rear_m * yaw.rear_stiffness_n_per_rad
        balance -= yaw.front_m * yaw.front_stiffness_n_per_rad
        product = yaw.front_stiffness_n_per_rad * yaw.rear_stiffness_n_per_rad
        understeer = mass_kg * balance / (self._wheelbase_m * product)
        self._understeer = max(understeer, LEAST_UNDERSTEER)
        self._noise: Iterator[float] = normals(generator(seed, Stream.DRIVER))
        self._error = 0.0

    def percent(self, then: Seen, line_rad: float) -> float:
        """Return the steering in percent, positive to the left; call it once each `STEP_S`.

        Args:
            then: What was seen a reaction time ago.
            line_rad: Heading of the line that is steered along, not wrapped.
        """
        plan = self._plan
        speed_mps = then.speed_mps
        keep = exp(-STEP_S / 0.4)
        self._error = keep * self._error + sqrt(1.0 - keep * keep) * next(self._noise)
        seen_m = then.across_m + plan.sees_offset_m_per_m * then.distance_m * self._error
        offset_m = seen_m * cos(line_rad)
        moving_mps = max(speed_mps, CRAWL_MPS)
        toward = plan.offset_gain_per_s2 / (plan.heading_gain_per_s * moving_mps)
        wanted_rad = min(max(-toward * offset_m, -0.5), 0.5)
        error_rad = wanted_rad - (then.heading_rad - line_rad)
        yaw_rate = plan.heading_gain_per_s * error_rad
        # No sharper than 3 m/s^2, nor than a circle of two metres.
        most = min(3.0 / moving_mps, moving_mps / 2.0)
        yaw_rate = min(max(yaw_rate, -most), most)
        wheel_rad = yaw_rate * (self._wheelbase_m / moving_mps + self._understeer * moving_mps)
        percent = wheel_rad / radians(self._yaw.steering_lock_deg) * 100.0
        authority = self._stabiliser.authority_percent
        against = self._stabiliser.gain_at(speed_mps) * degrees(yaw_rate)
        percent += min(max(against, -authority), authority)
        return min(max(percent, -100.0), 100.0)
