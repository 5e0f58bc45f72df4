"""The watch over the control link: reports and motion in, margins, lift point and level out.

Owns what lies between a report of the radio and the estimate: which readings are levels, what of
them is averaged into one independent sample, and at which place it was measured. Pure: time is an
argument, and all state is plain data, so that a kept copy goes on bit for bit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, log10, sqrt

from groundstation.radio.estimate import NEAREST_M, LinkEstimate
from groundstation.radio.forecast import (
    QUANTILE_5,
    Motion,
    lift_in_s,
    stop_way_m,
)
from groundstation.radio.level import LevelJudge, LinkView
from groundstation.radio.watch_setting import TwoPoints as TwoPoints
from groundstation.radio.watch_setting import WatchSetting as WatchSetting
from groundstation.radio.watch_setting import WatchView as WatchView

LEAST_SAMPLE_M = 2.0
MOST_SAMPLE_M = 12.0
SAMPLE_SHARE = 0.25
"""Reports over so much of the distance make one sample. Long enough that the receiver's own
averaging does not make the shadows look smoother, and so weaker, than they are; a shorter sample
would be no news, since the shadow is the same."""
PERCENT_SAMPLE_S = 0.4
"""A percentage is counted over about so long; a sample of it is no shorter."""
FIRST_SAMPLE_S = 0.5
"""A standing car tells its level once, after so long."""
STANDING_VARIANCE_DB2 = 9.0
"""A standing car sits anywhere in the fading."""
FADE_WAY_M = 0.06
"""Half a wavelength at 2.4 GHz: reports closer than this share their fading (checks on Clarke's
model: J0 is first zero at 0.38 wavelengths)."""

ROUNDING_VARIANCE_DB2 = 1.0 / 12.0
"""Of a level rounded to whole dB (uniform distribution)."""
REPORT_VARIANCE_DB2 = 2.0
"""Of one report about the local mean, before it has been measured."""
LEAST_REPORT_VARIANCE_DB2 = 1.0
"""A receiver averages before it reports, so reports differ less than they err."""
PERCENT_VARIANCE_DB2 = 6.0
"""Of the level that a percentage maps to."""
BOUND_SIGMA_DB = 2.0

NOW_S = 0.3
"""Time constant of the margin now."""
STALE_S = 1.0
"""A margin older than this is not now."""
ACCEL_S = 0.4
"""Time constant of the acceleration."""
MOST_ACCEL_MPS2 = 20.0
"""No car gains speed faster; what does is a spike of the satellite receiver."""
DEAD_RECKONED_S = 3.0
"""A place that is older than this tells nothing of where the car is."""
MOVING_MPS = 1.5
"""Slower than this the stop point is here."""


@dataclass(slots=True)
class Sample:
    """Reports that are being averaged."""

    power_mw: float = 0.0
    count: int = 0
    distance_m: float = 0.0
    """From the driver, where the reports were measured; summed up."""
    since_s: float = 0.0
    since_m: float = 0.0
    """Way travelled when it began."""


@dataclass(slots=True)
class LinkWatch:
    """All that the watch remembers."""

    estimate: LinkEstimate = field(default_factory=LinkEstimate)
    judged: LevelJudge = field(default_factory=LevelJudge)
    motion: Motion | None = None
    smooth_mps: float = 0.0
    travelled_m: float = 0.0
    sampled_m: float = 0.0
    """Way travelled at the newest sample."""
    sample: Sample = field(default_factory=Sample)
    level_mw: float | None = None
    """Smoothed power; what the margin now is made of."""
    level_at_s: float = 0.0
    last_dbm: float | None = None
    report_variance_db2: float = REPORT_VARIANCE_DB2
    received_percent: float | None = None
    percent_at_s: float | None = None
    """When a percentage was last taken in."""
    missing: int = 0
    """Reports in a row without a level, after there had been one."""
    begun: bool = False
    edge_m: float = 100.0
    last_stop_m: float = 100.0
    """Newest solutions, where the next search begins."""

    def moved(
        self,
        at_s: float,
        *,
        distance_m: float,
        distance_sigma_m: float,
        speed_mps: float,
        away_mps: float,
    ) -> None:
        """Take note of where the car is and how it moves.

        Args:
            at_s: Session clock.
            distance_m: From the driver.
            distance_sigma_m: Its standard deviation.
            speed_mps: Over ground.
            away_mps: Growth of the distance; positive when leaving.
        """
        held = self.motion
        if held is None:
            self.smooth_mps = speed_mps
            self.motion = Motion(at_s, distance_m, distance_sigma_m, speed_mps, away_mps)
            return
        step_s = at_s - held.at_s
        if step_s <= 0.0:
            return
        most_mps = held.speed_mps + MOST_ACCEL_MPS2 * step_s
        if speed_mps > most_mps:
            away_mps *= most_mps / speed_mps
            speed_mps = most_mps
        self.travelled_m += 0.5 * (held.speed_mps + speed_mps) * step_s
        # The smoothed speed lags a steady gain by acceleration times its time constant.
        self.smooth_mps += (1.0 - exp(-step_s / ACCEL_S)) * (speed_mps - self.smooth_mps)
        held.accel_mps2 = (speed_mps - self.smooth_mps) / ACCEL_S
        held.at_s, held.distance_m, held.sigma_m = at_s, distance_m, distance_sigma_m
        held.speed_mps, held.away_mps = speed_mps, away_mps

    def reported(
        self,
        at_s: float,
        *,
        rssi_dbm: float | None,
        received_percent: float | None,
        signal_raw: float | None,
        setting: WatchSetting,
    ) -> None:
        """Take in one report of the control receiver.

        Args:
            at_s: Session clock.
            rssi_dbm: None where it was not measured.
            received_percent: None where it is not counted.
            signal_raw: A figure without unit, from receivers that have no other.
            setting: What is known beforehand.
        """
        if not self.begun:
            self.begun = True
            if setting.prior is not None:
                self.estimate.begin(setting.prior, measures=setting.percent_map is None)
        self.received_percent = received_percent
        level_dbm = rssi_dbm
        if level_dbm is None and signal_raw is not None and setting.raw_map is not None:
            level_dbm = setting.raw_map.level_dbm(signal_raw)
        if level_dbm is not None:
            self.missing = 0
            self._take_level(at_s, level_dbm, setting)
        elif setting.percent_map is not None and received_percent is not None:
            self._take_percent(at_s, received_percent, setting.percent_map, setting)
        elif self.last_dbm is not None:
            self._take_nothing(setting)

    def judge(
        self,
        now_s: float,
        *,
        silence_s: float | None,
        failsafe_active: bool | None,
        setting: WatchSetting,
    ) -> WatchView:
        """Return the link, its forecast and its level at a moment.

        Args:
            now_s: Session clock.
            silence_s: Since the last good telemetry frame; None before the first.
            failsafe_active: As the car reports it.
            setting: What is known beforehand.
        """
        threshold_dbm = setting.threshold_dbm
        margin_db = None
        if (
            self.level_mw is not None
            and now_s - self.level_at_s < STALE_S
            and threshold_dbm is not None
        ):
            margin_db = 10.0 * log10(self.level_mw) - threshold_dbm
        motion = self.motion
        if motion is not None:
            age_s = now_s - motion.at_s
            motion = None if age_s > DEAD_RECKONED_S else motion.after(age_s)
        stop_db = p05_db = seconds = stop_m = lift_m = edge_m = None
        moving = coming_nearer = False
        if motion is not None and threshold_dbm is not None and self.estimate.taken > 0:
            way_m, way_sigma_m = stop_way_m(motion, setting.braking)
            sigma_m = (way_sigma_m, motion.sigma_m)
            line = motion.line()
            stop_m = line.distance_m(way_m)
            stop_db, p05_db = self._margin_db(stop_m, sigma_m, threshold_dbm)
            moving = motion.speed_mps >= MOVING_MPS
            coming_nearer = moving and stop_m < motion.distance_m
            edge_m = self._search(self.edge_m, 0.0, threshold_dbm, None)
            self.edge_m = edge_m
            if moving and not coming_nearer:
                last_m = self._search(
                    self.last_stop_m,
                    setting.limits.lift_stop_margin_db,
                    threshold_dbm,
                    sigma_m,
                )
                self.last_stop_m = last_m
                to_last_m = line.way_to_m(last_m)
                seconds = lift_in_s(motion, setting.braking, to_last_m)
                if seconds is not None:
                    gained_m = 0.5 * max(motion.accel_mps2, 0.0) * seconds**2
                    lift_m = line.distance_m(motion.speed_mps * seconds + gained_m)
                if seconds == 0.0:
                    lift_m = line.distance_m(to_last_m - way_m)
        forecasting = moving and not coming_nearer
        self.judged.judge(
            now_s,
            view=LinkView(
                margin_db=margin_db,
                received_percent=self.received_percent,
                failsafe_active=failsafe_active,
                silence_s=silence_s,
                stop_margin_p05_db=p05_db if forecasting else None,
                stop_point_m=stop_m if forecasting else None,
                coming_nearer=coming_nearer,
            ),
            limits=setting.limits,
        )
        return WatchView(
            margin_db=margin_db,
            stop_margin_db=stop_db,
            stop_margin_p05_db=p05_db,
            lift_in_s=seconds,
            distance_m=None if motion is None else motion.distance_m,
            stop_point_m=stop_m,
            lift_point_m=lift_m,
            range_edge_m=edge_m,
            level=self.judged.level,
            reason=self.judged.reason,
            fit=self.estimate.fit(),
        )

    def _take_level(self, at_s: float, level_dbm: float, setting: WatchSetting) -> None:
        power_mw = 10.0 ** (0.1 * level_dbm)
        if self.level_mw is None or at_s - self.level_at_s > STALE_S:
            self.level_mw = power_mw
        else:
            share = 1.0 - exp(-(at_s - self.level_at_s) / NOW_S)
            self.level_mw += share * (power_mw - self.level_mw)
        self.level_at_s = at_s
        motion, last_dbm, self.last_dbm = self.motion, self.last_dbm, level_dbm
        if motion is None:
            return
        if last_dbm is not None and motion.speed_mps >= MOVING_MPS:
            change_db = level_dbm - last_dbm
            self.report_variance_db2 += 0.03 * (0.5 * change_db**2 - self.report_variance_db2)
        if setting.floor_dbm is not None and level_dbm <= setting.floor_dbm:
            self._take_bound(motion, level_dbm, setting)
            return
        sample = self.sample
        if sample.count == 0:
            sample.since_s, sample.since_m = at_s, self.travelled_m
        sample.power_mw += power_mw
        sample.distance_m += self._measured_at_m(motion, setting)
        sample.count += 1
        # Averaged as power: the mean of decibels lies below the decibels of the mean.
        mean_dbm = 10.0 * log10(sample.power_mw / sample.count)
        place_m = sample.distance_m / sample.count
        if self.estimate.decades is None:
            if at_s - sample.since_s >= FIRST_SAMPLE_S or self.travelled_m > LEAST_SAMPLE_M:
                self._go_to(place_m)
                self.estimate.observe(mean_dbm, STANDING_VARIANCE_DB2)
                self.sample = Sample()
            return
        if not self._is_news():
            return
        way_m = self.travelled_m - sample.since_m
        independent = min(float(sample.count), 1.0 + way_m / FADE_WAY_M)
        variance_db2 = max(self.report_variance_db2, LEAST_REPORT_VARIANCE_DB2) / independent
        self._go_to(place_m)
        self.estimate.observe(mean_dbm, variance_db2 + ROUNDING_VARIANCE_DB2)
        self.sample = Sample()

    def _take_percent(
        self, at_s: float, percent: float, points: TwoPoints, setting: WatchSetting
    ) -> None:
        level_dbm = points.level_dbm(percent)
        if percent < points.high:
            self.level_mw, self.level_at_s = 10.0 ** (0.1 * level_dbm), at_s
        else:
            self.level_mw = None
        if self.motion is None:
            return
        if self.percent_at_s is not None and at_s - self.percent_at_s < PERCENT_SAMPLE_S:
            return
        if not self._is_news() and self.estimate.decades is not None:
            return
        self._go_to(self._measured_at_m(self.motion, setting))
        self.percent_at_s = at_s
        if percent >= points.high:
            self.estimate.bound(points.high_dbm, BOUND_SIGMA_DB, above=True)
        elif percent <= 0.0:
            self.estimate.bound(points.level_dbm(0.0), BOUND_SIGMA_DB, above=False)
        else:
            self.estimate.observe(level_dbm, PERCENT_VARIANCE_DB2)

    def _take_nothing(self, setting: WatchSetting) -> None:
        """No level where there should be one: the car hears nothing strong enough to measure."""
        self.missing += 1
        if self.missing < 3 or setting.threshold_dbm is None or self.motion is None:
            return
        self._take_bound(self.motion, setting.threshold_dbm, setting)

    def _take_bound(self, motion: Motion, level_dbm: float, setting: WatchSetting) -> None:
        if self._is_news() and self.estimate.decades is not None:
            self._go_to(self._measured_at_m(motion, setting))
            self.estimate.bound(level_dbm, BOUND_SIGMA_DB, above=False)

    def _measured_at_m(self, motion: Motion, setting: WatchSetting) -> float:
        """Return the distance at which was measured what a report tells now."""
        return max(motion.distance_m - motion.away_mps * setting.report_lag_s, 0.0)

    def _is_news(self) -> bool:
        """Return whether the car has come far enough for another sample."""
        wanted_m = min(max(SAMPLE_SHARE * self.estimate.distance_m, LEAST_SAMPLE_M), MOST_SAMPLE_M)
        return self.travelled_m - self.sampled_m >= wanted_m

    def _go_to(self, distance_m: float) -> None:
        self.estimate.move(distance_m, self.travelled_m - self.sampled_m)
        self.sampled_m = self.travelled_m

    def _margin_db(
        self, place_m: float, sigma_m: tuple[float, float] | None, threshold_dbm: float
    ) -> tuple[float, float]:
        """Return the expected margin at a place and its 5 % quantile.

        Args:
            place_m: From the driver.
            sigma_m: Of the way to it, and of the car's own distance; None takes both as certain.
            threshold_dbm: Of the receiver.
        """
        level_dbm, variance_db2 = self.estimate.predict(place_m)
        if sigma_m is not None:
            # Of the plane earth: 40 log10(distance) has the slope 17.4 / distance. A distance that
            # is wrong is wrong in the estimate too: only the difference of the slopes tells.
            slope, here = 17.4 / max(place_m, NEAREST_M), 17.4 / max(self.estimate.distance_m, 10.0)
            variance_db2 += (slope * sigma_m[0]) ** 2 + ((slope - here) * sigma_m[1]) ** 2
        margin_db = level_dbm - threshold_dbm
        return margin_db, margin_db - QUANTILE_5 * sqrt(variance_db2)

    def _search(
        self,
        from_m: float,
        wanted_db: float,
        threshold_dbm: float,
        sigma_m: tuple[float, float] | None,
    ) -> float:
        """Return where the margin, or with `sigma_m` its 5 % quantile, is what is wanted.

        The margin falls by about 40 dB a decade, so each step goes along that slope; the search
        goes on from tick to tick.
        """
        place_m = from_m
        for _ in range(3):
            mean_db, p05_db = self._margin_db(place_m, sigma_m, threshold_dbm)
            off_db = (mean_db if sigma_m is None else p05_db) - wanted_db
            place_m = min(
                max(place_m * 10.0 ** (min(max(off_db, -20.0), 20.0) / 40.0), 1.0), 20_000.0
            )
            if abs(off_db) < 0.05:
                break
        return place_m
