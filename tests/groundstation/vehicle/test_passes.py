"""Passes found while they are driven."""

from __future__ import annotations

import pytest

from groundstation.vehicle.passes import SILENT_S, Passes

LIMITS = {"begin_mps": 8.0, "end_mps": 2.0}


def drive(passes: Passes, *speeds_mps: float) -> list[bool]:
    return [
        passes.take_speed(speed, float(second), **LIMITS) for second, speed in enumerate(speeds_mps)
    ]


def test_a_pass_lasts_from_the_higher_speed_to_the_lower() -> None:
    passes = Passes()
    ended = drive(passes, 0.0, 5.0, 9.0, 40.0, 7.0, 3.0, 1.0, 0.0)
    assert ended == [False, False, False, False, False, False, True, False]
    assert passes.newest is not None
    assert passes.newest.peak_speed_mps == 40.0
    assert (passes.newest.started_vehicle_s, passes.newest.ended_vehicle_s) == (2.0, 6.0)
    assert passes.completed == 1


def test_rolling_about_is_no_pass() -> None:
    passes = Passes()
    drive(passes, 0.0, 7.9, 3.0, 7.9, 0.0)
    assert passes.newest is None
    assert passes.completed == 0


def test_passes_are_counted() -> None:
    passes = Passes()
    drive(passes, 0.0, 30.0, 0.0, 25.0)
    assert passes.newest is not None
    assert (passes.newest.number, passes.completed, passes.running) == (2, 1, True)


def test_silence_ends_a_pass() -> None:
    passes = Passes()
    assert not passes.end_if_silent(100.0)
    drive(passes, 30.0)
    assert not passes.end_if_silent(SILENT_S - 0.1)
    assert passes.end_if_silent(SILENT_S)
    assert not passes.end_if_silent(SILENT_S)


def test_margin_and_shocks_belong_to_the_pass_that_runs() -> None:
    passes = Passes()
    passes.take_margin(-5.0)
    passes.take_shock(30.0, clipped=True)
    drive(passes, 30.0)
    for margin_db in (12.0, 8.0, 9.0):
        passes.take_margin(margin_db)
    passes.take_shock(4.0, clipped=False)
    passes.take_shock(None, clipped=False)
    assert passes.newest is not None
    assert passes.newest.lowest_margin_db == 8.0
    assert (passes.newest.accel_z_max_g, passes.newest.clipped) == (4.0, False)


def test_where_the_margin_was_lowest_is_kept() -> None:
    passes = Passes()
    drive(passes, 30.0)
    for margin_db, distance_m in ((12.0, 50.0), (8.0, 120.0), (9.0, 150.0)):
        passes.take_margin(margin_db, distance_m)
    assert passes.newest is not None
    assert passes.newest.lowest_margin_at_m == 120.0


def test_a_single_satellite_spike_is_no_peak() -> None:
    passes = Passes()
    passes.take_satellite_speed(99.0)
    drive(passes, 30.0)
    for speed_mps in (30.0, 31.0, 55.0, 32.0, None, 31.5):
        passes.take_satellite_speed(speed_mps)
    assert passes.newest is not None
    assert passes.newest.satellite_peak_mps == 32.0


def test_the_largest_yaw_rate_has_no_side() -> None:
    passes = Passes()
    passes.take_yaw_rate(500.0)
    drive(passes, 30.0)
    for yaw_rate_dps in (10.0, -42.0, None, 20.0):
        passes.take_yaw_rate(yaw_rate_dps)
    assert passes.newest is not None
    assert passes.newest.yaw_rate_abs_dps == 42.0


def brake(passes: Passes, *, decel_mps2: float, from_mps: float = 30.0) -> None:
    """Drive a second, lift, and brake evenly to rest, at 100 Hz."""
    for tick in range(100):
        passes.take_speed(from_mps, tick / 100, **LIMITS, driven=True)
    speed_mps, at_s = from_mps, 1.0
    while passes.running:
        passes.take_speed(speed_mps, at_s, **LIMITS, driven=False)
        speed_mps, at_s = speed_mps - decel_mps2 / 100, at_s + 0.01


def test_braking_is_the_mean_deceleration_since_the_lift() -> None:
    passes = Passes()
    brake(passes, decel_mps2=7.0)
    assert passes.newest is not None
    # v^2 = 2 b s, whatever the speeds between.
    assert passes.newest.braking_mps2 == pytest.approx(7.0, rel=1e-6)


def test_a_lift_that_was_taken_back_does_not_count() -> None:
    passes = Passes()
    passes.take_speed(30.0, 0.0, **LIMITS, driven=True)
    passes.take_speed(29.0, 1.0, **LIMITS, driven=False)
    passes.take_speed(28.0, 2.0, **LIMITS, driven=True)
    assert passes.newest is not None
    assert passes.newest.braking_mps2 is None


def test_a_spin_teaches_no_braking() -> None:
    passes = Passes()
    drive(passes, 30.0)
    passes.take_yaw_rate(900.0)
    brake(passes, decel_mps2=9.0)
    assert passes.newest is not None
    assert passes.newest.braking_mps2 is None


def test_nothing_tells_the_lift_without_a_throttle() -> None:
    passes = Passes()
    drive(passes, 30.0, 20.0, 10.0, 0.0)
    assert passes.newest is not None
    assert passes.newest.braking_mps2 is None
