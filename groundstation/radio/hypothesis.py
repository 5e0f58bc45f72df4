"""One Kalman filter over the control link's law, for one strength of its shadows.

Owns the state (level, exponent, shadow and their covariance), how it wanders with the way driven,
and how a measurement corrects it. Rule: on the way out beyond what has been measured, the exponent
tends to the plane earth's, while the level where the car is stays as it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

REFERENCE_M = 10.0

FAR_EXPONENT = 4.0
"""Plane earth: what any path tends to once both aerials are low against the distance."""
EXPONENT_SIGMA = 0.3
"""Of the exponent about `FAR_EXPONENT`, where nothing is known."""
EXPONENT_FORGETS = 0.35
"""How fast a path forgets its exponent on the way out, per unit of 10 log10(distance): a factor of
two in distance leaves 35 %."""

NEAR_EXPONENT = 3.2
NEAR_EXPONENT_SIGMA = 1.0
"""Of the exponent beside the driver: the plane earth may begin after two metres or after sixty."""

UNKNOWN_LEVEL_DBM = -50.0
UNKNOWN_LEVEL_SIGMA_DB = 25.0
"""At `REFERENCE_M`, without a range check: anything from a weak module to a strong one."""


@dataclass(slots=True)
class Hypothesis:
    """One Kalman filter: reference level, exponent, shadow, and their covariance."""

    sigma_db: float
    """Strength of the shadows that it holds true."""
    weight: float
    level_dbm: float = UNKNOWN_LEVEL_DBM
    """At `REFERENCE_M`, by the tangent at the car's place."""
    exponent: float = NEAR_EXPONENT
    shadow_db: float = 0.0
    level_level: float = UNKNOWN_LEVEL_SIGMA_DB**2
    level_exponent: float = 0.0
    level_shadow: float = 0.0
    exponent_exponent: float = NEAR_EXPONENT_SIGMA**2
    exponent_shadow: float = 0.0
    shadow_shadow: float = 0.0

    def move(self, decades: float, gained: float, keep: float) -> None:
        """Let the shadow decorrelate and the exponent wander.

        Args:
            decades: 10 log10 of the distance over `REFERENCE_M`, where the car is now.
            gained: By how much that grew; negative when the car came nearer.
            keep: Correlation of the shadow with the one before.
        """
        self.shadow_db *= keep
        self.level_shadow *= keep
        self.exponent_shadow *= keep
        self.shadow_shadow = keep * keep * self.shadow_shadow
        self.shadow_shadow += (1.0 - keep * keep) * self.sigma_db * self.sigma_db
        held = 1.0
        if gained > 0.0:
            # Going out, the exponent tends to the plane earth's; the level here stays as it is.
            held = exp(-EXPONENT_FORGETS * gained)
            turned = decades * (held - 1.0)
            self.level_dbm += turned * (self.exponent - FAR_EXPONENT)
            self.exponent = FAR_EXPONENT + held * (self.exponent - FAR_EXPONENT)
            self.level_level += turned * (
                2.0 * self.level_exponent + turned * self.exponent_exponent
            )
            self.level_exponent = held * (self.level_exponent + turned * self.exponent_exponent)
            self.level_shadow += turned * self.exponent_shadow
            self.exponent_exponent *= held * held
            self.exponent_shadow *= held
        fresh = (1.0 - held * held) * EXPONENT_SIGMA * EXPONENT_SIGMA
        self.exponent_exponent += fresh
        self.level_exponent += fresh * decades
        self.level_level += fresh * decades * decades

    def gains(self, decades: float) -> tuple[float, float, float]:
        """Return the covariance of the level at a place with each of the state's three parts."""
        return (
            self.level_level - decades * self.level_exponent + self.level_shadow,
            self.level_exponent - decades * self.exponent_exponent + self.exponent_shadow,
            self.level_shadow - decades * self.exponent_shadow + self.shadow_shadow,
        )

    def level_here_dbm(self, decades: float) -> float:
        """Return the level at a place that shares the newest shadow."""
        return self.level_dbm - decades * self.exponent + self.shadow_db

    def correct(self, gains: tuple[float, float, float], shift: float, shrink: float) -> None:
        """Add `shift` times the gains to the state, take `shrink` times their product off."""
        level, exponent, shadow = gains
        self.level_dbm += shift * level
        self.exponent += shift * exponent
        self.shadow_db += shift * shadow
        self.level_level -= shrink * level * level
        self.level_exponent -= shrink * level * exponent
        self.level_shadow -= shrink * level * shadow
        self.exponent_exponent -= shrink * exponent * exponent
        self.exponent_shadow -= shrink * exponent * shadow
        self.shadow_shadow -= shrink * shadow * shadow
