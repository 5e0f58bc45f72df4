"""The watch and levels that are not reported: bounds, and when they are none."""

from __future__ import annotations

from dataclasses import replace
from math import log10

import msgspec

from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import WatchSetting
from tests.groundstation.radio.watched import (
    LEVEL_AT_1M_DBM,
    SETTING,
    Drive,
    judged,
    moved,
    reported,
)


def test_levels_that_go_missing_lower_the_estimate() -> None:
    strong = Drive()
    strong.run(8.0)
    silent = msgspec.msgpack.decode(msgspec.msgpack.encode(strong.watch), type=LinkWatch)
    place_m = strong.distance_m + 40.0
    before_dbm = silent.estimate.predict(place_m)[0]
    for step in range(1, 60):
        at_s = strong.at_s + 0.02 * step
        moved(silent, at_s, strong.distance_m + 0.6 * step, speed_mps=30.0)
        reported(silent, at_s, percent=0.0)
    assert silent.estimate.predict(place_m)[0] < before_dbm - 2.0


def test_a_report_without_any_figure_says_nothing_before_there_was_a_level() -> None:
    watch = LinkWatch()
    moved(watch, 0.0, 50.0)
    for at_s in (0.1, 0.2, 0.3, 0.4):
        reported(watch, at_s, signal_raw=4.0)
    view = judged(watch, 0.4, failsafe_active=None)
    assert (watch.missing, view.margin_db, view.fit) == (0, None, None)


def test_two_reports_without_a_level_are_chance_and_the_third_is_a_bound() -> None:
    drive = Drive()
    drive.run(8.0)
    watch, place_m = drive.watch, drive.distance_m + 40.0
    predicted = []
    for count in range(1, 4):
        at_s = drive.at_s + 0.5 * count
        moved(watch, at_s, drive.distance_m + 15.0 * count, speed_mps=30.0)
        reported(watch, at_s)
        predicted.append(watch.estimate.predict(place_m)[0])
    assert predicted[0] == predicted[1]
    assert predicted[2] < predicted[1] - 0.5
    # A level ends the row.
    reported(watch, at_s, rssi_dbm=-99.0)
    assert watch.missing == 0


def test_a_missing_level_is_told_once_for_each_place() -> None:
    drive = Drive()
    drive.run(8.0)
    predicted = [drive.watch.estimate.predict(300.0)[0]]
    for count in range(1, 40):
        at_s, speed_mps = drive.at_s + 0.2 * count, 30.0 if count <= 3 else 0.0
        moved(drive.watch, at_s, drive.distance_m + 6.0 * min(count, 3), speed_mps=speed_mps)
        reported(drive.watch, at_s)
        predicted.append(drive.watch.estimate.predict(300.0)[0])
    # The third in a row counts; then the car stands, and no report is news.
    assert predicted[2] == predicted[0]
    assert predicted[3] < predicted[0] - 0.1
    assert len(set(predicted[4:])) == 1
    # Nor does it say anything where no level was measured before.
    watch = LinkWatch(last_dbm=-60.0)
    for count in range(40):
        moved(watch, 0.1 * count, 20.0 + 2.0 * count)
        reported(watch, 0.1 * count)
    assert watch.estimate == LinkWatch().estimate


def test_without_a_threshold_a_missing_level_is_no_bound() -> None:
    setting = WatchSetting()
    drive = Drive(setting)
    drive.run(4.0)
    before = drive.watch.estimate.predict(200.0)
    for count in range(1, 9):
        at_s = drive.at_s + 0.5 * count
        moved(drive.watch, at_s, drive.distance_m + 15.0 * count, speed_mps=30.0)
        reported(drive.watch, at_s, setting=setting)
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
