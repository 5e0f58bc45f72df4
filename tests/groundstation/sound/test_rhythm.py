"""The rhythm of each level."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.radio.level import Level
from groundstation.sound.rhythm import (
    COUNTDOWN_FROM_S,
    INSISTENT_TICKS,
    PATTERNS,
    REMINDER_TICKS,
    Rhythm,
    countdown_ticks,
)
from groundstation.vehicle.traces import TICK_S


def beats(level: Level | None, ticks: int, *, from_tick: int = 0) -> list[int]:
    """Return the ticks at which a level beats, counted from its beginning."""
    rhythm = Rhythm()
    return [
        tick for tick in range(ticks) if rhythm.beats(from_tick + tick, level=level, lift_in_s=None)
    ]


@pytest.mark.parametrize(
    ("level", "seconds", "expected_s"),
    [
        (None, 5.0, []),
        (Level.CLEAR, 5.0, []),
        (Level.THIN, 5.0, [0.0, 2.0, 4.0]),
        (Level.LIFT, 1.0, [0.0, 0.25, 0.5, 0.75]),
        (Level.LOST, 3.0, [0.0, 0.3, 0.6, 2.0, 2.3, 2.6]),
    ],
)
def test_each_level_has_its_rhythm(
    level: Level | None, seconds: float, expected_s: list[float]
) -> None:
    heard = beats(level, round(seconds / TICK_S), from_tick=7919)
    assert [tick * TICK_S for tick in heard] == pytest.approx(expected_s)


def test_a_tone_ends_before_the_next_beat() -> None:
    for pattern in PATTERNS.values():
        assert 0.05 <= pattern.sounding_s < pattern.beat_ticks * TICK_S


@pytest.mark.parametrize("level", [Level.THIN, Level.LIFT, Level.LOST])
def test_a_level_that_stays_becomes_a_reminder(level: Level) -> None:
    late = [tick for tick in beats(level, 1200) if tick >= INSISTENT_TICKS]
    groups = [tick for tick in late if tick % REMINDER_TICKS == 0]
    assert groups == list(range(INSISTENT_TICKS, 1200, REMINDER_TICKS))
    assert len(late) == len(groups) * PATTERNS[level].beats


def test_countdown_beats_faster_and_faster_but_never_as_fast_as_lift() -> None:
    lift_s = PATTERNS[Level.LIFT].repeat_ticks * TICK_S
    rhythm, heard_s, left_s = Rhythm(), list[float](), list[float]()
    for tick in range(round(8.0 / TICK_S)):
        lift_in_s = 8.0 - tick * TICK_S
        if rhythm.beats(tick, level=Level.THIN, lift_in_s=lift_in_s):
            heard_s.append(tick * TICK_S)
            left_s.append(lift_in_s)
    apart_s = [round(after - before, 6) for before, after in pairwise(heard_s)]
    counted = [apart for apart, left in zip(apart_s, left_s, strict=False) if left < 5.01]
    assert len(counted) > 8
    assert counted == sorted(counted, reverse=True)
    assert 0.75 < counted[0] <= 1.0
    assert counted[-1] == pytest.approx(0.3)
    assert min(counted) > lift_s


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_less_time_never_beats_slower(one_s: float, other_s: float) -> None:
    sooner_s, later_s = sorted((one_s, other_s))
    assert countdown_ticks(sooner_s) <= countdown_ticks(later_s)


@pytest.mark.parametrize("level", [Level.CLEAR, Level.LIFT, Level.LOST])
def test_only_thin_counts_down(level: Level) -> None:
    counted, plain = Rhythm(), Rhythm()
    for tick in range(200):
        assert counted.beats(tick, level=level, lift_in_s=1.0) == plain.beats(
            tick, level=level, lift_in_s=None
        )


def test_countdown_goes_on_when_the_level_has_long_been_thin() -> None:
    rhythm = Rhythm()
    for tick in range(INSISTENT_TICKS + 1):
        rhythm.beats(tick, level=Level.THIN, lift_in_s=COUNTDOWN_FROM_S + 0.1)
    heard = sum(
        rhythm.beats(INSISTENT_TICKS + 1 + tick, level=Level.THIN, lift_in_s=1.0)
        for tick in range(60)
    )
    assert heard == 10


def test_a_new_level_beats_at_once() -> None:
    rhythm = Rhythm()
    for tick in range(13):
        rhythm.beats(tick, level=Level.THIN, lift_in_s=None)
    assert rhythm.beats(13, level=Level.LIFT, lift_in_s=0.0)
    assert not rhythm.beats(14, level=Level.CLEAR, lift_in_s=None)
    assert rhythm.beats(15, level=Level.LOST, lift_in_s=None)


def test_going_back_in_a_replay_begins_anew() -> None:
    rhythm = Rhythm()
    for tick in range(100, 103):
        rhythm.beats(tick, level=Level.THIN, lift_in_s=None)
    assert rhythm.beats(50, level=Level.THIN, lift_in_s=None)
    assert [rhythm.beats(tick, level=Level.THIN, lift_in_s=None) for tick in (51, 90)] == [
        False,
        True,
    ]
