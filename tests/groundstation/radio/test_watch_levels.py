"""The watch and reported levels: the margin of now, and which reports the estimate takes."""

from __future__ import annotations

from itertools import pairwise
from math import exp, log10

import pytest

from groundstation.radio.watch import STALE_S, LinkWatch
from tests.groundstation.radio.watched import judged, moved, reported


def test_the_margin_now_follows_the_power_with_its_time_constant() -> None:
    watch = LinkWatch()

    def margin_db(at_s: float, rssi_dbm: float) -> float:
        reported(watch, at_s, rssi_dbm=rssi_dbm)
        view = judged(watch, at_s)
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
    reported(watch, 0.0, rssi_dbm=-60.0)
    margins_db = [judged(watch, at_s).margin_db for at_s in (0.99, STALE_S)]
    assert margins_db == [pytest.approx(40.0), None]
    reported(watch, STALE_S, rssi_dbm=-80.0)
    view = judged(watch, STALE_S)
    assert view.margin_db is not None
    assert view.margin_db > 25.0


def test_a_report_belongs_to_where_the_car_was_when_it_was_made() -> None:
    watch = LinkWatch()
    watch.moved(0.0, distance_m=8.0, distance_sigma_m=3.0, speed_mps=20.0, away_mps=-16.0)
    reported(watch, 0.0, rssi_dbm=-50.0)
    # 0.15 s ago it was 2.4 m farther; in doubt it stands beside the place, not at it.
    assert watch.sample.place_m == pytest.approx((10.4**2 + 3.0**2) ** 0.5)


def test_a_standing_car_tells_its_level_once_and_a_driven_one_every_few_metres() -> None:
    watch, taken = LinkWatch(), []
    for count in range(150):
        at_s = 10.0 + 0.04 * count
        travelled_m = max(20.0 * (at_s - 12.0), 0.0)
        moved(watch, at_s, 6.0 + travelled_m, speed_mps=0.0 if at_s < 12.0 else 20.0)
        reported(watch, at_s, rssi_dbm=-50.0)
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
        reported(watch, 0.02 * count, rssi_dbm=-50.0)
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
            reported(watch, at_s, rssi_dbm=-80.0 + 6.0 * (count % 2))
            if count == 1:
                begun.append(watch.report_variance_db2)
        learned.append(watch.report_variance_db2)
    # Two that differ by 6 dB have the variance 18 dB^2.
    assert learned == pytest.approx([2.0, 18.0], rel=0.001)
    assert begun == pytest.approx([2.0, 2.0 + 0.03 * 16.0])
