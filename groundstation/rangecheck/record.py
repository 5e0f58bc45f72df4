"""A check as it is kept: what was measured, what it was bound to, and what came out.

Plain frozen data, so that it can be stored as JSON and read again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from groundstation.radio.estimate import LinkPrior
from groundstation.rangecheck.finding import Finding, Outcome, Rule


class Verdict(StrEnum):
    """What a check comes to. Advice only."""

    GO = "GO"
    HOLD = "HOLD"


class LevelKind(StrEnum):
    """What a level was made of."""

    DBM = "dbm"
    PERCENT = "percent"
    RAW = "raw"
    NONE = "none"
    """The receiver reported nothing that can be a level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """One mark at one heading: the unit that counts as one observation.

    A standing car sits at one place of the fading, so its reports are not independent.
    """

    mark: int
    """Counted from 0, in the order of the walk."""
    distance_m: float
    heading_deg: int
    """0, 90, 180 or 270; 0 is nose away from the driver, positive to the left."""
    level_dbm: float | None
    """Mean power, the transmitter's attenuation added back; None where there was none."""
    spread_db: float
    """Standard deviation of the reports."""
    reports: int
    """With a level."""
    missing: int
    """Without one."""
    received_percent: float | None
    kind: LevelKind = LevelKind.DBM
    bounded: bool = False
    """At the receiver's floor, or where a percentage is saturated: the level is only a bound."""
    by_fix: bool = False
    fix_m: float | None = None
    """Distance by the fixes of the hold; None without any, or where nobody told where the driver
    stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """What a check is bound to; it goes stale when one of these changes."""

    vehicle_name: str = ""
    setup_hash: str = ""
    """`staleness.setup_hash` of the set-up sheet; empty where there is none."""
    place: str = ""
    """As typed, or empty."""
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    """Of the driver; None where it is not known."""
    pack: str = ""
    """As typed, or empty."""
    pack_voltage_v: float | None = None
    """At rest."""
    starts_anew: bool = False
    """The car was changed for good: checks before this one tell of another car."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRecord:
    """One check."""

    checked: datetime
    """Time of day with its offset."""
    bound: Bound
    verdict: Verdict
    findings: tuple[Finding, ...]
    holds: tuple[Hold, ...] = ()
    prior: LinkPrior | None = None
    """For the live estimate; None where nothing could be fitted."""
    threshold_dbm: float | None = None
    attenuation_db: float = 0.0
    figures: dict[str, float | None] = field(default_factory=dict)
    """For lists and plots: margin_p05_db, exponent, level_shift_db, null_depth_db, far_end_m."""

    @property
    def reasons(self) -> tuple[Finding, ...]:
        """The findings that hold."""
        return tuple(each for each in self.findings if each.holds)

    @property
    def is_reference(self) -> bool:
        """Whether later checks may be compared with this one: its aerials were not in question."""
        doubted = (Rule.LEVEL, Rule.PATTERN)
        return bool(self.holds) and not any(
            each.rule in doubted and each.outcome is Outcome.HOLD for each in self.findings
        )
