from __future__ import annotations

import pytest

from groundstation.screens.drawing.axis import Axis, both_ways, from_zero, margin_axis, round_up
from groundstation.screens.drawing.plots import area, band, row_of

TEN = Axis(0.0, 10.0)
BOTH = Axis(-1.0, 1.0)


def test_an_area_rises_in_eighths_of_a_cell() -> None:
    assert area([0.0, 1.25, 5.0, 6.25, 10.0], Axis(0.0, 10.0), 1) == ["▁▁▄▅█"]
    assert area([5.0, 7.5, 10.0], TEN, 2) == [" ▄█", "███"]


def test_nothing_known_is_not_zero() -> None:
    assert area([None, 0.0, 3.0, None], TEN, 1) == [" ▁▂ "]


def test_values_beyond_the_axis_end_at_its_ends() -> None:
    assert area([-5.0, 25.0], TEN, 1) == ["▁█"]


def test_a_band_shows_the_whole_span_of_every_column() -> None:
    # Braille dots from the top: left column 1 2 3 7, right column 4 5 6 8 (Unicode 2800-28FF).
    assert band([(-1.0, 1.0), None], BOTH, 1) == [chr(0x2800 + 0b01000111)]
    assert band([None, (-1.0, 1.0)], BOTH, 1) == [chr(0x2800 + 0b10111000)]
    assert band([(1.0, 1.0), (1.0, 1.0)], BOTH, 1) == [chr(0x2800 + 0b00001001)]


def test_a_jump_in_a_band_is_joined() -> None:
    joined = band([(1.0, 1.0), (-1.0, -1.0)], BOTH, 1)
    assert joined == [chr(0x2800 + 0b10111001)]


def test_a_gap_in_a_band_stays_a_gap() -> None:
    assert band([(0.0, 1.0), None, None, None, (0.0, 1.0), None], BOTH, 1)[0][1] == " "


def test_one_peak_among_many_columns_is_drawn() -> None:
    spans: list[tuple[float, float] | None] = [(-0.05, 0.05)] * 100
    spans[37] = (-0.05, 0.98)
    top_row = band(spans, BOTH, 4)[0]
    assert [x for x, mark in enumerate(top_row) if mark != " "] == [37 // 2]


def test_a_threshold_takes_the_row_nearest_to_it() -> None:
    axis = Axis(0.0, 60.0)
    assert row_of(3.0, axis, 6) == 5
    assert row_of(10.0, axis, 6) == 4
    assert row_of(60.0, axis, 6) == 0


@pytest.mark.parametrize(
    ("value", "rounded"), [(0.0, 10.0), (10.0, 10.0), (10.1, 15.0), (31.0, 50.0), (501.0, 1000.0)]
)
def test_axis_ends_are_round(value: float, rounded: float) -> None:
    assert round_up(value, least=10.0) == pytest.approx(rounded)


def test_axes_hold_all_they_show() -> None:
    spans = [None, (-3.0, 12.0), (2.0, 41.0)]
    assert from_zero(spans, least=10.0) == Axis(0.0, 50.0)
    assert both_ways(spans, least=10.0) == Axis(-50.0, 50.0)
    assert margin_axis(spans) == Axis(-20.0, 40.0)


def test_axes_of_nothing_are_still_axes() -> None:
    assert from_zero([None], least=10.0) == Axis(0.0, 10.0)
    assert both_ways([], least=0.5) == Axis(-0.5, 0.5)
    assert margin_axis([]) == Axis(0.0, 40.0)
