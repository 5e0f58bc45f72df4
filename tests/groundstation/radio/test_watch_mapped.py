"""The watch of a receiver that reports no level, but a percentage or a number without a unit."""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import pytest

from groundstation.radio.estimate import LinkEstimate
from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import TwoPoints, WatchView
from tests.groundstation.radio.watched import (
    PERCENT,
    PRIOR,
    SETTING,
    Drive,
    judged,
    moved,
    reported,
)


def test_a_receiver_that_reports_only_a_percentage_works_with_a_range_check() -> None:
    drive = Drive(PERCENT)
    drive.levels, drive.percent = False, 100.0
    drive.run(9.0)
    _, lift_m = drive.first(Level.LIFT)
    assert 40.0 < lift_m < 150.0


def received(watch: LinkWatch, at_s: float, percent: float) -> WatchView:
    reported(watch, at_s, percent=percent, setting=PERCENT)
    return judged(watch, at_s, setting=PERCENT)


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


def test_percentages_reach_the_estimate_as_levels_and_bounds_of_their_places() -> None:
    watch, by_hand = LinkWatch(), LinkEstimate()
    by_hand.begin(PRIOR, measures=False)
    for count, percent in enumerate((100.0, 60.0, 55.0, 0.0)):
        at_s, place_m = 3.0 + 0.5 * count, 60.0 + 15.0 * count
        moved(watch, at_s, place_m, speed_mps=30.0)
        received(watch, at_s, percent)
        # 0.15 s ago it was 4.5 m nearer; its place is known to a metre.
        by_hand.move(hypot(place_m - 4.5, 1.0), 15.0 if count else 0.0)
        if percent == 100.0:
            by_hand.bound(-97.5, 2.0, above=True)
        elif percent == 0.0:
            by_hand.bound(-101.5 - 50.0 / 47.0 * 4.0, 2.0, above=False)
        else:
            by_hand.observe(-101.5 + (percent - 50.0) / 47.0 * 4.0, 6.0)
        expected = pytest.approx(by_hand.predict(200.0), rel=1e-9)
        assert watch.estimate.predict(200.0) == expected
        # Half way to the next one: far enough to be news, but counted over too short a time.
        moved(watch, at_s + 0.25, place_m + 7.5, speed_mps=30.0)
        received(watch, at_s + 0.25, 20.0)
        assert watch.estimate.predict(200.0) == expected


def test_an_unscaled_signal_is_mapped_by_two_points() -> None:
    points = TwoPoints(low=20.0, low_dbm=-100.0, high=80.0, high_dbm=-40.0)
    setting = replace(SETTING, raw_map=points)
    watch = LinkWatch()
    reported(watch, 0.0, signal_raw=50.0, setting=setting)
    view = judged(watch, 0.0, setting=setting)
    assert view.margin_db == pytest.approx(30.0)
