"""The second pair of hands of a range check: holds the car, carries it, turns it on the spot.

Owns how fast hands move a car whose wheels turn freely. Rule: nothing here is left to chance, so a
check takes the same time with every seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import copysign, pi, radians

STEP_S = 0.01
"""Between two decisions."""

CARRY_MPS2, CARRY_PER_S = 1.2, 1.5
"""How fast a walk begins, and how it slows down toward its end, pace per metre left."""

TURN_PER_S2, TURN_PER_S = 4.0, 3.0
"""The same for a turn by hand, in radians."""

THERE_M, THERE_RAD = 0.03, 0.02


@dataclass(frozen=True, slots=True)
class TransmitterOff:
    """Hold the car with its wheels free, give it throttle, switch the transmitter off and on."""

    seconds: float
    """Between off and on."""
    throttle: float = 0.0
    """Held while it is switched off, let go before it is switched on."""
    spin_s: float = 0.0
    """How long the throttle is given before."""


@dataclass(frozen=True, slots=True)
class Carry:
    """Carry the car along the line at walking pace, and put it down."""

    to_m: float
    """Place along the course."""
    pace_mps: float = 1.4


@dataclass(frozen=True, slots=True)
class TurnOnSpot:
    """Turn the car by hand through headings, and leave it still at each."""

    hold_s: float
    headings_deg: tuple[float, ...] = (0.0, 90.0, 180.0, 270.0)
    """Of the nose, 0 along the course, positive to the left."""
    turn_dps: float = 70.0


@dataclass(frozen=True, slots=True)
class Hands:
    """What hands do with a car that is not left to itself: its wheels turn freely."""

    along_mps: float = 0.0
    """Along the course."""
    yaw_rate_radps: float = 0.0


HELD = Hands()


def carried(leg: Carry, *, along_m: float, before: Hands) -> Hands | None:
    """Return how the car is carried at a place; None once it is put down."""
    left_m = leg.to_m - along_m
    if abs(left_m) < THERE_M:
        return None
    wanted_mps = copysign(min(leg.pace_mps, CARRY_PER_S * abs(left_m) + 0.05), left_m)
    return Hands(along_mps=_toward(wanted_mps, before.along_mps, CARRY_MPS2 * STEP_S))


def turned(leg: TurnOnSpot, place: int, *, heading_rad: float, before: Hands) -> Hands | None:
    """Return how the car is turned to the heading of a place in the leg; None once it is there."""
    left_rad = (radians(leg.headings_deg[place]) - heading_rad + pi) % (2.0 * pi) - pi
    if abs(left_rad) < THERE_RAD:
        return None
    most = min(radians(leg.turn_dps), TURN_PER_S * abs(left_rad) + 0.02)
    rate = _toward(copysign(most, left_rad), before.yaw_rate_radps, TURN_PER_S2 * STEP_S)
    return Hands(yaw_rate_radps=rate)


def _toward(wanted: float, before: float, most: float) -> float:
    return min(max(wanted, before - most), before + most)
