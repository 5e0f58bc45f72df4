from __future__ import annotations

from dataclasses import fields, replace
from itertools import pairwise
from math import exp, log10

import msgspec
import pytest

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.forecast import Motion
from groundstation.radio.level import Level
from groundstation.radio.watch import STALE_S, LinkWatch, TwoPoints, WatchSetting, WatchView

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
    assert view.fit is not None
    assert view.fit.exponent == pytest.approx(4.0, abs=0.5)
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


def moved(watch: LinkWatch, at_s: float, distance_m: float, speed_mps: float = 20.0) -> None:
    watch.moved(
        at_s,
        distance_m=distance_m,
        distance_sigma_m=1.0,
        speed_mps=speed_mps,
        away_mps=speed_mps,
    )


def test_a_motion_that_is_not_newer_changes_nothing() -> None:
    watch = LinkWatch()
    moved(watch, 1.0, 10.0)
    moved(watch, 2.0, 30.0)
    kept = msgspec.msgpack.encode(watch)
    for at_s in (2.0, 1.5):
        moved(watch, at_s, 500.0)
        assert msgspec.msgpack.encode(watch) == kept


def test_way_and_acceleration_follow_the_speed() -> None:
    watch = LinkWatch()
    for count in range(201):
        moved(watch, 0.02 * count, 50.0, speed_mps=5.0 * 0.02 * count)
    # Even acceleration of 5 m/s2 for 4 s; after ten time constants the smoothed one has settled.
    assert watch.travelled_m == pytest.approx(40.0)
    assert watch.motion is not None
    assert watch.motion.accel_mps2 == pytest.approx(5.0, rel=0.03)


def test_a_leap_of_the_speed_is_held_to_what_a_car_can_do() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 50.0, speed_mps=10.0)
    moved(watch, 0.1, 51.0, speed_mps=40.0)
    assert watch.motion is not None
    assert watch.motion.speed_mps == pytest.approx(12.0)
    assert watch.motion.away_mps == pytest.approx(12.0)


def test_a_report_without_any_figure_says_nothing_before_there_was_a_level() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 50.0)
    for at_s in (0.1, 0.2, 0.3, 0.4):
        watch.reported(at_s, rssi_dbm=None, received_percent=None, signal_raw=4.0, setting=SETTING)
    view = watch.judge(0.4, silence_s=0.0, failsafe_active=None, setting=SETTING)
    assert (watch.missing, view.margin_db, view.fit) == (0, None, None)


def test_two_reports_without_a_level_are_chance_and_the_third_is_a_bound() -> None:
    drive = Drive()
    drive.run(8.0)
    watch, place_m = drive.watch, drive.distance_m + 40.0
    predicted = []
    for count in range(1, 4):
        at_s = drive.at_s + 0.5 * count
        moved(watch, at_s, drive.distance_m + 15.0 * count, speed_mps=30.0)
        watch.reported(at_s, rssi_dbm=None, received_percent=None, signal_raw=None, setting=SETTING)
        predicted.append(watch.estimate.predict(place_m)[0])
    assert predicted[0] == predicted[1]
    assert predicted[2] < predicted[1] - 0.5
    # A level ends the row.
    watch.reported(at_s, rssi_dbm=-99.0, received_percent=None, signal_raw=None, setting=SETTING)
    assert watch.missing == 0


def test_without_a_threshold_a_missing_level_is_no_bound() -> None:
    setting = WatchSetting()
    drive = Drive(setting)
    drive.run(4.0)
    before = drive.watch.estimate.predict(200.0)
    for count in range(1, 9):
        at_s = drive.at_s + 0.5 * count
        moved(drive.watch, at_s, drive.distance_m + 15.0 * count, speed_mps=30.0)
        drive.watch.reported(
            at_s, rssi_dbm=None, received_percent=None, signal_raw=None, setting=setting
        )
    assert drive.watch.estimate.predict(200.0) == before


def test_the_floor_of_a_receiver_is_a_bound_and_not_a_level() -> None:
    known, unknown = Drive(replace(SETTING, floor_dbm=-80.0)), Drive(SETTING)
    errors_db = []
    for drive in (known, unknown):
        drive.lowest_dbm = -80.0
        drive.run(8.0)
        law_dbm = LEVEL_AT_1M_DBM - 40.0 * log10(drive.distance_m)
        errors_db.append(drive.watch.estimate.predict(drive.distance_m)[0] - law_dbm)
    # -80 dBm is reached at 75 m, and the car goes on for more than 80 m.
    assert known.distance_m > 155.0
    assert abs(errors_db[0]) < 4.0
    assert errors_db[1] > 8.0


POINTS = TwoPoints(low=50.0, low_dbm=-101.5, high=97.0, high_dbm=-97.5)
PERCENT = replace(SETTING, percent_map=POINTS, prior=PRIOR)


def received(watch: LinkWatch, at_s: float, percent: float) -> WatchView:
    watch.reported(at_s, rssi_dbm=None, received_percent=percent, signal_raw=None, setting=PERCENT)
    return watch.judge(at_s, silence_s=0.0, failsafe_active=False, setting=PERCENT)


def test_a_percentage_between_its_points_is_a_level_and_a_full_one_is_none() -> None:
    watch = LinkWatch()
    assert received(watch, 0.0, 100.0).margin_db is None
    # Half way between the points: half way between the levels.
    assert received(watch, 0.1, 73.5).margin_db == pytest.approx(0.5)
    assert received(watch, 0.2, 97.0).margin_db is None


def test_percentages_of_one_place_and_moment_are_one_sample() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 60.0)
    received(watch, 0.0, 100.0)
    assert watch.percent_at_s == 0.0
    begun = watch.estimate.predict(200.0)
    moved(watch, 0.35, 67.0)
    received(watch, 0.35, 60.0)
    assert watch.estimate.predict(200.0) == begun
    moved(watch, 0.45, 69.0)
    received(watch, 0.45, 60.0)
    assert watch.estimate.predict(200.0)[0] < begun[0] - 1.0
    held = watch.estimate.predict(200.0)
    # Later, but not farther.
    moved(watch, 0.95, 69.0, speed_mps=0.0)
    watch.travelled_m = watch.sampled_m + 1.0
    received(watch, 0.95, 60.0)
    assert watch.estimate.predict(200.0) == held


def test_a_full_percentage_is_a_bound_from_below_and_none_at_all_one_from_above() -> None:
    shifts_db = []
    # By the range check -76 dBm at 60 m, -96 dBm at 190 m, -102 dBm at 260 m, -116 dBm at 600 m.
    for place_m, percent in (
        (60.0, 100.0),
        (60.0, 97.0),
        (260.0, 100.0),
        (190.0, 0.0),
        (600.0, 0.0),
        (600.0, 1.0),
    ):
        watch = LinkWatch()
        watch.estimate.begin(PRIOR, measures=False)
        watch.begun = True
        moved(watch, 0.0, place_m, speed_mps=0.0)
        before_dbm = watch.estimate.predict(place_m)[0]
        received(watch, 0.0, percent)
        shifts_db.append(watch.estimate.predict(place_m)[0] - before_dbm)
    expected, just_full, contradicted, empty, expected_empty, one_percent = shifts_db
    assert 0.0 <= expected == just_full < 0.1
    assert contradicted > 4.0
    # 0 % is -105.8 dBm or less.
    assert empty < -3.0
    assert -1.0 < expected_empty <= 0.0
    # 1 % is a level.
    assert one_percent > 3.0


def test_the_first_motion_is_taken_as_it_is_told() -> None:
    watch = LinkWatch()
    watch.moved(
        3.0, distance_m=40.0, distance_sigma_m=2.0, speed_mps=20.0, away_mps=-16.0, brakes=True
    )
    assert watch.motion == Motion(3.0, 40.0, 2.0, 20.0, -16.0, brakes=True)
    assert (watch.smooth_mps, watch.travelled_m) == (20.0, 0.0)


def test_a_level_that_refutes_the_place_leaves_no_forecast() -> None:
    views = []
    for exponent in (0.0, 4.0):
        watch = LinkWatch()
        for count in range(200):
            at_s, distance_m = 0.02 * count, 10.0 + 0.4 * count
            moved(watch, at_s, distance_m)
            watch.reported(
                at_s,
                rssi_dbm=-30.0 - 10.0 * exponent * log10(distance_m / 10.0),
                received_percent=100.0,
                signal_raw=None,
                setting=SETTING,
            )
        views.append(watch.judge(at_s, silence_s=0.0, failsafe_active=False, setting=SETTING))
    assert views[0].stop_margin_db is None
    assert views[0].margin_db == pytest.approx(70.0)
    assert views[1].stop_margin_db is not None


def test_a_place_or_a_level_that_is_old_is_not_that_of_now() -> None:
    drive = Drive()
    drive.run(4.0)
    setting = replace(SETTING)

    def later(seconds: float) -> WatchView:
        return drive.watch.judge(
            drive.at_s + seconds, silence_s=0.2, failsafe_active=False, setting=setting
        )

    assert later(0.9).margin_db is not None
    assert later(1.01).margin_db is None
    assert later(2.9).distance_m == pytest.approx(drive.distance_m + 2.9 * drive.speed_mps, rel=0.3)
    assert later(3.1).distance_m is None
    assert later(3.1).stop_margin_db is None


def test_the_margin_now_follows_the_power_with_its_time_constant() -> None:
    watch = LinkWatch()

    def margin_db(at_s: float, rssi_dbm: float) -> float:
        watch.reported(
            at_s, rssi_dbm=rssi_dbm, received_percent=None, signal_raw=None, setting=SETTING
        )
        view = watch.judge(at_s, silence_s=0.0, failsafe_active=False, setting=SETTING)
        assert view.margin_db is not None
        return view.margin_db

    assert margin_db(0.0, -60.0) == pytest.approx(40.0)
    # After one time constant 1 - 1/e of the step in power is made, in one report or in three.
    expected_db = 10.0 * log10(1e-6 + (1.0 - exp(-1.0)) * (1e-8 - 1e-6)) + 100.0
    assert margin_db(0.3, -80.0) == pytest.approx(expected_db)
    for at_s in (0.4, 0.5, 0.6):
        reached_db = margin_db(at_s, -60.0)
    held = 10.0 ** (0.1 * (expected_db - 100.0))
    assert reached_db == pytest.approx(
        10.0 * log10(held + (1.0 - exp(-1.0)) * (1e-6 - held)) + 100.0
    )
    # After more than a second without a level it begins anew.
    assert margin_db(1.61, -90.0) == pytest.approx(10.0)
    assert margin_db(2.6, -60.0) < 40.0


def test_a_level_is_that_of_now_for_less_than_a_second() -> None:
    watch = LinkWatch()
    watch.reported(0.0, rssi_dbm=-60.0, received_percent=None, signal_raw=None, setting=SETTING)
    margins_db = [
        watch.judge(at_s, silence_s=0.0, failsafe_active=False, setting=SETTING).margin_db
        for at_s in (0.99, STALE_S)
    ]
    assert margins_db == [pytest.approx(40.0), None]
    watch.reported(STALE_S, rssi_dbm=-80.0, received_percent=None, signal_raw=None, setting=SETTING)
    view = watch.judge(STALE_S, silence_s=0.0, failsafe_active=False, setting=SETTING)
    assert view.margin_db is not None
    assert view.margin_db > 25.0


def test_without_a_report_nothing_is_forecast() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 100.0)
    view = watch.judge(0.0, silence_s=0.0, failsafe_active=False, setting=SETTING)
    assert (view.stop_margin_db, view.range_edge_m, view.fit) == (None, None, None)
    assert view.distance_m == 100.0
    begun = replace(SETTING, prior=PRIOR)
    watch.reported(0.1, rssi_dbm=None, received_percent=None, signal_raw=None, setting=begun)
    view = watch.judge(0.1, silence_s=0.0, failsafe_active=False, setting=begun)
    assert view.stop_margin_db is not None


def test_a_standing_car_tells_its_level_once_and_a_driven_one_every_few_metres() -> None:
    watch, taken = LinkWatch(), []
    for count in range(150):
        at_s = 10.0 + 0.04 * count
        travelled_m = max(20.0 * (at_s - 12.0), 0.0)
        moved(watch, at_s, 6.0 + travelled_m, speed_mps=0.0 if at_s < 12.0 else 20.0)
        watch.reported(
            at_s, rssi_dbm=-50.0, received_percent=None, signal_raw=None, setting=SETTING
        )
        taken.append((at_s, watch.travelled_m, watch.estimate.taken))
    first_s = next(at_s for at_s, _, count in taken if count == 1)
    assert first_s == pytest.approx(10.52)
    assert all(count == 1 for at_s, _, count in taken if first_s <= at_s <= 12.0)
    # Every 2 m near the driver, never more than 6 m apart: the reports come every 0.8 m.
    places_m = [way_m for (_, _, was), (_, way_m, now) in pairwise(taken) if now > was > 0]
    gaps_m = [after - before for before, after in pairwise(places_m)]
    assert gaps_m[0] == pytest.approx(2.4, abs=0.5)
    assert max(gaps_m) == pytest.approx(6.4, abs=0.5)
    assert all(after > before - 1e-6 for before, after in pairwise(gaps_m))


def test_a_car_that_is_driven_off_at_once_tells_its_level_after_two_metres() -> None:
    watch = LinkWatch()
    for count in range(8):
        moved(watch, 0.02 * count, 6.0 + 0.6 * count, speed_mps=30.0)
        watch.reported(
            0.02 * count, rssi_dbm=-50.0, received_percent=None, signal_raw=None, setting=SETTING
        )
        assert watch.estimate.taken == (watch.travelled_m > 2.0)
        if watch.estimate.taken:
            break
    assert watch.estimate.taken == 1


def test_how_much_reports_differ_is_learned_while_the_car_moves() -> None:
    learned, begun = [], []
    for speed_mps in (0.0, 20.0):
        watch = LinkWatch()
        for count in range(400):
            at_s = 0.02 * count
            moved(watch, at_s, 300.0, speed_mps=speed_mps)
            watch.reported(
                at_s,
                rssi_dbm=-80.0 + 6.0 * (count % 2),
                received_percent=None,
                signal_raw=None,
                setting=SETTING,
            )
            if count == 1:
                begun.append(watch.report_variance_db2)
        learned.append(watch.report_variance_db2)
    # Two that differ by 6 dB have the variance 18 dB^2.
    assert learned == pytest.approx([2.0, 18.0], rel=0.001)
    assert begun == pytest.approx([2.0, 2.0 + 0.03 * 16.0])


def test_a_report_belongs_to_where_the_car_was_when_it_was_made() -> None:
    watch = LinkWatch()
    watch.moved(0.0, distance_m=8.0, distance_sigma_m=3.0, speed_mps=20.0, away_mps=-16.0)
    watch.reported(0.0, rssi_dbm=-50.0, received_percent=None, signal_raw=None, setting=SETTING)
    # 0.15 s ago it was 2.4 m farther; in doubt it stands beside the place, not at it.
    assert watch.sample.place_m == pytest.approx((10.4**2 + 3.0**2) ** 0.5)


def test_a_car_that_stands_is_judged_by_the_margin_where_it_is() -> None:
    drive = Drive()
    drive.run(6.0)
    drive.speed_mps = drive.limit_mps = 0.0
    view = drive.run(3.0)
    assert view.stop_margin_p05_db is not None
    assert view.margin_db is not None
    assert view.margin_db > view.stop_margin_p05_db + 2.0
    assert view.reason.startswith(f"margin {view.margin_db:.1f} dB")


def test_the_share_of_packets_counts_beside_a_good_level() -> None:
    watch = LinkWatch()
    watch.reported(0.0, rssi_dbm=-60.0, received_percent=40.0, signal_raw=None, setting=SETTING)
    view = watch.judge(0.0, silence_s=0.0, failsafe_active=False, setting=SETTING)
    assert (view.level, view.reason) == (Level.LIFT, "only 40 % of control packets received")


def test_a_missing_level_is_told_once_for_each_place() -> None:
    drive = Drive()
    drive.run(8.0)
    predicted = [drive.watch.estimate.predict(300.0)[0]]
    for count in range(1, 40):
        at_s, speed_mps = drive.at_s + 0.2 * count, 30.0 if count <= 3 else 0.0
        moved(drive.watch, at_s, drive.distance_m + 6.0 * min(count, 3), speed_mps=speed_mps)
        drive.watch.reported(
            at_s, rssi_dbm=None, received_percent=None, signal_raw=None, setting=SETTING
        )
        predicted.append(drive.watch.estimate.predict(300.0)[0])
    # The third in a row counts; then the car stands, and no report is news.
    assert predicted[2] == predicted[0]
    assert predicted[3] < predicted[0] - 0.1
    assert len(set(predicted[4:])) == 1
    # Nor does it say anything where no level was measured before.
    watch = LinkWatch(last_dbm=-60.0)
    for count in range(40):
        moved(watch, 0.1 * count, 20.0 + 2.0 * count)
        watch.reported(
            0.1 * count, rssi_dbm=None, received_percent=None, signal_raw=None, setting=SETTING
        )
    assert watch.estimate == LinkWatch().estimate


def test_a_check_binds_a_receiver_that_measures_levels_less() -> None:
    variances_db2 = []
    for setting in (replace(SETTING, prior=PRIOR), PERCENT):
        watch = LinkWatch()
        watch.reported(0.0, rssi_dbm=None, received_percent=None, signal_raw=None, setting=setting)
        variances_db2.append(watch.estimate.predict(60.0)[1])
    # A day's change of 12 dB, and of 2 dB.
    assert variances_db2[0] - variances_db2[1] == pytest.approx(12.0**2 - 2.0**2)


def test_silence_of_a_car_that_stood_is_not_thought_away_by_a_forecast() -> None:
    drive = Drive()
    drive.run(4.0)
    drive.speed_mps = drive.limit_mps = 0.0
    assert drive.run(3.0).level is not Level.LIFT
    drive.silent_since_s = drive.at_s
    view = drive.run(0.6)
    assert (view.level, view.reason) == (Level.LIFT, "no telemetry for 0.6 s")
