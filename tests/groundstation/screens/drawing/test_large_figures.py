from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.radio.level import Level
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.drawing.large_figures import FEWEST_ROWS, large_figures
from groundstation.screens.drawing.level import BARS
from groundstation.screens.drawing.text import as_text, cells
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import Snapshot
from tests.groundstation.screens.desks import FORECAST, running

SIZES = [(80, 20), (80, 21), (120, 37), (200, 20), (200, 57), (40, 60), (76, FEWEST_ROWS)]


@pytest.mark.parametrize("width", [1, 7, 20, 39, 80, 121, 250])
@pytest.mark.parametrize("snapshot", [Snapshot(), running(), running(level=Level.LIFT)])
def test_it_fills_its_rows_and_nothing_more(snapshot: Snapshot, width: int) -> None:
    for rows in range(70):
        drawn = large_figures(snapshot, unit=SpeedUnit.KMH, width=width, rows=rows)
        assert len(drawn) == rows
        assert {cells(row) for row in drawn} <= {width}


@pytest.mark.parametrize("level", list(Level))
@pytest.mark.parametrize(("width", "rows"), SIZES)
def test_both_figures_and_the_word_are_there(level: Level, width: int, rows: int) -> None:
    text = as_text(large_figures(running(level=level), unit=SpeedUnit.KMH, width=width, rows=rows))
    for shown in ("138", "31", level):
        assert any(all(row in text for row in large(shown, scale)) for scale in range(1, 20))


@pytest.mark.parametrize("level", [Level.LIFT, Level.LOST])
@pytest.mark.parametrize(("width", "rows"), SIZES)
def test_a_level_that_asks_for_action_fills_the_rest(level: Level, width: int, rows: int) -> None:
    drawn = large_figures(running(level=level), unit=SpeedUnit.KMH, width=width, rows=rows)
    filled = [{ink for _, ink in row} == {BARS[level]} for row in drawn]
    first = filled.index(True)
    assert all(filled[first:])
    assert not any(filled[:first])
    assert first <= rows // 2 + 1


def test_the_countdown_takes_the_place_of_the_word() -> None:
    snapshot = running(level=Level.THIN, forecast=replace(FORECAST, lift_in_s=2.4))
    text = as_text(large_figures(snapshot, unit=SpeedUnit.KMH, width=80, rows=20))
    assert "LIFT IN s" in text
    assert all(row in text for row in large("2.4", 4))
    assert "STOP MARGIN dB" in text


def test_what_is_old_says_so() -> None:
    stale = running()
    old = {name: replace(each, at_s=72.0, stale=True) for name, each in stale.channels.items()}
    text = as_text(
        large_figures(replace(stale, channels=old), unit=SpeedUnit.KMH, width=80, rows=20)
    )
    assert "3.0 s ago" in text
    assert "▒" in text
