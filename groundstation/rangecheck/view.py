"""The procedure at one moment, frozen: all that a screen, plain lines or JSON read of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from groundstation.rangecheck.finding import Finding
from groundstation.rangecheck.record import Hold, Verdict


class Step(StrEnum):
    """The four steps, in order."""

    SENSORS = "sensors"
    FAILSAFE = "failsafe"
    WALK = "walk"
    VERDICT = "verdict"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepView:
    """One step as it stands."""

    step: Step
    done: bool
    """Measured to its end; whether well is in the findings."""
    progress: float
    """0 to 1."""
    findings: tuple[Finding, ...]
    """So far; of a step that is not done, what it would say now."""

    @property
    def holds(self) -> bool:
        """Whether anything in it holds."""
        return any(each.holds for each in self.findings)


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkView:
    """The walk as it stands."""

    mark: int | None
    """Counted from 0; None before the first."""
    distance_m: float | None
    """Of that mark."""
    heading_deg: int | None
    held_s: float
    """Of the hold that runs; 0 where none runs."""
    hold_s: float
    turned_deg: float
    """By the gyro since the last hold; positive to the left."""
    level_dbm: float | None
    """Of the hold that runs, or the newest one; attenuation added back."""
    holds: tuple[Hold, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckView:
    """The check at one moment."""

    at_s: float
    step: Step
    """The one that runs."""
    steps: tuple[StepView, ...]
    """All four, in order."""
    instruction: str
    """What to do next, one or two plain sentences without the last full stop."""
    missing: tuple[str, ...]
    """What a GO still needs, in plain words."""
    walk: WalkView
    verdict: Verdict | None
    """None until the verdict step is reached."""
    vehicle_name: str | None
    finished: bool
    """After `finish`: nothing more is measured."""
