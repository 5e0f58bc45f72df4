"""What a radio report says of the level, and the mean of the reports of one hold.

Rule: power is averaged in milliwatts, which gives the local mean whatever the fading; a reading at
a receiver's floor, or at the top of a percentage, is a bound and never a level.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log10
from statistics import pstdev

from groundstation.radio.watch_setting import TwoPoints
from groundstation.rangecheck.record import Hold, LevelKind
from groundstation.vehicle.peaks import number
from protocol import Value

LOST_PERCENT = 80.0
"""A receiver that hears less than this reports the level of the packets it heard: the stronger
ones (common practice, no source)."""
MOST_MISSING = 0.2
"""Of the reports of a hold, without a level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """What to make of the receiver's figures."""

    percent_map: TwoPoints | None = None
    raw_map: TwoPoints | None = None
    floor_dbm: float | None = None
    """Lowest level it reports, where known."""
    attenuation_db: float = 0.0
    """Added back."""


@dataclass(slots=True)
class HoldAverage:
    """The reports of one hold."""

    reading: LevelReading
    power_mw: float = 0.0
    levels_dbm: list[float] = field(default_factory=list)
    """As read, before anything is added back."""
    kind: LevelKind = LevelKind.NONE
    missing: int = 0
    at_bound: int = 0
    percents: int = 0
    percent_sum: float = 0.0

    def take(self, values: Mapping[str, Value]) -> None:
        """Take note of a radio report."""
        percent = number(values, "control_received_percent")
        if percent is not None:
            self.percents += 1
            self.percent_sum += percent
        level_dbm, bounded = self._level(values, percent)
        if level_dbm is None:
            self.missing += 1
            return
        self.at_bound += bounded
        self.levels_dbm.append(level_dbm)
        self.power_mw += 10.0 ** (level_dbm / 10.0)

    def _level(
        self, values: Mapping[str, Value], percent: float | None
    ) -> tuple[float | None, bool]:
        level_dbm = number(values, "control_rssi_dbm")
        if level_dbm is not None:
            self.kind = LevelKind.DBM
            floor_dbm = self.reading.floor_dbm
            return level_dbm, floor_dbm is not None and level_dbm <= floor_dbm
        if self.kind is LevelKind.DBM:
            return None, False
        raw, raw_map = number(values, "control_signal_raw"), self.reading.raw_map
        if raw is not None and raw_map is not None:
            self.kind = LevelKind.RAW
            return raw_map.level_dbm(raw), False
        percent_map = self.reading.percent_map
        if percent is not None and percent_map is not None:
            self.kind = LevelKind.PERCENT
            bounded = percent >= percent_map.high or percent <= 0.0
            return percent_map.level_dbm(min(percent, percent_map.high)), bounded
        return None, False

    @property
    def level_dbm(self) -> float | None:
        """Mean power so far, the attenuation added back."""
        if not self.levels_dbm:
            return None
        return 10.0 * log10(self.power_mw / len(self.levels_dbm)) + self.reading.attenuation_db

    def hold(
        self,
        *,
        mark: int,
        distance_m: float,
        heading_deg: int,
        by_fix: bool,
        fix_m: float | None = None,
    ) -> Hold:
        """Return what the reports come to; the arguments are as in `Hold`."""
        reports = len(self.levels_dbm)
        percent = self.percent_sum / self.percents if self.percents else None
        total = reports + self.missing
        weak = self.kind is LevelKind.DBM and (
            self.missing > MOST_MISSING * total or (percent is not None and percent < LOST_PERCENT)
        )
        return Hold(
            mark=mark,
            distance_m=distance_m,
            heading_deg=heading_deg,
            level_dbm=self.level_dbm,
            spread_db=pstdev(self.levels_dbm) if reports else 0.0,
            reports=reports,
            missing=self.missing,
            received_percent=percent,
            kind=self.kind,
            bounded=weak or (reports > 0 and self.at_bound * 2 > reports),
            by_fix=by_fix,
            fix_m=fix_m,
        )
