"""The watch over the control link: reports and motion in, margins, lift point and level out.

Owns what lies between a report of the radio and the estimate: which readings are levels, what of
them is averaged into one independent sample, and at which place it was measured. Pure: time is an
argument, and all state is plain data, so that a kept copy goes on bit for bit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, hypot, log10

from groundstation.radio.estimate import LinkEstimate
from groundstation.radio.forecast import Motion
from groundstation.radio.level import LevelJudge, LinkView
from groundstation.radio.outlook import MOVING_MPS, Ahead, Outlook
from groundstation.radio.sample import Sample, Witness
from groundstation.radio.watch_setting import TwoPoints, WatchSetting, WatchView

LEAST_SAMPLE_M = 2.0
MOST_SAMPLE_M = 6.0
SAMPLE_SHARE = 0.15
"""Reports over so much of the distance make one sample. Long enough that the receiver's own
averaging does not make the shadows look smoother, and so weaker, than they are; a shorter sample
would be no news, since the shadow is the same."""
PERCENT_SAMPLE_S = 0.4
"""A percentage is counted over about so long; a sample of it is no shorter."""
FIRST_SAMPLE_S = 0.5
"""A standing car tells its level once, after so long."""
STANDING_VARIANCE_DB2 = 9.0
"""A standing car sits anywhere in the fading."""
REPORT_VARIANCE_DB2 = 2.0
"""Of one report about the local mean, before it has been measured."""
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
    witness: Witness = field(default_factory=Witness)
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
    """From a range check."""
    outlook: Outlook = field(default_factory=Outlook)

    def moved(
        self,
        at_s: float,
        *,
        distance_m: float,
        distance_sigma_m: float,
        speed_mps: float,
        away_mps: float,
        brakes: bool = False,
    ) -> None:
        """Take note of where the car is and how it moves.

        Args:
            at_s: Session clock.
            distance_m: From the driver.
            distance_sigma_m: Its standard deviation.
            speed_mps: Over ground.
            away_mps: Growth of the distance; positive when leaving.
            brakes: Whether the driver has lifted and brakes.
        """
        held = self.motion
        if held is None:
            self.smooth_mps = speed_mps
            self.motion = Motion(
                at_s, distance_m, distance_sigma_m, speed_mps, away_mps, brakes=brakes
            )
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
        held.speed_mps, held.away_mps, held.brakes = speed_mps, away_mps, brakes

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
        if not self.begun and setting.prior is not None:
            # Whose check it is may be told a few reports late: they are not worth a second guess.
            self.begun, self.estimate = True, LinkEstimate()
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
        ahead = Ahead()
        if motion is not None and threshold_dbm is not None and self.estimate.taken > 0:
            refuted = self.witness.refutes_place
            ahead = self.outlook.look(self.estimate, motion, setting, refuted=refuted)
        forecasting = ahead.moving and not ahead.coming_nearer
        self.judged.judge(
            now_s,
            view=LinkView(
                margin_db=margin_db,
                received_percent=self.received_percent,
                failsafe_active=failsafe_active,
                silence_s=silence_s,
                stop_margin_p05_db=ahead.stop_margin_p05_db if forecasting else None,
                stop_point_m=ahead.stop_point_m if forecasting else None,
                coming_nearer=ahead.coming_nearer,
                brakes=motion is not None and motion.brakes,
            ),
            limits=setting.limits,
        )
        return WatchView(
            margin_db=margin_db,
            stop_margin_db=ahead.stop_margin_db,
            stop_margin_p05_db=ahead.stop_margin_p05_db,
            lift_in_s=ahead.lift_in_s,
            distance_m=None if motion is None else motion.distance_m,
            stop_point_m=ahead.stop_point_m,
            lift_point_m=ahead.lift_point_m,
            range_edge_m=ahead.range_edge_m,
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
        place_m = self._measured_at_m(motion, setting)
        sample.add(power_mw, place_m, at_s=at_s, travelled_m=self.travelled_m)
        if self.estimate.decades is None:
            if at_s - sample.since_s >= FIRST_SAMPLE_S or self.travelled_m > LEAST_SAMPLE_M:
                self._take_sample(STANDING_VARIANCE_DB2)
        elif self._is_news():
            self._take_sample(
                sample.variance_db2(
                    self.report_variance_db2, travelled_m=self.travelled_m, sigma_m=motion.sigma_m
                )
            )

    def _take_sample(self, variance_db2: float) -> None:
        level_dbm, place_m = self.sample.level_dbm, self.sample.place_m
        self._go_to(place_m)
        self.estimate.observe(level_dbm, variance_db2)
        self.witness.take(level_dbm, place_m)
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
        """Return the distance at which was measured what a report tells now.

        Root mean square: who stands within the doubt of a place is nearly never right at it.
        """
        return hypot(motion.distance_m - motion.away_mps * setting.report_lag_s, motion.sigma_m)

    def _is_news(self) -> bool:
        """Return whether the car has come far enough for another sample."""
        wanted_m = min(max(SAMPLE_SHARE * self.estimate.distance_m, LEAST_SAMPLE_M), MOST_SAMPLE_M)
        return self.travelled_m - self.sampled_m >= wanted_m

    def _go_to(self, distance_m: float) -> None:
        self.estimate.move(distance_m, self.travelled_m - self.sampled_m)
        self.sampled_m = self.travelled_m
