"""Stop point and lift point of a moving car."""

from __future__ import annotations

from dataclasses import replace
from math import exp, sqrt

import pytest

from groundstation.radio import forecast
from groundstation.radio.forecast import (
    LONGEST_LIFT_S,
    Braking,
    Line,
    Motion,
    brake_way_m,
    lift_in_s,
    overrun_m,
    stop_way_m,
)

LEAVING = Motion(at_s=0.0, distance_m=100.0, sigma_m=1.0, speed_mps=30.0, away_mps=30.0)


@pytest.mark.parametrize(
    ("speed_mps", "decel_mps2", "react_s", "way_m"),
    [
        # OpenStax College Physics, example 2.14 (quoted): dry and wet, and with 0.5 s of reaction.
        (30.0, 7.00, 0.0, 64.3),
        (30.0, 5.00, 0.0, 90.0),
        (30.0, 7.00, 0.5, 79.3),
        # HyperPhysics, Georgia State University: 24.6 m/s at 7.8 m/s2.
        (24.6, 7.8, 0.0, 38.79),
    ],
)
def test_stopping_distance_of_the_textbooks(
    speed_mps: float, decel_mps2: float, react_s: float, way_m: float
) -> None:
    braking = Braking(react_s=react_s, latency_s=0.0, decel_mps2=decel_mps2, drag_per_m=0.0)
    motion = replace(LEAVING, speed_mps=speed_mps, away_mps=speed_mps)
    assert stop_way_m(motion, braking)[0] == pytest.approx(way_m, rel=0.002)


def test_the_air_shortens_the_braking_from_a_high_speed() -> None:
    braking = Braking(decel_mps2=6.0, decel_from_mps=30.0, drag_per_m=0.001)
    # Where it was measured it comes out as it was: v^2 / (2 b).
    assert brake_way_m(30.0, braking) == pytest.approx(75.0)
    assert brake_way_m(15.0, braking) > 15.0**2 / 12.0
    # Step by step: dv/dt = -b - c v^2, with b such that the braking from 30 m/s takes 75 m.
    for from_mps in (10.0, 30.0, 60.0):
        speed_mps, way_m, step_s = from_mps, 0.0, 1e-3
        even_mps2 = 0.9 / (exp(0.9 / 6.0) - 1.0)
        while speed_mps > 0.0:
            slower_mps = max(speed_mps - (even_mps2 + 0.001 * speed_mps**2) * step_s, 0.0)
            way_m += 0.5 * (speed_mps + slower_mps) * step_s
            speed_mps = slower_mps
        assert brake_way_m(from_mps, braking) == pytest.approx(way_m, rel=0.002)


def test_stopping_sight_distance() -> None:
    # AASHTO: 100 km/h, 2.5 s, 3.4 m/s2 give 69.5 m + 114.7 m by 0.278 V t + 0.039 V^2 / a, whose
    # rounded factors are up to 1.1 % above 1 / 3.6 and 1 / (2 * 3.6^2).
    braking = Braking(react_s=2.5, latency_s=0.0, decel_mps2=3.4, drag_per_m=0.0)
    motion = replace(LEAVING, speed_mps=100.0 / 3.6)
    assert stop_way_m(motion, braking)[0] == pytest.approx(
        69.5 / 1.0008 + 114.7 / 1.0109, rel=0.001
    )


def test_spread_of_the_stopping_distance_is_that_of_the_braking() -> None:
    braking = Braking(react_s=0.0, latency_s=0.0, decel_mps2=6.0, decel_sigma_mps2=0.6)
    assert stop_way_m(LEAVING, braking) == pytest.approx((75.0, 7.5))


def test_overrun_is_what_95_of_100_stops_keep_within() -> None:
    # OpenStax example 2.14: 30 m/s, 7 m/s^2 is 64.29 m, and .500 s more 15.0 m.
    sure = Braking(react_s=0.5, latency_s=0.0, decel_mps2=7.0, decel_sigma_mps2=0.0)
    assert overrun_m(30.0, sure) == pytest.approx(79.3, abs=0.05)
    unsure = Braking(react_s=0.5, latency_s=0.0, decel_mps2=7.0, decel_sigma_mps2=0.7)
    assert overrun_m(30.0, unsure) == pytest.approx(79.29 + 1.6449 * 6.429, abs=0.01)


def test_a_car_that_gains_speed_needs_more_way() -> None:
    gaining = replace(LEAVING, accel_mps2=4.0)
    assert stop_way_m(gaining, Braking())[0] > stop_way_m(LEAVING, Braking())[0] + 1.0


@pytest.mark.parametrize("accel_mps2", [0.0, 0.5, 4.0])
def test_lift_point_is_where_the_stopping_distance_just_fits(accel_mps2: float) -> None:
    motion, braking = replace(LEAVING, accel_mps2=accel_mps2), Braking()
    way_m = 250.0
    seconds = lift_in_s(motion, braking, way_m)
    assert seconds is not None
    then = replace(motion, speed_mps=motion.speed_mps + accel_mps2 * seconds)
    gone_m = motion.speed_mps * seconds + 0.5 * accel_mps2 * seconds**2
    assert gone_m + stop_way_m(then, braking)[0] == pytest.approx(way_m)


def test_no_time_is_left_past_the_lift_point_and_none_is_told_at_rest() -> None:
    assert lift_in_s(LEAVING, Braking(), 50.0) == 0.0
    assert lift_in_s(replace(LEAVING, speed_mps=0.0), Braking(), 50.0) is None


def test_dead_reckoning_follows_the_line_past_the_driver() -> None:
    # 40 m before the driver, 3-4-5 triangle: 30 m aside.
    coming = Motion(at_s=1.0, distance_m=50.0, sigma_m=1.0, speed_mps=20.0, away_mps=-16.0)
    beside, beyond = coming.after(2.0), coming.after(4.0)
    assert beside.distance_m == pytest.approx(30.0)
    assert (beyond.distance_m, beyond.away_mps) == pytest.approx((50.0, 16.0))
    assert beyond.sigma_m > beside.sigma_m > coming.sigma_m


def test_way_to_a_distance_is_the_inverse_of_the_distance_after_a_way() -> None:
    line = Line(along_m=-40.0, aside_m=30.0)
    assert line.way_to_m(line.distance_m(90.0)) == pytest.approx(90.0)


def test_dead_reckoning_goes_on_with_half_the_acceleration() -> None:
    gaining = Motion(1.0, 100.0, 2.0, 20.0, 20.0, accel_mps2=4.0, brakes=True)
    then = gaining.after(2.0)
    # 2 m/s2 for 2 s: 22 m/s on the mean. The doubt is 0.25 a t^2 and 2 % of the way.
    assert (then.at_s, then.distance_m, then.speed_mps, then.away_mps) == (3.0, 144.0, 24.0, 24.0)
    assert then.sigma_m == pytest.approx(sqrt(4.0 + (4.0 + 0.88) ** 2))
    assert (then.accel_mps2, then.brakes) == (4.0, True)


def test_dead_reckoning_ends_at_rest_and_never_goes_back_in_time() -> None:
    slowing = replace(LEAVING, speed_mps=20.0, away_mps=20.0, accel_mps2=-30.0)
    then = slowing.after(2.0)
    assert (then.speed_mps, then.distance_m) == (0.0, 110.0)
    assert slowing.after(3.0).distance_m == 100.0
    assert slowing.after(0.0) is slowing
    assert slowing.after(-1.0) is slowing
    resting = Motion(0.0, 0.0, 1.0, 0.0, 0.0).after(1.0)
    assert (resting.distance_m, resting.away_mps) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("speed_mps", "away_mps", "along_m", "aside_m"),
    [
        (20.0, 16.0, 80.0, 60.0),
        (20.0, -12.0, -60.0, 80.0),
        # Speed and growth of the distance are measured apart: the noise of both may not add up.
        (20.0, 21.0, 100.0, 0.0),
        (20.0, -21.0, -100.0, 0.0),
        (0.5, -0.5, -100.0, 0.0),
        (0.0, 0.0, 100.0, 0.0),
    ],
)
def test_the_line_by_what_of_the_speed_leads_away(
    speed_mps: float, away_mps: float, along_m: float, aside_m: float
) -> None:
    line = replace(LEAVING, speed_mps=speed_mps, away_mps=away_mps).line()
    assert (line.along_m, line.aside_m) == pytest.approx((along_m, aside_m))


def test_reaction_goes_on_at_the_acceleration_of_now() -> None:
    braking = Braking(react_s=0.4, latency_s=0.2, decel_mps2=5.0, drag_per_m=0.0)
    way_m, sigma_m = stop_way_m(replace(LEAVING, accel_mps2=5.0), braking)
    # 0.6 s at 30 m/s, 0.5 * 5 * 0.4^2 more, and from 32 m/s to rest.
    assert way_m == pytest.approx(18.0 + 0.4 + 32.0**2 / 10.0)
    assert sigma_m == pytest.approx(102.4 * 0.6 / 5.0)
    losing = stop_way_m(replace(LEAVING, accel_mps2=-5.0), braking)
    assert losing == stop_way_m(LEAVING, braking)


def test_a_car_that_brakes_has_nothing_left_to_lift() -> None:
    for way_m in (1.0, 70.0, 80.0, 500.0):
        assert lift_in_s(replace(LEAVING, brakes=True), Braking(), way_m) is None


@pytest.mark.parametrize("accel_mps2", [0.0, 3.0, 8.0])
def test_the_countdown_never_runs_below_zero(accel_mps2: float) -> None:
    motion = replace(LEAVING, accel_mps2=accel_mps2)
    stop_m, _ = stop_way_m(motion, Braking())
    for spare_m in (-1.0, 0.0, 1e-9, 1e-6, 0.01, 1.0):
        seconds = lift_in_s(motion, Braking(), stop_m + spare_m)
        assert seconds is not None
        assert seconds >= 0.0


def test_a_car_that_brakes_has_only_its_braking_before_it() -> None:
    way_m, sigma_m = stop_way_m(replace(LEAVING, brakes=True), Braking())
    assert (way_m, sigma_m) == pytest.approx((75.0, 7.5))


@pytest.mark.parametrize("accel_mps2", [0.0, 0.5, 4.0])
def test_without_the_air_the_first_guess_is_the_lift_point(
    accel_mps2: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    braking = Braking(decel_mps2=5.0, drag_per_m=0.0)
    motion = replace(LEAVING, accel_mps2=accel_mps2)
    exact_s = lift_in_s(motion, braking, 250.0)
    monkeypatch.setattr(forecast, "NEWTON_STEPS", 0)
    assert lift_in_s(motion, braking, 250.0) == pytest.approx(exact_s, rel=1e-9)


def test_a_lift_point_is_counted_down_to_for_a_minute() -> None:
    braking = Braking(drag_per_m=0.0)
    stop_m = stop_way_m(LEAVING, braking)[0]
    assert lift_in_s(LEAVING, braking, stop_m) == 0.0
    told_s = lift_in_s(LEAVING, braking, stop_m + 30.0 * (LONGEST_LIFT_S - 0.01))
    assert told_s == pytest.approx(LONGEST_LIFT_S - 0.01)
    assert lift_in_s(LEAVING, braking, stop_m + 30.0 * (LONGEST_LIFT_S + 0.01)) is None
    slow = replace(LEAVING, speed_mps=0.5)
    slow_m = stop_way_m(slow, braking)[0]
    assert lift_in_s(slow, braking, slow_m + 1.0) == pytest.approx(2.0)


@pytest.mark.parametrize("drag_per_m", [0.0005, 0.001, 0.003])
def test_the_slope_of_the_search_is_that_of_the_way(
    drag_per_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Newton's method doubles the digits with each step, but only along the right slope."""
    braking = Braking(drag_per_m=drag_per_m)
    motion = replace(LEAVING, accel_mps2=4.0)
    exact_s = lift_in_s(motion, braking, 400.0) or 0.0
    errors_s = []
    for steps in (0, 1, 2):
        monkeypatch.setattr(forecast, "NEWTON_STEPS", steps)
        errors_s.append(abs((lift_in_s(motion, braking, 400.0) or 0.0) - exact_s))
    assert errors_s[1] < 0.05 * errors_s[0]
    assert errors_s[2] < 0.01 * errors_s[1]


def test_a_point_that_the_line_never_reaches_is_the_one_nearest_to_the_driver() -> None:
    assert Line(along_m=-40.0, aside_m=30.0).way_to_m(20.0) == pytest.approx(40.0)


def test_beside_the_driver_the_sign_of_the_way_is_kept() -> None:
    then = Motion(0.0, 1.0, 1.0, 0.2, -0.2).after(1.0)
    assert (then.distance_m, then.away_mps) == pytest.approx((0.8, -0.2))
