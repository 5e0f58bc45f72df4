from __future__ import annotations

import pytest

from groundstation.radio.level import Level
from groundstation.screens.drawing.glyphs import large, rows_of
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.level import BARS, MARKS, banner, block
from groundstation.screens.drawing.text import as_text, cells
from groundstation.vehicle.snapshot import ControlLink, Snapshot
from tests.groundstation.screens.desks import running

REASON = "margin 2.6 dB, under 3 dB"


@pytest.mark.parametrize("level", list(Level))
def test_the_banner_says_word_mark_and_reason(level: Level) -> None:
    text = as_text([banner(running(level=level, level_reason=REASON), 80)])
    assert level in text
    assert MARKS[level] in text
    assert REASON in text


def test_no_two_levels_share_a_mark() -> None:
    assert len(set(MARKS.values())) == len(Level)


@pytest.mark.parametrize("level", [Level.LIFT, Level.LOST])
def test_a_level_that_asks_for_action_takes_the_whole_row(level: Level) -> None:
    row = banner(running(level=level, level_reason=REASON), 80)
    assert {ink for _, ink in row} == {BARS[level]}
    assert as_text([row]).count(level) == 2


@pytest.mark.parametrize("level", [Level.CLEAR, Level.THIN])
def test_a_level_that_asks_for_none_does_not(level: Level) -> None:
    row = banner(running(level=level, level_reason=REASON), 80)
    assert not {ink for _, ink in row} & set(BARS.values())


def test_a_level_that_is_not_known_is_not_clear() -> None:
    assert "CLEAR" not in as_text([banner(Snapshot(), 80)])
    assert "not known" in as_text([banner(Snapshot(), 80)])
    assert large("--", 2)[2] in as_text(block(Snapshot(), width=32, scale=2))


def test_a_level_without_a_threshold_says_what_is_missing() -> None:
    control = ControlLink(rssi_dbm=-71.0)
    assert "give --threshold" in as_text([banner(Snapshot(control=control), 80)])


@pytest.mark.parametrize("level", [Level.THIN, Level.LIFT, Level.LOST])
def test_a_level_in_trouble_is_written_as_large_as_speed(level: Level) -> None:
    drawn = as_text(block(running(level=level), width=32, scale=2))
    assert all(row in drawn for row in large(level, 2))


def test_clear_stays_calm() -> None:
    drawn = as_text(block(running(level=Level.CLEAR), width=50, scale=3))
    assert all(row in drawn for row in large("CLEAR", 2))
    assert "for 63 s" in drawn


@pytest.mark.parametrize("level", [Level.LIFT, Level.LOST])
def test_the_block_of_a_level_that_asks_for_action_is_filled(level: Level) -> None:
    drawn = block(running(level=level), width=32, scale=2)
    assert {ink for row in drawn for _, ink in row} == {BARS[level]}


@pytest.mark.parametrize("level", [None, *Level])
@pytest.mark.parametrize("width", [1, 8, 32, 60])
@pytest.mark.parametrize("scale", [1, 2, 3])
def test_a_block_keeps_to_its_box(level: Level | None, width: int, scale: int) -> None:
    drawn = block(running(level=level), width=width, scale=scale)
    assert len(drawn) == rows_of(scale) + 1
    assert {cells(row) for row in drawn} == {width}


def test_a_hostile_reason_stays_in_its_row() -> None:
    reason = "[bold]x[/] \x1b[2J\n" + "y" * 300
    for level in Level:
        row = banner(running(level=level, level_reason=reason), 80)
        assert cells(row) == 80
        assert "[bold]x[/]" in as_text([row])
        assert as_text([row]).isprintable()


def test_a_long_time_is_told_in_minutes() -> None:
    snapshot = running(level=Level.CLEAR, level_since_s=0.0, at_s=600.0)
    assert "for 10 min" in as_text(block(snapshot, width=50, scale=3))


def test_ink_of_an_unknown_level_is_faint() -> None:
    drawn = block(Snapshot(), width=32, scale=2)
    assert Ink.CLEAR not in {ink for row in drawn for _, ink in row}
