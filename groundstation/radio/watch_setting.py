"""What the watch is told beforehand, and what it shows.

Owns the settings of one vehicle's watch and the frozen view of one moment. Rule: None is "not
known", in both directions.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.radio.estimate import Fit, LinkPrior
from groundstation.radio.forecast import Braking
from groundstation.radio.level import Level, Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPoints:
    """What a receiver's own figure means: two readings of a range check."""

    low: float
    low_dbm: float
    high: float
    high_dbm: float

    def level_dbm(self, reading: float) -> float:
        """Return the level on the straight line through both points."""
        share = (reading - self.low) / (self.high - self.low)
        return self.low_dbm + share * (self.high_dbm - self.low_dbm)


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSetting:
    """What is known of vehicle, radio and driver beforehand."""

    threshold_dbm: float | None = None
    limits: Limits = field(default_factory=Limits)
    braking: Braking = field(default_factory=Braking)
    percent_map: TwoPoints | None = None
    """For a receiver that reports no level; its upper point is where it saturates."""
    raw_map: TwoPoints | None = None
    """For a receiver whose signal figure has no unit."""
    prior: LinkPrior | None = None
    floor_dbm: float | None = None
    """Lowest level the receiver reports, where known: at it, the level is that or less."""
    report_lag_s: float = 0.15
    """Age of what a report tells when it arrives: the receiver's averaging, and the way here."""


@dataclass(frozen=True, slots=True)
class WatchView:
    """The control link and its forecast at one moment; None is "not known"."""

    margin_db: float | None
    stop_margin_db: float | None
    stop_margin_p05_db: float | None
    lift_in_s: float | None
    distance_m: float | None
    stop_point_m: float | None
    lift_point_m: float | None
    range_edge_m: float | None
    """Where the expected margin is 0."""
    level: Level | None
    reason: str
    fit: Fit | None
