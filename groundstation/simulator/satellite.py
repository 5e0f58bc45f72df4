"""The satellite receiver on board: late, noisy, and now and then sure of something untrue.

Owns fixes, from measurement to the moment the firmware has them. Errors drift over seconds and
carry a little white noise; accuracies are the receiver's own estimate, not the truth. A spike is
a single speed several m/s off, as a lost and regained satellite gives.

Earth: WGS 84; places near the course's origin by the ellipsoid's two radii of curvature there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from math import atan2, cos, degrees, exp, hypot, pi, radians, sin, sqrt

from groundstation.simulator.noise import Stream, generator, normals, uniforms

EQUATOR_RADIUS_M = 6_378_137.0
FLATTENING = 1.0 / 298.257223563
"""WGS 84."""

SLOWEST_COURSE_MPS = 0.5
"""Slower than this a course over ground means nothing, and none is reported."""


@dataclass(frozen=True, slots=True)
class SatelliteParameters:
    """A satellite receiver."""

    interval_s: float = 0.1
    latency_s: float = 0.085
    """From the measurement to the firmware."""
    latency_jitter_s: float = 0.01
    stamp_late_s: float = 0.006
    """How much the firmware's time stamp lies behind the moment measured."""
    speed_noise_mps: float = 0.04
    speed_drift_mps: float = 0.05
    speed_drift_s: float = 4.0
    position_noise_m: float = 0.05
    position_drift_m: float = 0.6
    position_drift_s: float = 40.0
    spike_chance: float = 0.004
    """Of a fix taken at speed."""
    spike_least_mps: float = 5.0
    spike_more_mps: float = 4.0
    """Mean of what comes on top of the least."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where an invented course lies."""

    latitude_deg: float
    longitude_deg: float
    bearing_deg: float
    """Of the course, clockwise from north."""

    def place_deg(self, along_m: float, across_m: float) -> tuple[float, float]:
        """Return latitude and longitude of a place: along the course, and to its left."""
        bearing_rad, latitude_rad = radians(self.bearing_deg), radians(self.latitude_deg)
        north_m = along_m * cos(bearing_rad) + across_m * sin(bearing_rad)
        east_m = along_m * sin(bearing_rad) - across_m * cos(bearing_rad)
        squared = FLATTENING * (2.0 - FLATTENING)
        bulge = sqrt(1.0 - squared * sin(latitude_rad) ** 2)
        meridian_m = EQUATOR_RADIUS_M * (1.0 - squared) / bulge**3
        normal_m = EQUATOR_RADIUS_M / bulge
        return (
            self.latitude_deg + degrees(north_m / meridian_m),
            self.longitude_deg + degrees(east_m / (normal_m * cos(latitude_rad))),
        )


@dataclass(frozen=True, slots=True)
class Fix:
    """One fix as the receiver gives it."""

    stamped_s: float
    ready_s: float
    latitude_deg: float
    longitude_deg: float
    ground_speed_mps: float
    course_deg: float | None
    speed_accuracy_mps: float
    horizontal_accuracy_m: float
    satellites: int
    spike: bool
    """The truth, which the wire does not tell."""


class SatelliteReceiver:
    """Measures at its own rate, hands over later."""

    def __init__(self, parameters: SatelliteParameters, origin: Origin, *, seed: int) -> None:
        self.parameters = parameters
        self._origin = origin
        source = generator(seed, Stream.SATELLITE)
        start = source.random(2).tolist()
        self._next_s = parameters.interval_s * start[0]
        self._satellites = 13 + int(5 * start[1])
        self._normals: Iterator[float] = normals(source)
        self._chances: Iterator[float] = uniforms(generator(seed, Stream.SPIKES))
        self._pending: deque[Fix] = deque()
        keep = exp(-parameters.interval_s / parameters.speed_drift_s)
        self._speed_keep = keep, sqrt(1.0 - keep * keep)
        keep = exp(-parameters.interval_s / parameters.position_drift_s)
        self._position_keep = keep, sqrt(1.0 - keep * keep)
        self._speed_drift = next(self._normals)
        self._position_drift = [next(self._normals), next(self._normals)]

    def observe(
        self, t_s: float, *, along_m: float, across_m: float, speed_mps: float, direction_rad: float
    ) -> None:
        """Measure, where a measurement is due.

        Args:
            t_s: Now.
            along_m: Place along the course.
            across_m: Place to the left of the line.
            speed_mps: Over ground.
            direction_rad: Of the motion, 0 along the course, positive to the left.
        """
        if t_s < self._next_s:
            return
        # The state is that of t_s, a few ms behind the round time; it is stamped as such.
        self._next_s += self.parameters.interval_s
        self._pending.append(self._measure(t_s, along_m, across_m, speed_mps, direction_rad))

    def hand_over(self, t_s: float) -> Fix | None:
        """Return the next fix that has become ready, None where there is none."""
        if self._pending and self._pending[0].ready_s <= t_s:
            return self._pending.popleft()
        return None

    def _measure(
        self, t_s: float, along_m: float, across_m: float, speed_mps: float, direction_rad: float
    ) -> Fix:
        given, noise = self.parameters, self._normals
        keep, fresh = self._speed_keep
        self._speed_drift = keep * self._speed_drift + fresh * next(noise)
        keep, fresh = self._position_keep
        self._position_drift = [keep * each + fresh * next(noise) for each in self._position_drift]
        along_error_m, across_error_m = (
            given.position_drift_m * each + given.position_noise_m * next(noise)
            for each in self._position_drift
        )
        latitude_deg, longitude_deg = self._origin.place_deg(
            along_m + along_error_m, across_m + across_error_m
        )
        error_mps = given.speed_drift_mps * self._speed_drift + given.speed_noise_mps * next(noise)
        side_mps = given.speed_noise_mps * next(noise)
        spike = speed_mps > 8.0 and next(self._chances) < given.spike_chance
        sigma_mps = hypot(given.speed_drift_mps, given.speed_noise_mps)
        accuracy_mps = sigma_mps * (1.1 + 0.12 * abs(next(noise))) + 0.0004 * speed_mps
        if spike:
            error_mps += given.spike_least_mps + given.spike_more_mps * abs(next(noise))
            # Half of the time the receiver notices, and owns to it.
            accuracy_mps *= 1.0 + 6.0 * (next(self._chances) < 0.5)
        forward_mps = speed_mps + error_mps
        course_deg = None
        if speed_mps >= SLOWEST_COURSE_MPS:
            travel_rad = direction_rad + atan2(side_mps, forward_mps)
            course_deg = (self._origin.bearing_deg - degrees(travel_rad)) % 360.0
        jitter_s = given.latency_jitter_s * abs(next(noise))
        return Fix(
            stamped_s=t_s + given.stamp_late_s,
            ready_s=t_s + given.latency_s + jitter_s,
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            ground_speed_mps=hypot(forward_mps, side_mps),
            course_deg=course_deg,
            speed_accuracy_mps=accuracy_mps,
            horizontal_accuracy_m=given.position_drift_m * (1.3 + 0.1 * sin(t_s * pi / 60.0)),
            satellites=self._satellites,
            spike=spike,
        )
