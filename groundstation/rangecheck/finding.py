"""What a check found out: one rule, its outcome, its figures and where to look first.

Rule: a finding that cannot be told is never an OK one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Outcome(StrEnum):
    """How a rule came out."""

    OK = "ok"
    NOTE = "note"
    """Worth knowing; no reason to hold."""
    MISSING = "missing"
    """Not measured, or too little: holds."""
    HOLD = "hold"
    """Measured, and not good enough."""


class Rule(StrEnum):
    """What is asked of a car."""

    MOTION = "motion"
    GYRO = "gyro"
    ACCELEROMETER = "accelerometer"
    CLIPPING = "clipping"
    FIX = "fix"
    PACK = "pack"
    FAILSAFE = "failsafe"
    SAMPLES = "samples"
    DISTANCES = "distances"
    LEVEL_SOURCE = "level source"
    """Whether the receiver's figures are levels at all."""
    MARGIN = "margin"
    EXPONENT = "exponent"
    NULL = "null"
    """Depth of the worst heading, today."""
    LEVEL = "level"
    """Against this vehicle's earlier checks."""
    PATTERN = "pattern"
    """One heading against the others, compared with the earlier checks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One rule, judged."""

    rule: Rule
    outcome: Outcome
    text: str
    """One plain sentence with its numbers, without a full stop."""
    look_at: str = ""
    """What to look at first; empty where all is well."""
    figures: Mapping[str, float | None] = field(default_factory=dict)
    """By name, the unit in the name."""

    @property
    def holds(self) -> bool:
        """Whether this alone makes the verdict HOLD."""
        return self.outcome in (Outcome.HOLD, Outcome.MISSING)


def ok(rule: Rule, text: str, figures: dict[str, float | None] | None = None) -> Finding:
    """Return a rule that is met."""
    return Finding(rule=rule, outcome=Outcome.OK, text=text, figures=figures or {})


def missing(
    rule: Rule, text: str, look_at: str, figures: dict[str, float | None] | None = None
) -> Finding:
    """Return a rule that cannot be judged, and so holds."""
    return Finding(
        rule=rule, outcome=Outcome.MISSING, text=text, look_at=look_at, figures=figures or {}
    )


def chance(p: float) -> str:
    """Return a chance as one writes it."""
    return "p < 0.001" if p < 0.001 else f"p {p:.3f}"
