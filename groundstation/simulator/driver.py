"""The person with the transmitter: a plan of legs, and hands that steer late.

Owns throttle and steering commands, decided 100 times a second from what was seen a reaction time
ago. The driver steers toward the line: a heading that closes the offset, a yaw rate that closes
the heading, a wheel angle that practice has taught for this speed. Distance makes the offset
harder to see. A range check is a plan too: the transmitter goes off and on, and a second pair of
hands carries the car from mark to mark and turns it on the spot.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from math import cos, degrees, exp, pi, radians, sqrt

from groundstation.simulator.hands import (
    HELD,
    STEP_S,
    Carry,
    Hands,
    TransmitterOff,
    TurnOnSpot,
    carried,
    turned,
)
from groundstation.simulator.noise import Stream, generator, normals
from groundstation.simulator.yaw import CRAWL_MPS, StabiliserParameters, YawParameters

DECISION_S = STEP_S

SCARY_MPS = 20.0

LEAST_UNDERSTEER = 0.0008
"""Wheel angle per side acceleration, rad per m/s^2, that hands expect even of a car without any."""


class Doing(StrEnum):
    """What the driver is about."""

    WAITING = "waiting"
    ACCELERATING = "on the throttle"
    BRAKING = "braking"
    TURNING = "turning round"
    SPINNING = "giving throttle, wheels free"
    SWITCHED_OFF = "transmitter off"
    CARRYING = "carrying the car"
    SHOWING = "turning the car on the spot"


@dataclass(frozen=True, slots=True)
class Wait:
    """Stand."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Pass:
    """Drive along the line, lift, brake to a stop."""

    lift_at_m: float
    """Place along the course where the throttle is let go."""
    throttle: float = 1.0
    speed_limit_mps: float | None = None
    """Held by the throttle, where given."""
    brake: float = 0.8
    coast_s: float = 0.15
    """Between the throttle and the brake."""
    backward: bool = False
    """Toward smaller places."""


@dataclass(frozen=True, slots=True)
class TurnRound:
    """Turn the car about, slowly, and stop on the line."""

    speed_mps: float = 3.5
    settle_m: float = 16.0
    """Way to come back to the line in."""


Leg = Wait | Pass | TurnRound | TransmitterOff | Carry | TurnOnSpot


@dataclass(frozen=True, slots=True)
class DriverPlan:
    """What the driver sets out to do, and how well."""

    legs: tuple[Leg, ...]
    repeats: bool = False
    """Begin again after the last leg."""
    reaction_s: float = 0.22
    """From seeing to steering."""
    offset_gain_per_s2: float = 0.30
    heading_gain_per_s: float = 1.1
    throttle_per_s: float = 1.6
    """How fast the finger squeezes."""
    sees_offset_m_per_m: float = 0.0006
    """Error of the offset seen, one sigma, per metre of distance."""
    scared_deg: float = 15.0
    """Heading off the line at which the driver lifts, faster than `SCARY_MPS`."""
    failsafe_reaction_s: float = 0.9
    """From the car's failsafe to letting go of the throttle."""


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


@dataclass(frozen=True, slots=True)
class Command:
    """What the transmitter sends."""

    throttle: float = 0.0
    """-1 (full brake) to 1."""
    steering_percent: float = 0.0
    """Positive to the left."""


REST = Command()
"""At a standstill: finger off, wheels straight."""


class Driver:
    """Works through a plan."""

    def __init__(
        self,
        plan: DriverPlan,
        *,
        yaw: YawParameters,
        stabiliser: StabiliserParameters,
        mass_kg: float,
        seed: int,
    ) -> None:
        self.plan = plan
        self.doing = Doing.WAITING
        self.lift_at_s: float | None = None
        """When told, the driver lifts at this time whatever the plan says; once."""
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
        self._seen: deque[Seen] = deque(maxlen=max(round(plan.reaction_s / DECISION_S), 1))
        self._leg_at = 0
        self._leg_began_s = 0.0
        self._stood_since_s: float | None = None
        self._throttle = 0.0
        self._line_rad = 0.0
        self._failsafe_since_s: float | None = None
        self._lifted_s: float | None = None
        self._turned_at_m: float | None = None
        self.transmitter_on = True
        self.hands: Hands | None = None
        """None while the car stands or runs by itself."""
        self._heading_at = 0
        self._held_since_s: float | None = None

    @property
    def leg(self) -> Leg | None:
        """The leg in hand; None when the plan is done."""
        return self.plan.legs[self._leg_at] if self._leg_at < len(self.plan.legs) else None

    def decide(self, now: Seen) -> Command:
        """Return the command of this moment; call it each `DECISION_S`."""
        self._seen.append(now)
        self._notice_failsafe(now)
        self.transmitter_on = True
        if not isinstance(self.leg, TransmitterOff | Carry | TurnOnSpot):
            self.hands = None
        if now.crashed:
            self.doing = Doing.WAITING
            return REST
        match self.leg:
            case Wait() as wait:
                return self._wait(wait, now)
            case Pass() as leg:
                return self._drive(leg, now)
            case TurnRound() as leg:
                return self._turn(leg, now)
            case TransmitterOff() as leg:
                return self._switch_off(leg, now)
            case Carry() as leg:
                return self._carry(leg, now)
            case TurnOnSpot() as leg:
                return self._show(leg, now)
            case None:
                self.doing = Doing.WAITING
                return REST

    def _notice_failsafe(self, now: Seen) -> None:
        if not now.failsafe:
            self._failsafe_since_s = None
        elif self._failsafe_since_s is None:
            self._failsafe_since_s = now.t_s

    def _next_leg(self, now: Seen) -> None:
        self._leg_at += 1
        if self.plan.repeats:
            self._leg_at %= len(self.plan.legs)
        self._leg_began_s = now.t_s
        self._stood_since_s = self._lifted_s = self._turned_at_m = None
        self._held_since_s, self._heading_at = None, 0
        self._throttle = 0.0

    def _wait(self, wait: Wait, now: Seen) -> Command:
        self.doing = Doing.WAITING
        if now.t_s - self._leg_began_s >= wait.seconds:
            self._next_leg(now)
        return REST

    def _drive(self, leg: Pass, now: Seen) -> Command:
        # Of the line's headings, whole turns apart, the one nearest to the car's.
        away_rad = pi if leg.backward else 0.0
        self._line_rad = away_rad + 2.0 * pi * round((now.heading_rad - away_rad) / (2.0 * pi))
        if self._lifted_s is None and self._lifts(leg, now):
            self._lifted_s = now.t_s
            self._throttle = 0.0
        steering_percent = self._steer(now)
        if self._lifted_s is None:
            self.doing = Doing.ACCELERATING
            wanted = leg.throttle
            if leg.speed_limit_mps is not None:
                wanted = min(wanted, 0.5 + 0.25 * (leg.speed_limit_mps - now.speed_mps))
            return Command(self._squeeze(wanted), steering_percent)
        self.doing = Doing.BRAKING
        if self._stands(now):
            self._next_leg(now)
            return REST
        coasting = now.t_s - self._lifted_s < leg.coast_s
        return Command(0.0 if coasting else -leg.brake, steering_percent)

    def _lifts(self, leg: Pass, now: Seen) -> bool:
        if self.lift_at_s is not None and now.t_s >= self.lift_at_s:
            self.lift_at_s = None
            return True
        if (
            self._failsafe_since_s is not None
            and now.t_s - self._failsafe_since_s >= self.plan.failsafe_reaction_s
        ):
            return True
        then = self._seen[0]
        if abs(then.heading_rad - self._line_rad) > radians(self.plan.scared_deg) and (
            then.speed_mps > SCARY_MPS
        ):
            return True
        return now.along_m <= leg.lift_at_m if leg.backward else now.along_m >= leg.lift_at_m

    def _turn(self, leg: TurnRound, now: Seen) -> Command:
        self.doing = Doing.TURNING
        if self._turned_at_m is None:
            # Half a turn to the left of where the car stands now, then back to the line.
            self._line_rad = pi * (round(now.heading_rad / pi) + 1)
            self._turned_at_m = now.along_m
        gone_m = (now.along_m - self._turned_at_m) * cos(self._line_rad)
        steering_percent = self._steer(now)
        if gone_m >= leg.settle_m or now.t_s - self._leg_began_s > 30.0:
            if self._stands(now):
                self._next_leg(now)
                return REST
            return Command(-0.4, steering_percent)
        wanted = 0.06 + 0.08 * (leg.speed_mps - now.speed_mps)
        return Command(self._squeeze(max(wanted, 0.0)), steering_percent)

    def _switch_off(self, leg: TransmitterOff, now: Seen) -> Command:
        self.hands = HELD
        since_s = now.t_s - self._leg_began_s
        self.transmitter_on = not leg.spin_s <= since_s < leg.spin_s + leg.seconds
        self.doing = Doing.SPINNING if since_s < leg.spin_s else Doing.SWITCHED_OFF
        if since_s >= leg.spin_s + leg.seconds:
            self._next_leg(now)
            return REST
        return Command(throttle=leg.throttle)

    def _carry(self, leg: Carry, now: Seen) -> Command:
        self.doing = Doing.CARRYING
        hands = carried(leg, along_m=now.along_m, before=self.hands or HELD)
        self.hands = hands or HELD
        if hands is None:
            self._next_leg(now)
        return REST

    def _show(self, leg: TurnOnSpot, now: Seen) -> Command:
        self.doing = Doing.SHOWING
        if self._held_since_s is None:
            hands = turned(
                leg, self._heading_at, heading_rad=now.heading_rad, before=self.hands or HELD
            )
            self.hands = hands or HELD
            self._held_since_s = None if hands else now.t_s
        elif now.t_s - self._held_since_s >= leg.hold_s:
            self._held_since_s = None
            self._heading_at += 1
            if self._heading_at == len(leg.headings_deg):
                self._next_leg(now)
        return REST

    def _squeeze(self, wanted: float) -> float:
        self._throttle = min(wanted, self._throttle + self.plan.throttle_per_s * DECISION_S)
        self._throttle = max(self._throttle, 0.0)
        return self._throttle

    def _stands(self, now: Seen) -> bool:
        """Whether the car has stood for a second."""
        if now.speed_mps > 0.05:
            self._stood_since_s = None
            return False
        if self._stood_since_s is None:
            self._stood_since_s = now.t_s
        return now.t_s - self._stood_since_s >= 1.0

    def _steer(self, now: Seen) -> float:
        """Return the steering in percent, from what was seen a reaction time ago."""
        plan, then = self.plan, self._seen[0]
        speed_mps = then.speed_mps
        keep = exp(-DECISION_S / 0.4)
        self._error = keep * self._error + sqrt(1.0 - keep * keep) * next(self._noise)
        seen_m = then.across_m + plan.sees_offset_m_per_m * then.distance_m * self._error
        offset_m = seen_m * cos(self._line_rad)
        moving_mps = max(speed_mps, CRAWL_MPS)
        toward = plan.offset_gain_per_s2 / (plan.heading_gain_per_s * moving_mps)
        wanted_rad = min(max(-toward * offset_m, -0.5), 0.5)
        error_rad = wanted_rad - (then.heading_rad - self._line_rad)
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
