from __future__ import annotations

from dataclasses import fields, replace
from math import log10

import msgspec
import pytest

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch, TwoPoints, WatchSetting, WatchView

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


class Drive:
    """A car that leaves in a straight line with even acceleration, as the watch is told of it."""

    def __init__(self, setting: WatchSetting = SETTING, *, speed_mps: float = 30.0) -> None:
        self.watch, self.setting = LinkWatch(), setting
        self.at_s, self.distance_m, self.speed_mps = 0.0, 5.0, 0.0
        self.limit_mps = speed_mps
        self.offset_db = 0.0
        self.percent: float | None = None
        self.levels = True
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
                rssi_dbm=float(rssi_dbm) if self.levels else None,
                received_percent=self.percent,
                signal_raw=None,
                setting=self.setting,
            )

    def first(self, level: Level) -> tuple[float, float]:
        """Return time and distance at which a level was first held."""
        return next((at_s, at_m) for at_s, at_m, held in self.seen if held is level)


def test_it_warns_while_the_car_can_still_stop_inside_range() -> None:
    drive = Drive()
    view = drive.run(12.0)
    _, thin_m = drive.first(Level.THIN)
    _, lift_m = drive.first(Level.LIFT)
    braking = SETTING.braking
    way_m = 30.0 * (braking.react_s + braking.latency_s) + 30.0**2 / (2.0 * braking.decel_mps2)
    assert thin_m < lift_m
    assert 120.0 < lift_m + way_m < 237.0
    assert view.reason.startswith("stop margin")
    assert "under -2.5 dB: stops at" in view.reason


def test_the_countdown_reaches_zero_where_the_level_becomes_lift() -> None:
    drive = Drive(speed_mps=15.0)
    counted: list[tuple[float, float]] = []
    while drive.run(0.05).level is not Level.LIFT:
        assert drive.view is not None
        if drive.speed_mps >= 15.0 and drive.view.lift_in_s is not None:
            counted.append((drive.at_s, drive.view.lift_in_s))
    assert drive.view is not None
    assert drive.view.lift_in_s == pytest.approx(0.0, abs=0.1)
    at_s, told_s = counted[len(counted) // 2]
    # The spread ahead shrinks on the way, so the countdown errs to the early side.
    assert 0.65 * (drive.at_s - at_s) < told_s < drive.at_s - at_s + 0.5


def test_view_tells_places_in_their_order() -> None:
    view = Drive().run(4.0)
    assert view.distance_m is not None
    assert view.lift_point_m is not None
    assert view.stop_point_m is not None
    assert view.range_edge_m is not None
    assert view.distance_m < view.lift_point_m < view.range_edge_m
    assert view.distance_m < view.stop_point_m
    assert view.range_edge_m == pytest.approx(237.0, rel=0.12)


def test_a_driver_who_brakes_already_is_not_told_to_lift() -> None:
    levels = []
    for brakes in (False, True):
        drive = Drive()
        while drive.view is None or (drive.view.stop_margin_p05_db or 9.0) > -2.0:
            drive.run(0.05)
        drive.watch.moved(
            drive.at_s + 0.01,
            distance_m=drive.distance_m + 40.0,
            distance_sigma_m=1.0,
            speed_mps=drive.speed_mps,
            away_mps=drive.speed_mps,
            brakes=brakes,
        )
        view = drive.watch.judge(
            drive.at_s + 0.01, silence_s=0.0, failsafe_active=False, setting=SETTING
        )
        levels.append((view.level, "brakes already" in view.reason))
    assert levels == [(Level.LIFT, False), (Level.THIN, True)]


def test_coming_nearer_is_no_reason_to_warn() -> None:
    drive = Drive()
    drive.distance_m, drive.way = 215.0, -1.0
    drive.run(5.0)
    assert Level.LIFT not in {level for _, _, level in drive.seen[40:]}
    assert drive.view is not None
    assert "coming nearer" in drive.view.reason


def test_at_rest_beside_the_driver_nothing_warns() -> None:
    drive = Drive(speed_mps=0.0)
    view = drive.run(10.0)
    assert {level for _, _, level in drive.seen} <= {None, Level.CLEAR}
    assert view.lift_in_s is None


def test_silence_is_dead_reckoned_to_the_lift_point() -> None:
    heard, silent = Drive(), Drive()
    while heard.run(0.05).level is not Level.LIFT:
        pass
    silent.run(heard.at_s - 0.4)
    silent.silent_since_s = silent.at_s
    while silent.run(0.05).level is not Level.LIFT:
        pass
    # Blind, the spread is wider: not later than with the reports, and not much earlier.
    assert heard.at_s - 0.4 < silent.at_s < heard.at_s + 0.06


def test_a_short_silence_far_from_the_lift_point_is_thin_and_a_long_one_lost() -> None:
    drive = Drive()
    drive.run(4.0)
    drive.silent_since_s = drive.at_s
    assert drive.run(0.8).level is Level.THIN
    assert drive.run(0.5).level is Level.LOST


def test_failsafe_is_lost() -> None:
    drive = Drive()
    drive.run(2.0)
    view = drive.watch.judge(2.05, silence_s=0.0, failsafe_active=True, setting=SETTING)
    assert (view.level, view.reason) == (Level.LOST, "failsafe active")


def test_without_distance_the_margin_now_is_judged() -> None:
    watch = LinkWatch()
    for step, (rssi_dbm, level) in enumerate(
        [(-80.0, Level.CLEAR), (-93.0, Level.THIN), (-98.0, Level.LIFT)]
    ):
        at_s = 10.0 * step
        watch.reported(
            at_s, rssi_dbm=rssi_dbm, received_percent=100.0, signal_raw=None, setting=SETTING
        )
        view = watch.judge(at_s, silence_s=0.0, failsafe_active=False, setting=SETTING)
        assert view.level is level
        assert view.stop_margin_db is None
        assert view.margin_db == pytest.approx(rssi_dbm + 100.0)


def test_a_weak_aerial_is_warned_of_earlier() -> None:
    places_m = []
    for offset_db in (0.0, -8.0):
        drive = Drive()
        drive.offset_db = offset_db
        drive.run(12.0)
        places_m.append(drive.first(Level.LIFT)[1])
    assert places_m[1] < 0.75 * places_m[0]


def test_a_receiver_that_reports_only_a_percentage_works_with_a_range_check() -> None:
    points = TwoPoints(low=50.0, low_dbm=-101.5, high=97.0, high_dbm=-97.5)
    drive = Drive(replace(SETTING, percent_map=points, prior=PRIOR))
    drive.levels, drive.percent = False, 100.0
    drive.run(9.0)
    _, lift_m = drive.first(Level.LIFT)
    assert 40.0 < lift_m < 150.0


def test_an_unscaled_signal_is_mapped_by_two_points() -> None:
    points = TwoPoints(low=20.0, low_dbm=-100.0, high=80.0, high_dbm=-40.0)
    setting = replace(SETTING, raw_map=points)
    watch = LinkWatch()
    watch.reported(0.0, rssi_dbm=None, received_percent=None, signal_raw=50.0, setting=setting)
    view = watch.judge(0.0, silence_s=0.0, failsafe_active=False, setting=setting)
    assert view.margin_db == pytest.approx(30.0)


def test_levels_that_go_missing_lower_the_estimate() -> None:
    strong = Drive()
    strong.run(8.0)
    silent = msgspec.msgpack.decode(msgspec.msgpack.encode(strong.watch), type=LinkWatch)
    place_m = strong.distance_m + 40.0
    before_dbm = silent.estimate.predict(place_m)[0]
    for step in range(1, 60):
        silent.moved(
            strong.at_s + 0.02 * step,
            distance_m=strong.distance_m + 0.6 * step,
            distance_sigma_m=1.0,
            speed_mps=30.0,
            away_mps=30.0,
        )
        silent.reported(
            strong.at_s + 0.02 * step,
            rssi_dbm=None,
            received_percent=0.0,
            signal_raw=None,
            setting=SETTING,
        )
    assert silent.estimate.predict(place_m)[0] < before_dbm - 2.0


def test_a_spike_of_the_satellite_speed_does_not_warn() -> None:
    drive = Drive()
    drive.run(4.0)
    assert drive.view is not None
    calm_m = drive.view.stop_point_m
    drive.watch.moved(
        drive.at_s + 0.01,
        distance_m=drive.distance_m,
        distance_sigma_m=1.0,
        speed_mps=drive.speed_mps + 9.0,
        away_mps=drive.speed_mps + 9.0,
    )
    view = drive.watch.judge(
        drive.at_s + 0.01, silence_s=0.0, failsafe_active=False, setting=SETTING
    )
    assert calm_m is not None
    assert view.stop_point_m == pytest.approx(calm_m, abs=3.0)


def test_a_kept_copy_goes_on_bit_for_bit() -> None:
    drive = Drive()
    drive.run(5.0)
    kept = msgspec.msgpack.decode(msgspec.msgpack.encode(drive.watch), type=LinkWatch)
    assert kept == drive.watch
    views = []
    for watch in (drive.watch, kept):
        watch.reported(
            5.02, rssi_dbm=-83.0, received_percent=99.0, signal_raw=None, setting=SETTING
        )
        views.append(watch.judge(5.05, silence_s=0.0, failsafe_active=False, setting=SETTING))
    assert views[0] == views[1]
    assert {field.name for field in fields(LinkWatch)} == set(LinkWatch.__slots__)


def test_a_check_that_becomes_known_late_begins_the_estimate_anew_and_once() -> None:
    early = Drive(replace(SETTING, prior=PRIOR), speed_mps=0.0)
    late = Drive(SETTING, speed_mps=0.0)
    late.run(1.0)
    before = late.watch.estimate
    late.setting = replace(SETTING, prior=PRIOR)
    late.run(0.1)
    assert late.watch.estimate is not before
    begun = late.watch.estimate
    early.run(5.0)
    late.run(4.9)
    assert late.watch.estimate is begun
    fits = [drive.watch.estimate.fit() for drive in (early, late)]
    assert fits[0] is not None
    assert fits[1] is not None
    assert fits[1].level_at_1m_dbm == pytest.approx(fits[0].level_at_1m_dbm, abs=1.0)
    assert fits[1].exponent == pytest.approx(fits[0].exponent, abs=0.1)
