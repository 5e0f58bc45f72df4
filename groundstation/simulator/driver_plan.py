"""What a driver sets out to do, and how well: legs to work through, and the person's own figures.

A range check is a plan too: its legs by hand are those of `hands.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.simulator.hands import Carry, TransmitterOff, TurnOnSpot


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
    """Heading off the line at which the driver lifts, faster than `driver.SCARY_MPS`."""
    failsafe_reaction_s: float = 0.9
    """From the car's failsafe to letting go of the throttle."""
