"""The watch and the car's motion: speed, way, acceleration, and what silence leaves of them."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from groundstation.radio.forecast import Motion
from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import WatchView
from tests.groundstation.radio.watched import SETTING, Drive, judged, moved


def test_the_first_motion_is_taken_as_it_is_told() -> None:
    watch = LinkWatch()
    watch.moved(
        3.0, distance_m=40.0, distance_sigma_m=2.0, speed_mps=20.0, away_mps=-16.0, brakes=True
    )
    assert watch.motion == Motion(3.0, 40.0, 2.0, 20.0, -16.0, brakes=True)
    assert (watch.smooth_mps, watch.travelled_m) == (20.0, 0.0)


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
    view = judged(drive.watch, drive.at_s + 0.01)
    assert calm_m is not None
    assert view.stop_point_m == pytest.approx(calm_m, abs=3.0)


def test_a_place_or_a_level_that_is_old_is_not_that_of_now() -> None:
    drive = Drive()
    drive.run(4.0)
    setting = replace(SETTING)

    def later(seconds: float) -> WatchView:
        return judged(drive.watch, drive.at_s + seconds, silence_s=0.2, setting=setting)

    assert later(0.9).margin_db is not None
    assert later(1.01).margin_db is None
    assert later(2.9).distance_m == pytest.approx(drive.distance_m + 2.9 * drive.speed_mps, rel=0.3)
    assert later(3.1).distance_m is None
    assert later(3.1).stop_margin_db is None


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


def test_silence_of_a_car_that_stood_is_not_thought_away_by_a_forecast() -> None:
    drive = Drive()
    drive.run(4.0)
    drive.speed_mps = drive.limit_mps = 0.0
    assert drive.run(3.0).level is not Level.LIFT
    drive.silent_since_s = drive.at_s
    view = drive.run(0.6)
    assert (view.level, view.reason) == (Level.LIFT, "no telemetry for 0.6 s")
