"""The course: metres from degrees, direction, places over time."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from groundstation.analysis.course import Course, course_of, local_m, place_over_time, usable_fixes
from groundstation.analysis.passes import PassSpan, find_passes
from groundstation.analysis.record import Columns
from tests.groundstation.analysis.driven import (
    EMPTY,
    record_from,
    there_and_stop,
    with_channel,
    without,
)


def test_local_metres_against_the_geodesic() -> None:
    """Distances on WGS 84 by `geographiclib` 2.1 (Karney, Journal of Geodesy 87, 2013)."""
    east_m, north_m = local_m((52.0, 0.0), np.array([52.001]), np.array([0.002]))
    assert np.hypot(east_m, north_m)[0] == pytest.approx(176.7673, abs=1e-4)
    east_m, north_m = local_m((52.0, 0.0), np.array([52.00717729617]), np.array([0.00876424981]))
    assert np.hypot(east_m, north_m)[0] == pytest.approx(1000.0, abs=1e-4)
    assert np.degrees(np.arctan2(east_m, north_m))[0] == pytest.approx(37.0, abs=1e-5)
    _, north_m = local_m((45.0, 0.0), np.array([45.001]), np.array([0.0]))
    assert north_m[0] == pytest.approx(111.1318, abs=1e-4)


def test_local_metres_over_the_date_line() -> None:
    east_m, _ = local_m((0.0, 179.9999), np.array([0.0]), np.array([-179.9999]))
    assert east_m[0] == pytest.approx(22.26, abs=0.01)


def test_along_is_forward_and_aside_is_left() -> None:
    course = Course(0.0, 0.0, 90.0)
    along_m, aside_m = course.along_and_aside_m(np.array([0.001]), np.array([0.002]))
    assert along_m[0] == pytest.approx(222.64, abs=0.01)
    assert aside_m[0] == pytest.approx(110.57, abs=0.01)


def test_course_of_a_pass_goes_the_way_the_car_went() -> None:
    record = record_from(there_and_stop)
    spans = find_passes(record)
    course = course_of(record, spans)
    assert course is not None
    assert course.bearing_deg == pytest.approx(90.0, abs=0.1)
    place = place_over_time(record, course, spans[0])
    # From 8 to 40 m/s at 8 m/s^2, a second held, and down to 2 m/s.
    assert np.nanmax(place["along_m"]) == pytest.approx(96.0 + 40.0 + 99.75, abs=2.0)
    assert np.nanmax(np.abs(place["aside_m"])) < 0.1
    away = course_of(replace(record, driver=(0.0, 0.001)), spans)
    assert away is not None
    moved = place_over_time(record, away, spans[0])["along_m"] - place["along_m"]
    start_m = course.along_and_aside_m(np.array([0.0]), np.array([0.001]))[0][0]
    assert np.nanmean(moved) == pytest.approx(-start_m, abs=0.01)


def test_without_fixes_the_wheel_is_summed_up() -> None:
    record = without(record_from(there_and_stop), "fix")
    spans = find_passes(record)
    assert course_of(record, spans) is None
    place = place_over_time(record, None, spans[0])
    assert place["along_m"][0] == 0.0
    assert place["along_m"][-1] == pytest.approx(96.0 + 40.0 + 99.75, abs=1.0)


def test_uncertain_fixes_are_passed_over() -> None:
    record = record_from(there_and_stop)
    assert len(usable_fixes(record)) == len(record.fix)
    for channel, value in (
        ("fix_type", 0.0),
        ("horizontal_accuracy_m", 40.0),
        ("latitude_deg", np.nan),
    ):
        assert len(usable_fixes(with_channel(record, "fix", channel, value))) == 0


def test_an_hour_of_fixes_takes_no_more_memory_than_they_do() -> None:
    count = 20_000
    t_s = np.arange(count) / 10.0
    fix = Columns(
        t_s,
        {
            "latitude_deg": np.zeros(count),
            "longitude_deg": 1e-6 * t_s,
            "fix_type": np.full(count, 3.0),
            "ground_speed_mps": np.linspace(10.0, 40.0, count),
        },
    )
    record = replace(EMPTY, kinds={**EMPTY.kinds, "fix": fix})
    span = PassSpan(1, 0.0, float(t_s[-1]), ended_in_silence=False)
    tracemalloc.start()
    try:
        assert course_of(record, [span]) is not None
        assert tracemalloc.get_traced_memory()[1] < 50 * fix.t_s.nbytes
    finally:
        tracemalloc.stop()
