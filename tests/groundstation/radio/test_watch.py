"""The whole watch: when it warns, with what reason, and what it shows beside."""

from __future__ import annotations

from dataclasses import fields, replace
from math import log10

import msgspec
import pytest

from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch
from tests.groundstation.radio.watched import PRIOR, SETTING, Drive, judged, moved, reported


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
        view = judged(drive.watch, drive.at_s + 0.01)
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


def test_a_car_that_stands_is_judged_by_the_margin_where_it_is() -> None:
    drive = Drive()
    drive.run(6.0)
    drive.speed_mps = drive.limit_mps = 0.0
    view = drive.run(3.0)
    assert view.stop_margin_p05_db is not None
    assert view.margin_db is not None
    assert view.margin_db > view.stop_margin_p05_db + 2.0
    assert view.reason.startswith(f"margin {view.margin_db:.1f} dB")


def test_a_weak_aerial_is_warned_of_earlier() -> None:
    places_m = []
    for offset_db in (0.0, -8.0):
        drive = Drive()
        drive.offset_db = offset_db
        drive.run(12.0)
        places_m.append(drive.first(Level.LIFT)[1])
    assert places_m[1] < 0.75 * places_m[0]


def test_failsafe_is_lost() -> None:
    drive = Drive()
    drive.run(2.0)
    view = judged(drive.watch, 2.05, failsafe_active=True)
    assert (view.level, view.reason) == (Level.LOST, "failsafe active")


def test_without_distance_the_margin_now_is_judged() -> None:
    watch = LinkWatch()
    for step, (rssi_dbm, level) in enumerate(
        [(-80.0, Level.CLEAR), (-93.0, Level.THIN), (-98.0, Level.LIFT)]
    ):
        at_s = 10.0 * step
        reported(watch, at_s, rssi_dbm=rssi_dbm, percent=100.0)
        view = judged(watch, at_s)
        assert view.level is level
        assert view.stop_margin_db is None
        assert view.margin_db == pytest.approx(rssi_dbm + 100.0)


def test_the_share_of_packets_counts_beside_a_good_level() -> None:
    watch = LinkWatch()
    reported(watch, 0.0, rssi_dbm=-60.0, percent=40.0)
    view = judged(watch, 0.0)
    assert (view.level, view.reason) == (Level.LIFT, "only 40 % of control packets received")


def test_without_a_report_nothing_is_forecast() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 100.0)
    view = judged(watch, 0.0)
    assert (view.stop_margin_db, view.range_edge_m, view.fit) == (None, None, None)
    assert view.distance_m == 100.0
    begun = replace(SETTING, prior=PRIOR)
    reported(watch, 0.1, setting=begun)
    view = judged(watch, 0.1, setting=begun)
    assert view.stop_margin_db is not None


def test_a_level_that_refutes_the_place_leaves_no_forecast() -> None:
    views = []
    for exponent in (0.0, 4.0):
        watch = LinkWatch()
        for count in range(200):
            at_s, distance_m = 0.02 * count, 10.0 + 0.4 * count
            moved(watch, at_s, distance_m)
            reported(
                watch,
                at_s,
                rssi_dbm=-30.0 - 10.0 * exponent * log10(distance_m / 10.0),
                percent=100.0,
            )
        views.append(judged(watch, at_s))
    assert views[0].stop_margin_db is None
    assert views[0].margin_db == pytest.approx(70.0)
    assert views[1].stop_margin_db is not None


def test_a_kept_copy_goes_on_bit_for_bit() -> None:
    drive = Drive()
    drive.run(5.0)
    kept = msgspec.msgpack.decode(msgspec.msgpack.encode(drive.watch), type=LinkWatch)
    assert kept == drive.watch
    views = []
    for watch in (drive.watch, kept):
        reported(watch, 5.02, rssi_dbm=-83.0, percent=99.0)
        views.append(judged(watch, 5.05))
    assert views[0] == views[1]
    assert {field.name for field in fields(LinkWatch)} == set(LinkWatch.__slots__)
