"""Longitudinal motion against closed forms."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from groundstation.simulator.drive import (
    AIR_DENSITY_KG_M3,
    IDLE_CURRENT_A,
    Drive,
    DriveParameters,
    PackParameters,
)
from groundstation.units import STANDARD_GRAVITY_MPS2

STEP_S = 0.01
SLIPPERY_AIR = DriveParameters(drag_area_m2=0.0, rolling_coefficient=0.0, grip=2.0)
STRONG = DriveParameters(
    motor_resistance_ohm=1e-4, current_limit_a=inf, motor_volt_per_mps=0.05, power_limit_w=1500.0
)


def stop(drive: Drive, brake: float) -> tuple[float, float]:
    """Return distance and time to a standstill."""
    distance_m = elapsed_s = 0.0
    while drive.speed_mps > 0.0:
        before_mps = drive.speed_mps
        drive.advance(-brake, STEP_S)
        distance_m += 0.5 * (before_mps + drive.speed_mps) * STEP_S
        elapsed_s += STEP_S
    return distance_m, elapsed_s


@pytest.mark.parametrize(
    ("speed_mps", "braking_mps2", "distance_m", "time_s"),
    [
        (24.6, 7.8, 38.79, 3.154),  # HyperPhysics, Georgia State University
        (30.0, 7.00, 64.29, 30 / 7),  # OpenStax, example 2.14
        (30.0, 5.00, 90.0, 6.0),  # the same, wet (from memory)
    ],
)
def test_braking_distance_is_speed_squared_over_twice_the_deceleration(
    speed_mps: float, braking_mps2: float, distance_m: float, time_s: float
) -> None:
    drive = Drive(replace(SLIPPERY_AIR, brake_limit_mps2=braking_mps2), PackParameters())
    drive.speed_mps = speed_mps
    stopped_m, stopped_s = stop(drive, 1.0)
    assert stopped_m == pytest.approx(distance_m, abs=0.02)
    assert stopped_s == pytest.approx(time_s, abs=2 * STEP_S)


def test_grip_bounds_the_brake() -> None:
    # 100 km/h at 0.7: 56.20 m (v^2 / 2 mu g, computed).
    parameters = replace(SLIPPERY_AIR, grip=0.7, brake_limit_mps2=20.0)
    drive = Drive(parameters, PackParameters())
    drive.speed_mps = 100 / 3.6
    assert stop(drive, 1.0)[0] == pytest.approx(56.20, abs=0.02)


def test_drag_shortens_the_stop() -> None:
    drive = Drive(replace(SLIPPERY_AIR, drag_area_m2=0.011), PackParameters())
    drive.speed_mps = 50.0
    assert stop(drive, 1.0)[0] < 50.0**2 / (2 * SLIPPERY_AIR.brake_limit_mps2) - 5.0


def test_start_is_limited_by_grip() -> None:
    drive = Drive(replace(STRONG, drag_area_m2=0.0, rolling_coefficient=0.0), PackParameters())
    for _ in range(100):
        drive.advance(1.0, STEP_S)
    assert drive.speed_mps == pytest.approx(STRONG.grip * STANDARD_GRAVITY_MPS2)
    assert drive.force_mps2 == pytest.approx(STRONG.grip * STANDARD_GRAVITY_MPS2)


def test_top_speed_is_where_power_meets_drag() -> None:
    drive = Drive(replace(STRONG, rolling_coefficient=0.0), PackParameters())
    for _ in range(6000):
        drive.advance(1.0, STEP_S)
    top_mps = (2 * STRONG.power_limit_w / (AIR_DENSITY_KG_M3 * STRONG.drag_area_m2)) ** (1 / 3)
    assert drive.speed_mps == pytest.approx(top_mps, rel=1e-3)


def test_motor_without_load_runs_to_its_back_emf() -> None:
    drive = Drive(SLIPPERY_AIR, PackParameters(resistance_ohm=1e-6))
    for _ in range(3000):
        drive.advance(0.5, STEP_S)
    no_load_mps = 0.5 * drive.pack_voltage_v / SLIPPERY_AIR.motor_volt_per_mps
    assert drive.speed_mps == pytest.approx(no_load_mps, rel=0.01)


def test_a_brake_never_drives_backward() -> None:
    drive = Drive(DriveParameters(), PackParameters())
    drive.speed_mps = 0.05
    for _ in range(20):
        drive.advance(-1.0, STEP_S)
    assert drive.speed_mps == 0.0
    assert drive.force_mps2 == 0.0


def test_wheels_slip_forward_under_power_and_back_under_the_brake() -> None:
    drive = Drive(DriveParameters(), PackParameters())
    drive.speed_mps = 20.0
    drive.advance(1.0, STEP_S)
    assert 1.0 < drive.wheel_speed_mps / drive.speed_mps <= 1.0 + DriveParameters().slip_at_grip
    drive.advance(-1.0, STEP_S)
    assert 0.9 < drive.wheel_speed_mps / drive.speed_mps < 1.0


def test_pack_sags_and_sinks() -> None:
    pack = PackParameters()
    drive = Drive(DriveParameters(), pack)
    resting_v, used = drive.pack_voltage_v, drive.charge_used
    for _ in range(500):
        drive.advance(1.0, STEP_S)
    loaded_v, loaded_a = drive.pack_voltage_v, drive.pack_current_a
    assert loaded_a > 40.0
    assert loaded_v < resting_v - 0.9 * (loaded_a - IDLE_CURRENT_A) * pack.resistance_ohm
    assert drive.controller_c > pack.ambient_c
    assert used < drive.charge_used < used + 95.0 * 5.0 / (3600.0 * pack.capacity_ah)
    drive.load_pack(0.0, STEP_S)
    assert loaded_v < drive.pack_voltage_v < resting_v


def test_electrical_power_covers_the_mechanical() -> None:
    drive = Drive(DriveParameters(), PackParameters())
    drive.speed_mps = 30.0
    drive.advance(1.0, STEP_S)
    given = drive.parameters
    mechanical_w = given.motor_volt_per_mps * drive.motor_current_a * 30.0
    heat_w = given.motor_resistance_ohm * drive.motor_current_a**2
    drawn_w = (drive.pack_current_a - IDLE_CURRENT_A) * (
        drive.pack_voltage_v + IDLE_CURRENT_A * drive.pack.resistance_ohm
    )
    assert drawn_w == pytest.approx(mechanical_w + heat_w, rel=1e-9)


def test_a_weak_cell_drops_out() -> None:
    good = Drive(DriveParameters(), PackParameters(charge_used=0.1))
    weak = Drive(DriveParameters(), PackParameters(charge_used=0.1, cell_empty_at=0.101))
    assert weak.pack_voltage_v == good.pack_voltage_v
    for drive in (good, weak):
        for _ in range(600):
            drive.advance(1.0, STEP_S)
    assert weak.charge_used > 0.101
    # One of eight cells, and what more current costs at the same power.
    assert 3.5 < good.pack_voltage_v - weak.pack_voltage_v < 6.0
