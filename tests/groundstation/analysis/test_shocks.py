"""Shocks, joints and roughness."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pytest

from groundstation.analysis.course import course_of, place_over_time
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Floats, Record
from groundstation.analysis.roughness import roughness_of
from groundstation.analysis.shocks import Shock, joints_of, shocks_of
from groundstation.simulator.road import lay_joints
from groundstation.simulator.scenarios import scenario_named
from tests.groundstation.analysis.swaying import record_with, simulated, whole


def _bumped(
    high_g: float, low_g: float, clipped: float, *, full_scale_g: float | None = 16.0
) -> Record:
    """Return two seconds at 20 m/s with one hit after a second."""
    t_s = np.arange(0.0, 2.0, 0.01)
    unrest = 0.1 * np.random.default_rng(1).random(len(t_s))
    columns: dict[str, Floats] = {
        "speed_mps": np.full(len(t_s), 20.0),
        "accel_z_g": np.ones(len(t_s)),
        "accel_z_max_g": 1.2 + unrest,
        "accel_z_min_g": 0.8 - unrest,
        "clipped_samples": np.zeros(len(t_s)),
        "sensor_clipped": np.zeros(len(t_s)),
    }
    columns["accel_z_max_g"][100], columns["accel_z_min_g"][100] = high_g, low_g
    columns["clipped_samples"][100] = clipped
    return record_with(t_s, columns, full_scale_g=full_scale_g)


def _shocks(record: Record) -> list[Shock]:
    span = whole(record)
    return shocks_of(record, span, place_over_time(record, None, span))


@pytest.mark.parametrize(("high_g", "low_g", "peak_g"), [(7.0, 0.2, 7.0), (2.5, -6.0, -6.0)])
def test_a_measured_peak_is_told_with_its_sign(high_g: float, low_g: float, peak_g: float) -> None:
    record = _bumped(high_g, low_g, 0.0)
    (shock,) = _shocks(record)
    assert shock.peak_g == peak_g
    assert not shock.clipped
    assert shock.t_s == pytest.approx(1.0)
    assert shock.along_m == pytest.approx(20.0)
    assert shock.told() == f"{peak_g:.1f} g"


@pytest.mark.parametrize(
    ("high_g", "clipped", "full_scale_g"),
    [(16.0, 4.0, 16.0), (15.93, np.nan, 16.0), (16.0, 3.0, None), (15.5, 1.0, 16.0)],
)
def test_a_clipped_peak_is_never_a_value(
    high_g: float, clipped: float, full_scale_g: float | None
) -> None:
    # 0.995 of 16 g is 15.92 g.
    record = _bumped(high_g, 0.5, clipped, full_scale_g=full_scale_g)
    (shock,) = _shocks(record)
    assert shock.peak_g is None
    assert shock.at_least_g == high_g
    assert shock.told() == f"at least {high_g:.1f} g (clipped, not measured)"


def test_an_even_road_has_no_shocks() -> None:
    record = _bumped(1.25, 0.75, 0.0)
    assert _shocks(record) == []


def test_the_same_joint_is_recognised_in_every_pass() -> None:
    record = simulated("demo", 3, duration_s=100.0)
    spans = find_passes(record)
    course = course_of(record, spans)
    shocks = [
        shock
        for span in spans
        for shock in shocks_of(record, span, place_over_time(record, course, span))
    ]
    joints = joints_of(shocks)
    assert len(spans) >= 3
    scenario = scenario_named("demo")
    laid_m = np.array(
        [
            joint.position_m - scenario.course.driver_along_m
            for joint in lay_joints(scenario.course.road, 3)
        ]
    )
    hit_again = [joint for joint in joints if joint.hit_again]
    assert len(hit_again) >= 10
    for joint in hit_again:
        assert np.abs(laid_m - joint.along_m).min() < 2.0
        assert joint.spread_m < 1.5
        assert joint.hits >= len(joint.passes) >= 2
    # None is told twice.
    assert np.diff([joint.along_m for joint in joints]).min() > 4.0
    json.dumps([asdict(joint) for joint in joints], allow_nan=False)


def test_a_joint_is_clipped_when_one_of_its_hits_is() -> None:
    measured, clipped = _bumped(9.0, 0.5, 0.0), _bumped(16.0, 0.5, 5.0)
    shocks = _shocks(measured) + _shocks(clipped)
    (joint,) = joints_of(shocks)
    assert joint.clipped
    assert joint.hits == 2
    assert joint.worst.clipped
    assert not joint.hit_again  # both are of pass 1


def test_roughness_is_the_rms_without_what_is_slow() -> None:
    t_s = np.arange(0.0, 10.0, 0.01)
    shake = 0.3 * np.sqrt(2.0) * np.sin(2.0 * np.pi * 20.0 * t_s)
    slope = 1.0 + 0.2 * np.sin(2.0 * np.pi * 0.1 * t_s)
    record = record_with(t_s, {"speed_mps": np.full(len(t_s), 20.0), "accel_z_g": slope + shake})
    span = whole(record)
    cells = roughness_of(record, [span], [place_over_time(record, None, span)])
    assert [cell.from_m for cell in cells] == [10.0 * each for each in range(20)]
    for cell in cells[1:-1]:
        assert cell.rms_g == pytest.approx(0.3, rel=0.05)
        assert cell.mean_speed_mps == pytest.approx(20.0)
        assert cell.passes == 1
