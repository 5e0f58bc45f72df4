"""A watch fed by hand or by a car that drives off, for the tests of the watch."""

from __future__ import annotations

from dataclasses import replace
from math import log10

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import TwoPoints, WatchSetting, WatchView

SETTING = WatchSetting(threshold_dbm=-100.0)
PRIOR = LinkPrior(
    level_at_1m_dbm=-5.0,
    exponent=4.0,
    level_variance_db2=1.0,
    exponent_variance=0.02,
    covariance_db=0.0,
    reach_m=80.0,
)
LEVEL_AT_1M_DBM = -5.0
"""With exponent 4 and a threshold of -100 dBm the margin is 0 at 237 m."""

POINTS = TwoPoints(low=50.0, low_dbm=-101.5, high=97.0, high_dbm=-97.5)
PERCENT = replace(SETTING, percent_map=POINTS, prior=PRIOR)
"""Of a receiver that reports only a percentage."""


def moved(watch: LinkWatch, at_s: float, distance_m: float, speed_mps: float = 20.0) -> None:
    """Tell the watch of a car that leaves."""
    watch.moved(
        at_s,
        distance_m=distance_m,
        distance_sigma_m=1.0,
        speed_mps=speed_mps,
        away_mps=speed_mps,
    )


def reported(
    watch: LinkWatch,
    at_s: float,
    *,
    rssi_dbm: float | None = None,
    percent: float | None = None,
    signal_raw: float | None = None,
    setting: WatchSetting = SETTING,
) -> None:
    """Tell the watch of a report; what it does not hold is None."""
    watch.reported(
        at_s, rssi_dbm=rssi_dbm, received_percent=percent, signal_raw=signal_raw, setting=setting
    )


def judged(
    watch: LinkWatch,
    at_s: float,
    *,
    silence_s: float = 0.0,
    failsafe_active: bool | None = False,
    setting: WatchSetting = SETTING,
) -> WatchView:
    """Return what the watch says at a tick."""
    return watch.judge(at_s, silence_s=silence_s, failsafe_active=failsafe_active, setting=setting)


class Drive:
    """A car that leaves in a straight line with even acceleration, as the watch is told of it."""

    def __init__(self, setting: WatchSetting = SETTING, *, speed_mps: float = 30.0) -> None:
        self.watch, self.setting = LinkWatch(), setting
        self.at_s, self.distance_m, self.speed_mps = 0.0, 5.0, 0.0
        self.limit_mps = speed_mps
        self.offset_db = 0.0
        self.percent: float | None = None
        self.levels = True
        self.lowest_dbm = -200.0
        """What the receiver reports at least."""
        self.silent_since_s: float | None = None
        self.way = 1.0
        self.seen: list[tuple[float, float, Level | None]] = []
        """Time, distance and level at each tick."""
        self.view: WatchView | None = None

    def run(self, seconds: float) -> WatchView:
        """Go on for a time, and return the newest view."""
        for _ in range(round(seconds * 100)):
            self.at_s += 0.01
            self.speed_mps = min(self.speed_mps + 0.06, self.limit_mps)
            self.distance_m += self.way * self.speed_mps * 0.01
            step = round(self.at_s * 100)
            if self.silent_since_s is None:
                self._tell(step)
            if step % 5 == 0:
                silent_s = 0.0 if self.silent_since_s is None else self.at_s - self.silent_since_s
                self.view = self.watch.judge(
                    self.at_s, silence_s=silent_s, failsafe_active=False, setting=self.setting
                )
                self.seen.append((self.at_s, self.distance_m, self.view.level))
        assert self.view is not None
        return self.view

    def _tell(self, step: int) -> None:
        self.watch.moved(
            self.at_s,
            distance_m=self.distance_m,
            distance_sigma_m=1.0,
            speed_mps=self.speed_mps,
            away_mps=self.way * self.speed_mps,
        )
        if step % 4 == 0:
            rssi_dbm = round(LEVEL_AT_1M_DBM - 40.0 * log10(self.distance_m) + self.offset_db)
            self.watch.reported(
                self.at_s,
                rssi_dbm=max(float(rssi_dbm), self.lowest_dbm) if self.levels else None,
                received_percent=self.percent,
                signal_raw=None,
                setting=self.setting,
            )

    def first(self, level: Level) -> tuple[float, float]:
        """Return time and distance at which a level was first held."""
        return next((at_s, at_m) for at_s, at_m, held in self.seen if held is level)
