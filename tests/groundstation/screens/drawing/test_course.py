from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.screens.drawing.course import course, landmarks
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.text import as_text, cells
from groundstation.vehicle.snapshot import Forecast
from tests.groundstation.screens.desks import FORECAST

AT_REST = Forecast(
    distance_m=146.3, distance_origin="the driver's position", away_mps=-0.02, stop_point_m=146.2
)


@pytest.mark.parametrize("width", [20, 80, 120])
@pytest.mark.parametrize("rows", [2, 4])
def test_the_strip_fills_its_box(width: int, rows: int) -> None:
    for forecast in (FORECAST, AT_REST):
        drawn = course(forecast, width=width, rows=rows, fix="3D fix", trouble="NO FIX")
        assert [cells(row) for row in drawn] == [width] * rows


def test_a_car_that_stands_has_no_stop_point_and_comes_no_nearer() -> None:
    assert [(place.word, place.mark) for place in landmarks(AT_REST)] == [("CAR", "▶")]
    assert "STOP" not in as_text(course(AT_REST, width=80, rows=2))
    rolling = replace(AT_REST, away_mps=-3.0, stop_point_m=None)
    assert [place.mark for place in landmarks(rolling)] == ["◀"]
    driving = replace(AT_REST, away_mps=2.0, stop_point_m=148.0)
    assert [place.word for place in landmarks(driving)] == ["STOP", "CAR"]


def test_the_title_says_how_good_the_fix_is_or_that_there_is_none() -> None:
    good = course(FORECAST, width=120, rows=4, fix="3D fix, 14 satellites")
    assert as_text(good[:1]).startswith(" COURSE  3D fix, 14 satellites ")
    assert {ink for _, ink in good[0]} == {Ink.TITLE}
    none = course(FORECAST, width=120, rows=4, trouble="NO FIX")
    assert ("  NO FIX", Ink.TITLE_WARNING) in none[0]


def test_a_narrow_strip_has_no_cell_for_a_good_fix() -> None:
    assert "fix" not in as_text(course(FORECAST, width=80, rows=2, fix="3D fix"))
