"""Where the car is, seen from the driver: distance, and whether it is leaving.

Fixes against the driver's position on the WGS 84 ellipsoid (C. Karney, "Algorithms for geodesics",
J. Geodesy 87, 2013; the geographiclib package) give the place; between fixes, and where there are
none, speed and yaw rate carry it on. Where nobody told where the driver stands, the car's first fix
at rest stands in for it, or the place where the session began: `origin` says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import cos, hypot, radians, sin

from geographiclib.geodesic import Geodesic

from groundstation.vehicle.peaks import number
from protocol import Value

AT_REST_MPS = 1.0
"""Slower than this is at rest: a satellite receiver's speed is noisy."""

STILL_MPS = 0.3
"""Wheels that turn slower than this stand still: then the gyro shows its bias."""

BIAS_S = 1.0
"""Time constant of the bias."""

COURSE_FROM_MPS = 3.0
"""From this speed on the course over ground tells where the car points."""

DRIFT_PER_M = 0.03
"""Error of a place carried on by speed, for each metre driven (common practice, no source)."""

FIX_SIGMA_M = 3.0
"""Of a fix that does not say how good it is (common practice, no source)."""

USABLE_ACCURACY_M = 25.0
"""A fix that calls itself worse than this is passed over."""

STAND_IN_SIGMA_M = 10.0
"""How far from the driver a place may be that stands in for his (common practice, no source)."""

LONGEST_STEP_S = 1.0
"""A gap longer than this is not bridged by the speed before it."""


class Origin(StrEnum):
    """Whose position distances are measured from."""

    DRIVER = "the driver's position"
    FIRST_FIX = "the car's first fix at rest"
    START = "where the session began, by speed"


@dataclass(slots=True)
class Place:
    """Follows the car in a plane whose zero is the driver."""

    station: tuple[float, float] | None = None
    """Latitude and longitude of the driver, degrees; None until known or stood in for."""
    origin: Origin | None = None
    east_m: float = 0.0
    north_m: float = 0.0
    """From the driver; without fixes, along and across the first direction driven."""
    sigma_m: float = 0.0
    """One standard deviation of the place."""
    heading_deg: float = 0.0
    """Counter-clockwise from east (ISO 8855); without fixes, from the first direction driven."""
    speed_mps: float = 0.0
    moved_at_s: float | None = None
    bias_dps: float = 0.0
    """Of the gyro, learned while the car stands still."""
    fixes: int = 0

    @property
    def distance_m(self) -> float | None:
        """From the driver; None while nothing is known."""
        return None if self.origin is None else hypot(self.east_m, self.north_m)

    @property
    def distance_sigma_m(self) -> float:
        """One standard deviation of the distance, with the doubt of where the driver stands."""
        doubt_m = 0.0 if self.origin is Origin.DRIVER else STAND_IN_SIGMA_M
        return hypot(self.sigma_m, doubt_m)

    @property
    def away_mps(self) -> float:
        """Speed of leaving; negative while the car comes nearer."""
        distance_m = hypot(self.east_m, self.north_m)
        if distance_m < 1.0:
            return self.speed_mps
        heading = radians(self.heading_deg)
        along = (self.east_m * cos(heading) + self.north_m * sin(heading)) / distance_m
        return self.speed_mps * along

    def stand_at(self, latitude_deg: float, longitude_deg: float) -> None:
        """Take the driver's position; distances count from it with the next fix."""
        self.station, self.origin = (latitude_deg, longitude_deg), Origin.DRIVER

    def take_fix(self, values: Mapping[str, Value], *, lag_s: float = 0.0) -> None:
        """Take note of a fix; one that is no position, or too uncertain, is passed over.

        Args:
            values: Of the fix frame.
            lag_s: How much older than the newest frame it is: a fix is stamped when measured.
        """
        latitude_deg = number(values, "latitude_deg")
        longitude_deg = number(values, "longitude_deg")
        accuracy_m = number(values, "horizontal_accuracy_m")
        if latitude_deg is None or longitude_deg is None or number(values, "fix_type") in (0, 1):
            return
        if accuracy_m is not None and accuracy_m > USABLE_ACCURACY_M:
            return
        ground_mps = number(values, "ground_speed_mps")
        if self.station is None:
            if ground_mps is None or ground_mps > AT_REST_MPS:
                return
            self.station, self.origin = (latitude_deg, longitude_deg), Origin.FIRST_FIX
        line = Geodesic.WGS84.Inverse(*self.station, latitude_deg, longitude_deg)
        azimuth = radians(line["azi1"])
        self.east_m, self.north_m = line["s12"] * sin(azimuth), line["s12"] * cos(azimuth)
        self.sigma_m = FIX_SIGMA_M if accuracy_m is None else accuracy_m
        self.fixes += 1
        course_deg = number(values, "course_deg")
        if course_deg is not None and ground_mps is not None and ground_mps >= COURSE_FROM_MPS:
            # Course is clockwise from north, heading counter-clockwise from east.
            self.heading_deg = 90.0 - course_deg
        self._go(self.speed_mps * min(max(lag_s, 0.0), LONGEST_STEP_S))

    def take_motion(self, values: Mapping[str, Value], at_s: float) -> None:
        """Carry the place on by speed and yaw rate.

        Args:
            values: Of a motion frame, or of a fix where the car sends no motion frames.
            at_s: When they were true, seconds.
        """
        speed_mps = number(values, "speed_mps")
        if speed_mps is None:
            speed_mps = number(values, "ground_speed_mps")
        if speed_mps is None:
            return
        yaw_dps = number(values, "yaw_rate_dps") or 0.0
        step_s = 0.0 if self.moved_at_s is None else at_s - self.moved_at_s
        if 0.0 < step_s <= LONGEST_STEP_S:
            self._carry_on(step_s, speed_mps, yaw_dps)
        self.speed_mps = speed_mps
        self.moved_at_s = at_s if self.moved_at_s is None else max(at_s, self.moved_at_s)

    def _carry_on(self, step_s: float, speed_mps: float, yaw_dps: float) -> None:
        if speed_mps < STILL_MPS:
            self.bias_dps += (yaw_dps - self.bias_dps) * min(step_s / BIAS_S, 1.0)
            return
        if self.origin is None:
            self.origin = Origin.START
        self.heading_deg += (yaw_dps - self.bias_dps) * step_s
        self._go(0.5 * (self.speed_mps + speed_mps) * step_s)

    def _go(self, step_m: float) -> None:
        heading = radians(self.heading_deg)
        self.east_m += step_m * cos(heading)
        self.north_m += step_m * sin(heading)
        self.sigma_m += DRIFT_PER_M * step_m
