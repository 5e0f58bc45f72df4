"""The person with the transmitter: works through a plan of legs, and steers late.

Owns throttle and steering commands, decided 100 times a second from what was seen a reaction time
ago: when to squeeze, lift, brake and go on to the next leg. In a range check the transmitter goes
off and on, and a second pair of hands carries the car from mark to mark and turns it on the spot.
"""

from __future__ import annotations

from collections import deque
from enum import StrEnum
from math import cos, pi, radians

from groundstation.simulator.command import REST, Command
from groundstation.simulator.driver_plan import DriverPlan, Leg, Pass, TurnRound, Wait
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
from groundstation.simulator.steering import Seen, Steering
from groundstation.simulator.yaw import StabiliserParameters, YawParameters

SCARY_MPS = 20.0


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
        self._steering = Steering(plan, yaw=yaw, stabiliser=stabiliser, mass_kg=mass_kg, seed=seed)
        self._seen: deque[Seen] = deque(maxlen=max(round(plan.reaction_s / STEP_S), 1))
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
        """Return the command of this moment; call it each `STEP_S`."""
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
        steering_percent = self._steering.percent(self._seen[0], self._line_rad)
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
        steering_percent = self._steering.percent(self._seen[0], self._line_rad)
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
        self._throttle = min(wanted, self._throttle + self.plan.throttle_per_s * STEP_S)
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
