"""The course: metres from degrees, direction, places over time."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from groundstation.analysis.course import (
    Course,
    course_of,
    is_forward,
    local_m,
    place_over_time,
    usable_fixes,
)
from groundstation.analysis.passes import PassSpan, find_passes
from groundstation.analysis.record import Columns
from groundstation.analysis.speed import fix_delay_s, speeds_of
from groundstation.simulator.simulation import simulate_truth
from tests.groundstation.analysis.driven import (
    EMPTY,
    LATE_SEED,
    late_and_steady,
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


@pytest.mark.parametrize("stamp_late_s", [0.006, 0.1])
def test_a_late_stamp_moves_no_place(stamp_late_s: float) -> None:
    """Both ways against where the simulated car really was: late fixes put it behind itself."""
    record, scenario = late_and_steady(stamp_late_s)
    spans = find_passes(record)
    course, delay_s = course_of(record, spans), fix_delay_s(speeds_of(record, spans))
    truths = simulate_truth(scenario, LATE_SEED)
    true_s = truths.t_s + (record.motion.t_s[0] - truths.t_s[0])
    forward = []
    for span in spans:
        for told_s, allowed_m in ((delay_s, 0.2), (0.0, 40.0 * stamp_late_s)):
            place = place_over_time(record, course, span, fix_delay_s=told_s)
            known = ~np.isnan(place["along_m"])
            along_m = np.interp(place.t_s, true_s, truths.position_m)
            off_m = place["along_m"] - (along_m - scenario.course.driver_along_m)
            assert np.abs(off_m[known].mean()) < allowed_m
        assert np.abs(off_m[known].mean()) > 20.0 * stamp_late_s  # not taken off
        forward.append(is_forward(place))
    assert set(forward) == {True, False}


def test_a_pass_of_fixes_alone_has_its_place_at_each_of_them() -> None:
    record = without(record_from(there_and_stop, delay_s=0.12), "motion")
    spans = find_passes(record)
    place = place_over_time(record, course_of(record, spans), spans[0], fix_delay_s=0.12)
    fixes = record.fix.between(spans[0].start_s, spans[0].end_s)
    assert place.t_s == pytest.approx(fixes.t_s - 0.12)
    assert is_forward(place) is True


def test_without_fixes_the_wheel_is_summed_up() -> None:
    record = without(record_from(there_and_stop), "fix")
    spans = find_passes(record)
    assert course_of(record, spans) is None
    place = place_over_time(record, None, spans[0])
    assert is_forward(place) is None
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
