"""The course underneath: where its joints are, and what a joint does to an accelerometer.

Owns the map of joints (a property of the place: the same joint is met again on every pass) and
the shocks in progress. A joint lifts the car by a speed that grows with the car's own; the push
is a half-sine as long as the joint takes to pass under a wheel, once for each axle, followed by a
shallower drop while the tyres rebound.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import exp, pi, sin

from groundstation.simulator.noise import Stream, generator
from groundstation.units import STANDARD_GRAVITY_MPS2

REBOUND_DEPTH = 0.15
REBOUND_LENGTH = 3.0
"""Of the drop behind a shock: depth and length over the shock's own."""


@dataclass(frozen=True, slots=True)
class RoadParameters:
    """A course's surface."""

    joint_spacing_m: float = 11.0
    joint_jitter_m: float = 1.5
    joint_length_m: float = 0.18
    """Length over which a wheel is pushed up."""
    joint_slope: float = 0.0042
    """Median lift speed over car speed."""
    joint_spread: float = 0.45
    """Spread of the slope's logarithm: a few joints are much worse than the rest."""
    joint_skew_radps_per_mps: float = 0.0012
    """Yaw rate given by a joint, one sigma, per speed of the car."""
    roughness_g_per_mps: float = 0.012
    """Vertical acceleration between the joints, one sigma, per speed of the car."""
    reach_m: tuple[float, float] = (-150.0, 1500.0)
    """The part of the world that is mapped, along the course."""
    potholes: tuple[Joint, ...] = ()
    """At known places, on top of the joints."""


@dataclass(frozen=True, slots=True)
class Joint:
    """One seam across the course."""

    position_m: float
    slope: float
    skew: float
    """Which side hits harder, a normal deviate."""


@dataclass(frozen=True, slots=True)
class Shock:
    """A half-sine push upward."""

    start_s: float
    duration_s: float
    peak_g: float

    def at_g(self, t_s: float) -> float:
        """Return the push at a time, the drop behind it included; 0 outside."""
        since = (t_s - self.start_s) / self.duration_s
        if since < 0.0:
            return 0.0
        if since < 1.0:
            return self.peak_g * sin(pi * since)
        since = (since - 1.0) / REBOUND_LENGTH
        return -REBOUND_DEPTH * self.peak_g * sin(pi * since) if since < 1.0 else 0.0

    @property
    def end_s(self) -> float:
        """When the drop behind the push is over."""
        return self.start_s + self.duration_s * (1.0 + REBOUND_LENGTH)


def lay_joints(parameters: RoadParameters, seed: int) -> tuple[Joint, ...]:
    """Return the joints of a course, by place."""
    source = generator(seed, Stream.ROAD)
    first_m, last_m = parameters.reach_m
    count = int((last_m - first_m) / parameters.joint_spacing_m)
    places_m = first_m + parameters.joint_spacing_m * source.random(1)[0]
    jitters, spreads, skews = source.standard_normal((3, count)).tolist()
    joints = [
        Joint(
            places_m
            + parameters.joint_spacing_m * index
            + parameters.joint_jitter_m * max(min(jitter, 2.0), -2.0),
            parameters.joint_slope * exp(parameters.joint_spread * spread),
            skew,
        )
        for index, (jitter, spread, skew) in enumerate(zip(jitters, spreads, skews, strict=True))
    ]
    joints += parameters.potholes
    return tuple(sorted(joints, key=lambda joint: joint.position_m))


class Road:
    """The joints, and the shocks that the car is feeling."""

    def __init__(self, parameters: RoadParameters, *, seed: int, wheelbase_m: float) -> None:
        self.parameters = parameters
        self.joints = lay_joints(parameters, seed)
        self.shocks: list[Shock] = []
        """Begun or about to begin, not over."""
        self._wheelbase_m = wheelbase_m
        self._places_m = [joint.position_m for joint in self.joints]

    def pass_over(self, *, from_m: float, to_m: float, t_s: float, speed_mps: float) -> float:
        """Take note of the joints between two places and return the yaw rate they give, rad/s.

        Args:
            from_m: Place of the front axle at `t_s`.
            to_m: Its place at the end of the step.
            t_s: Start of the step.
            speed_mps: Of the car.
        """
        if self.shocks:
            self.shocks = [shock for shock in self.shocks if shock.end_s > t_s]
        low_m, high_m = (from_m, to_m) if from_m < to_m else (to_m, from_m)
        first = bisect_right(self._places_m, low_m)
        if first == len(self._places_m) or self._places_m[first] > high_m or speed_mps < 1.0:
            return 0.0
        yaw_rate_radps = 0.0
        for joint in self.joints[first : bisect_right(self._places_m, high_m)]:
            hit_s = t_s + abs(joint.position_m - from_m) / speed_mps
            yaw_rate_radps += self.parameters.joint_skew_radps_per_mps * speed_mps * joint.skew
            for axle_s in (hit_s, hit_s + self._wheelbase_m / speed_mps):
                self.shocks.append(self._shock(joint, axle_s, speed_mps))
        return yaw_rate_radps

    def lift_g(self, t_s: float) -> float:
        """Return the shocks' vertical acceleration at a time."""
        return sum(shock.at_g(t_s) for shock in self.shocks)

    def _shock(self, joint: Joint, start_s: float, speed_mps: float) -> Shock:
        duration_s = self.parameters.joint_length_m / speed_mps
        # A half-sine of peak A and length T changes the speed by 2 A T / pi.
        peak_mps2 = joint.slope * speed_mps * pi / (2.0 * duration_s)
        return Shock(start_s, duration_s, peak_mps2 / STANDARD_GRAVITY_MPS2)
