"""Where the car would stop if the driver lifted now, and how long until the lift point.

Owns the geometry and the kinematics of the forecast: a straight line that passes the driver at some
distance, a reaction at unchanged acceleration, then even braking. Stopping distance:
v t + v^2 / (2 b) (AASHTO, A Policy on Geometric Design of Highways and Streets, stopping sight
distance).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, log1p, sqrt

QUANTILE_5 = 1.6449
"""Standard normal deviate that 5 % lie below the negative of."""

LONGEST_LIFT_S = 60.0
"""A lift point further off than this is not counted down to."""

NEWTON_STEPS = 3
"""To the lift point, from a guess that is right without the air: then exact to a millimetre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Braking:
    """What is between a warning and a car at rest."""

    react_s: float = 0.3
    """From the warning to the finger (a simple reaction to sound takes 0.15 to 0.4 s; common
    practice, no source)."""
    latency_s: float = 0.15
    """From the finger to the brakes: the throttle's travel and the control link."""
    decel_mps2: float = 6.0
    """Mean over the way of a whole braking that began at `decel_from_mps`."""
    decel_from_mps: float = 30.0
    """Faster than this the air helps more, slower it helps less."""
    drag_per_m: float = 0.001
    """Deceleration by the air over speed squared: half the air's density times drag area over mass.
    0.008 m^2 and 5 kg make 0.001."""
    decel_sigma_mps2: float = 0.6
    """Of one braking about `decel_mps2`."""


@dataclass(slots=True)
class Motion:
    """The car on its line, at one moment; plain data."""

    at_s: float
    distance_m: float
    """From the driver."""
    sigma_m: float
    speed_mps: float
    away_mps: float
    """Growth of the distance."""
    accel_mps2: float = 0.0
    """Smoothed; positive is faster."""
    brakes: bool = False
    """The driver has lifted and brakes."""

    def after(self, seconds: float) -> Motion:
        """Return the motion dead-reckoned: the line, the speed and half the acceleration go on.

        Half, because drag and the speed limit end it; the other half is in the uncertainty.
        """
        if seconds <= 0.0:
            return self
        gain_mps = 0.5 * self.accel_mps2 * seconds
        way_m = max(self.speed_mps + 0.5 * gain_mps, 0.0) * seconds
        line = self.line()
        along_m = line.along_m + way_m
        distance_m = sqrt(along_m * along_m + line.aside_m * line.aside_m)
        speed_mps = max(self.speed_mps + gain_mps, 0.0)
        doubt_m = 0.25 * abs(self.accel_mps2) * seconds * seconds + 0.02 * way_m
        return Motion(
            at_s=self.at_s + seconds,
            distance_m=distance_m,
            sigma_m=sqrt(self.sigma_m * self.sigma_m + doubt_m * doubt_m),
            speed_mps=speed_mps,
            away_mps=speed_mps * along_m / distance_m if distance_m > 0.0 else speed_mps,
            accel_mps2=self.accel_mps2,
            brakes=self.brakes,
        )

    def line(self) -> Line:
        """Return the straight line that the car is on."""
        share = self.away_mps / self.speed_mps if self.speed_mps > 0.0 else 1.0
        share = min(max(share, -1.0), 1.0)
        return Line(self.distance_m * share, self.distance_m * sqrt(1.0 - share * share))


@dataclass(frozen=True, slots=True)
class Line:
    """A car's place on its line: from the point nearest to the driver, and how near that is."""

    along_m: float
    """Negative while the car approaches."""
    aside_m: float

    def distance_m(self, further_m: float) -> float:
        """Return the distance from the driver further on along the line."""
        along_m = self.along_m + further_m
        return sqrt(along_m * along_m + self.aside_m * self.aside_m)

    def way_to_m(self, distance_m: float) -> float:
        """Return the way until the car, going away, is at a distance from the driver."""
        return sqrt(max(distance_m**2 - self.aside_m**2, 0.0)) - self.along_m


def brake_way_m(speed_mps: float, braking: Braking) -> float:
    """Return the way from the first braking to rest: brakes that hold evenly, and the air.

    dv/dt = -b - c v^2 gives ln(1 + c v^2 / b) / (2 c).
    """
    drag, even_mps2 = braking.drag_per_m, _even_mps2(braking)
    if drag <= 0.0:
        return speed_mps * speed_mps / (2.0 * even_mps2)
    return log1p(drag * speed_mps * speed_mps / even_mps2) / (2.0 * drag)


def stop_way_m(motion: Motion, braking: Braking) -> tuple[float, float]:
    """Return the way to rest if the driver were warned now, and its standard deviation.

    A car that brakes already needs no warning, no reaction and no finger.
    """
    if motion.brakes:
        brake_m = brake_way_m(motion.speed_mps, braking)
        return brake_m, brake_m * braking.decel_sigma_mps2 / braking.decel_mps2
    react_s = braking.react_s + braking.latency_s
    accel_mps2 = max(motion.accel_mps2, 0.0)
    react_m = motion.speed_mps * react_s + 0.5 * accel_mps2 * braking.react_s**2
    brake_m = brake_way_m(motion.speed_mps + accel_mps2 * braking.react_s, braking)
    return react_m + brake_m, brake_m * braking.decel_sigma_mps2 / braking.decel_mps2


def overrun_m(speed_mps: float, braking: Braking) -> float:
    """Return the way from the warning to rest that 95 of 100 stops keep within."""
    way_m, sigma_m = stop_way_m(Motion(0.0, 0.0, 0.0, speed_mps, speed_mps), braking)
    return way_m + QUANTILE_5 * sigma_m


def lift_in_s(motion: Motion, braking: Braking, way_m: float) -> float | None:
    """Return the time until the car must be lifted to stop within a way; 0 when that is past.

    None where it is further off than `LONGEST_LIFT_S`, or never, and for a car that brakes: there
    is nothing left to lift. The acceleration of now is taken
    to go on: t such that the way covered until then and the stopping way from there make `way_m`,
    by Newton's method.

    Args:
        motion: Now.
        braking: Of this car and driver.
        way_m: From here to the last place to stop at.
    """
    if motion.brakes:
        return None
    stop_m, _ = stop_way_m(motion, braking)
    spare_m = way_m - stop_m
    if spare_m <= 0.0:
        return 0.0
    if motion.speed_mps <= 0.0:
        return None
    accel_mps2 = max(motion.accel_mps2, 0.0)
    react_s, both_s = braking.react_s, braking.react_s + braking.latency_s
    even_mps2 = _even_mps2(braking)
    # Without the air it is a quadratic; this is the stable form of its root.
    square = 0.5 * accel_mps2 * (1.0 + accel_mps2 / even_mps2)
    slope = motion.speed_mps + accel_mps2 * both_s
    slope += (motion.speed_mps + accel_mps2 * react_s) * accel_mps2 / even_mps2
    seconds = 2.0 * spare_m / (slope + sqrt(slope * slope + 4.0 * square * spare_m))
    for _ in range(NEWTON_STEPS):
        speed_mps = motion.speed_mps + accel_mps2 * seconds
        reached_mps = speed_mps + accel_mps2 * react_s
        covered_m = (motion.speed_mps + 0.5 * accel_mps2 * seconds) * seconds
        covered_m += speed_mps * both_s + 0.5 * accel_mps2 * react_s**2
        covered_m += brake_way_m(reached_mps, braking)
        slope = reached_mps / (even_mps2 + braking.drag_per_m * reached_mps**2)
        seconds += (way_m - covered_m) / (speed_mps + accel_mps2 * (both_s + slope))
    return seconds if seconds <= LONGEST_LIFT_S else None


def _even_mps2(braking: Braking) -> float:
    """Return what the brakes alone hold, so that `decel_mps2` comes out as it was measured."""
    from_air_mps2 = braking.drag_per_m * braking.decel_from_mps**2
    if from_air_mps2 <= 0.0:
        return braking.decel_mps2
    return from_air_mps2 / expm1(from_air_mps2 / braking.decel_mps2)
