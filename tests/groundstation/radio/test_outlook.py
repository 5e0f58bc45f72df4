"""The margin where the car will come to rest."""

from __future__ import annotations

from dataclasses import replace
from math import log10, sqrt

import pytest

from groundstation.radio.estimate import LinkEstimate
from groundstation.radio.forecast import Braking, Motion, lift_in_s, stop_way_m
from groundstation.radio.outlook import KNOWN_SHARE, MOVING_MPS, Ahead, Outlook
from groundstation.radio.watch_setting import WatchSetting

SETTING = WatchSetting(threshold_dbm=-100.0)


def estimate_at(distance_m: float) -> LinkEstimate:
    """Return an estimate that has followed -5 dBm at 1 m, exponent 4: margin 0 at 237 m."""
    estimate, at_m = LinkEstimate(), 5.0
    while at_m <= distance_m:
        estimate.move(at_m, 5.0)
        estimate.observe(-5.0 - 40.0 * log10(at_m), 0.5)
        at_m += 5.0
    return estimate


def leaving(*, speed_mps: float = 30.0, sigma_m: float = 1.0, brakes: bool = False) -> Motion:
    return Motion(0.0, 100.0, sigma_m, speed_mps, speed_mps, brakes=brakes)


def test_the_edge_of_range_is_where_the_law_meets_the_threshold() -> None:
    outlook, estimate = Outlook(), estimate_at(100.0)
    for _ in range(5):
        ahead = outlook.look(estimate, leaving(), SETTING)
    assert ahead.range_edge_m == pytest.approx(237.0, rel=0.05)
    assert ahead.stop_point_m == pytest.approx(100.0 + stop_way_m(leaving(), Braking())[0])


def test_the_quantile_lies_deeper_where_the_way_to_rest_is_less_sure() -> None:
    estimate = estimate_at(100.0)
    spreads = []
    for sigma_mps2 in (0.0, 2.0):
        setting = WatchSetting(threshold_dbm=-100.0, braking=Braking(decel_sigma_mps2=sigma_mps2))
        ahead = Outlook().look(estimate, leaving(), setting)
        assert ahead.stop_margin_db is not None
        assert ahead.stop_margin_p05_db is not None
        spreads.append(ahead.stop_margin_db - ahead.stop_margin_p05_db)
    assert spreads[1] > spreads[0] + 0.3
    # 17.4 dB over the distance for each metre, at the stop point; 5 % lie beyond 1.645 sigmas.
    way_m, way_sigma_m = stop_way_m(leaving(), setting.braking)
    more_db2 = (spreads[1] ** 2 - spreads[0] ** 2) / 1.6449**2
    assert more_db2 == pytest.approx((17.4 / (100.0 + way_m) * way_sigma_m) ** 2)


def test_a_place_that_is_mostly_doubt_has_no_forecast() -> None:
    estimate = estimate_at(100.0)
    known = Outlook().look(estimate, leaving(sigma_m=99.0 * KNOWN_SHARE), SETTING)
    unknown = Outlook().look(estimate, leaving(sigma_m=101.0 * KNOWN_SHARE), SETTING)
    assert known.stop_margin_db is not None
    assert (unknown.stop_margin_db, unknown.lift_in_s, unknown.moving) == (None, None, True)


def test_a_place_that_the_level_refutes_has_no_forecast() -> None:
    ahead = Outlook().look(estimate_at(100.0), leaving(), SETTING, refuted=True)
    assert (ahead.stop_margin_db, ahead.moving) == (None, True)


def test_a_car_that_brakes_already_stops_sooner() -> None:
    estimate = estimate_at(100.0)
    holding = Outlook().look(estimate, leaving(), SETTING)
    braking = Outlook().look(estimate, leaving(brakes=True), SETTING)
    assert holding.stop_point_m is not None
    assert braking.stop_point_m is not None
    # At 30 m/s without 0.3 s of reaction and 0.15 s of latency.
    assert holding.stop_point_m - braking.stop_point_m == pytest.approx(13.5)


def test_a_lift_point_that_is_minutes_away_is_not_told() -> None:
    ahead = Outlook().look(estimate_at(100.0), leaving(speed_mps=1.6), SETTING)
    assert ahead.moving
    assert ahead.stop_margin_p05_db is not None
    assert (ahead.lift_in_s, ahead.lift_point_m) == (None, None)
    assert ahead.range_edge_m is not None


def test_a_place_in_doubt_counts_by_how_the_slope_changes_until_the_stop_point() -> None:
    estimate, spreads = estimate_at(100.0), []
    for sigma_m in (0.0, 20.0):
        ahead = Outlook().look(estimate, leaving(sigma_m=sigma_m), SETTING)
        assert ahead.stop_margin_db is not None
        assert ahead.stop_margin_p05_db is not None
        spreads.append(ahead.stop_margin_db - ahead.stop_margin_p05_db)
    stop_m = 100.0 + stop_way_m(leaving(), SETTING.braking)[0]
    more_db2 = (spreads[1] ** 2 - spreads[0] ** 2) / 1.6449**2
    assert more_db2 == pytest.approx(((17.4 / stop_m - 17.4 / 100.0) * 20.0) ** 2)


def test_beside_the_driver_the_slope_is_taken_as_that_at_ten_metres() -> None:
    estimate, spreads = estimate_at(5.0), []
    for sigma_m in (0.0, 1.2):
        motion = replace(leaving(speed_mps=10.0, sigma_m=sigma_m), distance_m=5.0)
        ahead = Outlook().look(estimate, motion, SETTING)
        assert ahead.stop_margin_db is not None
        assert ahead.stop_margin_p05_db is not None
        spreads.append(ahead.stop_margin_db - ahead.stop_margin_p05_db)
    stop_m = 5.0 + stop_way_m(motion, SETTING.braking)[0]
    more_db2 = (spreads[1] ** 2 - spreads[0] ** 2) / 1.6449**2
    assert more_db2 == pytest.approx(((17.4 / stop_m - 1.74) * 1.2) ** 2)


def settled(motion: Motion) -> tuple[Outlook, Ahead]:
    """Look often enough for the search to have come to its end."""
    outlook, estimate = Outlook(), estimate_at(100.0)
    for _ in range(20):
        ahead = outlook.look(estimate, motion, SETTING)
    return outlook, ahead


@pytest.mark.parametrize("accel_mps2", [0.0, 3.0, -3.0])
def test_from_the_lift_point_the_car_just_stops_inside_range(accel_mps2: float) -> None:
    motion = leaving(speed_mps=15.0)
    motion.accel_mps2 = accel_mps2
    outlook, ahead = settled(motion)
    assert ahead.lift_in_s is not None
    assert ahead.lift_point_m is not None
    gain = max(accel_mps2, 0.0)
    there = leaving(speed_mps=15.0 + gain * ahead.lift_in_s)
    there.accel_mps2 = gain
    way_m = stop_way_m(there, SETTING.braking)[0]
    assert ahead.lift_point_m + way_m == pytest.approx(outlook.last_stop_m)
    assert ahead.lift_point_m - 100.0 == pytest.approx(
        15.0 * ahead.lift_in_s + 0.5 * gain * ahead.lift_in_s**2
    )


def test_a_lift_point_that_is_past_lies_behind_the_car() -> None:
    outlook, ahead = settled(leaving(speed_mps=42.0))
    assert ahead.lift_in_s == 0.0
    assert ahead.lift_point_m is not None
    assert ahead.lift_point_m < 100.0
    way_m = stop_way_m(leaving(speed_mps=42.0), SETTING.braking)[0]
    assert ahead.lift_point_m + way_m == pytest.approx(outlook.last_stop_m)


def test_the_last_place_to_stop_has_the_wanted_margin_at_five_percent() -> None:
    estimate = estimate_at(100.0)
    outlook, ahead = settled(leaving(speed_mps=15.0))
    assert ahead.range_edge_m is not None
    assert estimate.predict(ahead.range_edge_m)[0] == pytest.approx(-100.0, abs=0.05)
    way_sigma_m = stop_way_m(leaving(speed_mps=15.0), SETTING.braking)[1]
    level_dbm, variance_db2 = estimate.predict(outlook.last_stop_m)
    slope = 17.4 / outlook.last_stop_m
    variance_db2 += (slope * way_sigma_m) ** 2 + (slope - 0.174) ** 2
    wanted_dbm = -100.0 + SETTING.limits.lift_stop_margin_db
    assert level_dbm - 1.6449 * sqrt(variance_db2) == pytest.approx(wanted_dbm, abs=0.05)


def test_at_rest_the_stop_point_is_here_and_nothing_is_counted_down() -> None:
    ahead = Outlook().look(estimate_at(100.0), leaving(speed_mps=MOVING_MPS - 0.1), SETTING)
    assert (ahead.moving, ahead.lift_in_s, ahead.lift_point_m) == (False, None, None)
    assert Outlook().look(estimate_at(100.0), leaving(speed_mps=MOVING_MPS), SETTING).moving
    assert ahead.stop_margin_db is not None
    # A place in doubt matters only to a car that moves.
    lost = Outlook().look(estimate_at(100.0), leaving(speed_mps=0.0, sigma_m=90.0), SETTING)
    assert lost.stop_point_m == 100.0


def test_a_car_that_will_stop_nearer_has_a_stop_margin_and_no_lift_point() -> None:
    coming = replace(leaving(speed_mps=5.0), away_mps=-5.0)
    ahead = Outlook().look(estimate_at(100.0), coming, SETTING)
    assert (ahead.coming_nearer, ahead.lift_in_s, ahead.lift_point_m) == (True, None, None)
    assert ahead.stop_point_m is not None
    assert ahead.stop_point_m < 100.0
    # So fast that it passes the driver and stops on the other side, farther away than it is.
    passing = replace(leaving(), distance_m=30.0, away_mps=-30.0)
    assert not Outlook().look(estimate_at(100.0), passing, SETTING).coming_nearer


@pytest.mark.parametrize(
    "motion",
    [
        # It would pass the driver in three seconds, and the edge of range in fifteen.
        replace(leaving(speed_mps=20.0), away_mps=-20.0),
        # It creeps towards the edge, which is less than a minute away.
        replace(leaving(speed_mps=MOVING_MPS - 0.1), distance_m=170.0),
    ],
    ids=["coming nearer", "at rest"],
)
def test_a_lift_point_is_told_only_to_a_car_that_leaves(motion: Motion) -> None:
    last_stop_m = settled(leaving(speed_mps=15.0))[0].last_stop_m
    way_m = motion.line().way_to_m(last_stop_m)
    # Not because it is too far away to be told.
    assert lift_in_s(motion, SETTING.braking, way_m) is not None
    ahead = settled(motion)[1]
    assert (ahead.lift_in_s, ahead.lift_point_m) == (None, None)


def test_in_doubt_it_is_still_told_whether_the_car_comes_nearer() -> None:
    coming = replace(leaving(speed_mps=5.0, sigma_m=60.0), away_mps=-5.0)
    ahead = Outlook().look(estimate_at(100.0), coming, SETTING)
    assert ahead == Ahead(moving=True, coming_nearer=True)


def test_without_a_threshold_nothing_is_forecast() -> None:
    ahead = Outlook().look(estimate_at(100.0), leaving(), WatchSetting())
    assert ahead == Ahead(moving=True)


@pytest.mark.parametrize(("threshold_dbm", "edge_m"), [(-300.0, 20_000.0), (100.0, 1.0)])
def test_the_edge_of_range_is_searched_within_bounds(threshold_dbm: float, edge_m: float) -> None:
    outlook, estimate = Outlook(), estimate_at(100.0)
    for _ in range(20):
        outlook.look(estimate, leaving(), WatchSetting(threshold_dbm=threshold_dbm))
    assert outlook.edge_m == edge_m
