"""What strip charts are drawn from."""

from __future__ import annotations

from groundstation.vehicle.traces import (
    COURSE_BIN_M,
    COURSE_BINS,
    KEPT_S,
    TICK_S,
    CourseTrace,
    Traces,
)


def filled(seconds: float, spike_tick: int | None = None) -> Traces:
    traces = Traces()
    for tick in range(round(seconds / TICK_S)):
        high = 99.0 if tick == spike_tick else 1.0
        traces.add(tick * TICK_S, {"yaw_rate_dps": (-1.0, high)})
    return traces


def test_no_peak_is_lost_in_a_narrow_chart() -> None:
    columns = filled(20.0, spike_tick=211).columns("yaw_rate_dps", seconds=20.0, count=20)
    assert columns[10] == (-1.0, 99.0)
    assert [column for column in columns if column == (-1.0, 1.0)] == [(-1.0, 1.0)] * 19


def test_columns_do_not_change_once_they_are_past() -> None:
    traces = filled(10.0, spike_tick=100)
    before = traces.columns("yaw_rate_dps", seconds=8.0, count=40)
    for tick in range(200, 204):
        traces.add(tick * TICK_S, {"yaw_rate_dps": (-1.0, 1.0)})
    after = traces.columns("yaw_rate_dps", seconds=8.0, count=40)
    assert after[:-2] == before[1:-1]


def test_silence_is_a_gap_and_an_unknown_channel_is_all_gaps() -> None:
    traces = filled(1.0)
    traces.add(2.0, {})
    assert traces.columns("yaw_rate_dps", seconds=3.0, count=3) == [(-1.0, 1.0), None, None]
    assert traces.columns("speed_mps", seconds=2.0, count=2) == [None, None]
    assert Traces().columns("speed_mps", seconds=2.0, count=3) == [None] * 3


def test_memory_is_bounded_and_can_be_cleared() -> None:
    traces = filled(KEPT_S * 2)
    columns = traces.columns("yaw_rate_dps", seconds=KEPT_S * 2, count=10)
    assert columns[:4] == [None] * 4
    traces.clear()
    assert traces.columns("yaw_rate_dps", seconds=1.0, count=1) == [None]


def test_margins_of_a_place_are_kept_as_lowest_to_highest() -> None:
    course = CourseTrace()
    course.add(12.0, (8.0, 9.0))
    course.add(3.0, (20.0, 20.0))
    for margin_db in ((7.0, 7.5), (7.5, 10.0)):
        course.add(14.9, margin_db)
    assert course.places() == [(2.5, (20.0, 20.0)), (12.5, (7.0, 10.0))]


def test_places_beyond_the_course_are_not_kept_and_a_new_pass_begins_empty() -> None:
    course = CourseTrace()
    for distance_m in (-6.0, COURSE_BINS * COURSE_BIN_M, 1e9):
        course.add(distance_m, (1.0, 1.0))
    assert course.places() == []
    course.add(COURSE_BINS * COURSE_BIN_M - 0.1, (1.0, 1.0))
    assert len(course.places()) == 1
    course.clear()
    assert course.places() == []
