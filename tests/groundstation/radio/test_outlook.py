from __future__ import annotations

from math import log10

import pytest

from groundstation.radio.estimate import LinkEstimate
from groundstation.radio.forecast import Braking, Motion, stop_way_m
from groundstation.radio.outlook import KNOWN_SHARE, Outlook
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
