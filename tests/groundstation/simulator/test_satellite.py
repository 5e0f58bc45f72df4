"""Fixes against WGS 84 and against the truth."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from groundstation.simulator.satellite import Fix, Origin, SatelliteParameters, SatelliteReceiver


def fixes(
    parameters: SatelliteParameters, *, speed_mps: float, seconds: float, seed: int = 1
) -> list[Fix]:
    """Drive straight along a course and return the fixes."""
    receiver = SatelliteReceiver(parameters, Origin(0.04, 0.03, 90.0), seed=seed)
    received = []
    for step in range(round(seconds * 100)):
        t_s = step / 100
        receiver.observe(
            t_s, along_m=speed_mps * t_s, across_m=0.0, speed_mps=speed_mps, direction_rad=0.0
        )
        if (fix := receiver.hand_over(t_s)) is not None:
            assert fix.ready_s <= t_s
            received.append(fix)
    return received


def test_a_kilometre_on_the_ellipsoid() -> None:
    # Karney's geodesic: 52 N 0 E, azimuth 37 deg, 1000 m. A flat course is 0.1 m off there,
    # because meridians converge; at the equator, where the courses lie, they do not.
    latitude_deg, longitude_deg = Origin(52.0, 0.0, 37.0).place_deg(1000.0, 0.0)
    assert latitude_deg == pytest.approx(52.00717729617, abs=1e-6)
    assert longitude_deg == pytest.approx(0.00876424981, abs=2e-6)


def test_left_of_the_course_is_north_of_an_eastward_one() -> None:
    latitude_deg, longitude_deg = Origin(0.04, 0.03, 90.0).place_deg(0.0, 10.0)
    # 110574 m a degree of latitude at the equator (WGS 84 meridian radius, computed).
    assert latitude_deg - 0.04 == pytest.approx(10.0 / 110_574.3, rel=1e-5)
    assert longitude_deg == pytest.approx(0.03, abs=1e-12)


def test_ten_a_second_and_late() -> None:
    received = fixes(SatelliteParameters(), speed_mps=30.0, seconds=20.0)
    assert 198 <= len(received) <= 200
    delays = np.array([fix.ready_s - fix.stamped_s for fix in received])
    given = SatelliteParameters()
    assert delays.min() >= given.latency_s - given.stamp_late_s - 1e-9
    assert np.diff([fix.stamped_s for fix in received]) == pytest.approx(0.1, abs=0.011)


def test_errors_are_as_large_as_the_receiver_admits() -> None:
    received = fixes(SatelliteParameters(spike_chance=0.0), speed_mps=30.0, seconds=400.0)
    errors = np.array([fix.ground_speed_mps - 30.0 for fix in received])
    accuracies = np.array([fix.speed_accuracy_mps for fix in received])
    assert 0.6 < np.sqrt(np.mean(errors**2)) / accuracies.mean() < 1.2
    # Correlated: neighbours share most of the drift.
    assert np.corrcoef(errors[:-1], errors[1:])[0, 1] > 0.4
    assert not any(fix.spike for fix in received)


def test_spikes_are_rare_and_large() -> None:
    received = fixes(SatelliteParameters(), speed_mps=30.0, seconds=400.0)
    spikes = [fix.ground_speed_mps for fix in received if fix.spike]
    assert 4 <= len(spikes) <= 40
    assert min(spikes) > 30.0 + 4.7


def test_course_is_clockwise_from_north_and_unknown_at_rest() -> None:
    receiver = SatelliteReceiver(SatelliteParameters(), Origin(0.04, 0.03, 64.0), seed=2)
    headed = []
    for step, (speed_mps, direction_rad) in enumerate(
        [(20.0, radians(10)), (20.0, pi), (0.0, 0.0)]
    ):
        receiver.observe(
            1.0 + step,
            along_m=0.0,
            across_m=0.0,
            speed_mps=speed_mps,
            direction_rad=direction_rad,
        )
        fix = receiver.hand_over(1.9 + step)
        assert fix is not None
        headed.append(fix.course_deg)
    # A turn to the left lowers the course.
    assert headed[0] == pytest.approx(54.0, abs=1.0)
    assert headed[1] == pytest.approx(244.0, abs=1.0)
    assert headed[2] is None
