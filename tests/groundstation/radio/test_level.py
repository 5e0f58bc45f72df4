"""The levels from CLEAR to LOST, their reasons and their hysteresis."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.radio.level import (
    RECOVERY_DB,
    RECOVERY_S,
    Level,
    LevelJudge,
    Limits,
    LinkView,
)

GOOD = LinkView(margin_db=30.0, received_percent=100.0, failsafe_active=False, silence_s=0.01)
LIMITS = Limits()


def judged(**changes: object) -> LevelJudge:
    judge = LevelJudge()
    judge.judge(0.0, view=replace(GOOD, **changes), limits=LIMITS)
    return judge


@pytest.mark.parametrize(
    ("changes", "level", "reason"),
    [
        ({}, Level.CLEAR, "margin 30.0 dB"),
        ({"margin_db": 10.0}, Level.CLEAR, "margin 10.0 dB"),
        ({"margin_db": 9.9}, Level.THIN, "margin 9.9 dB, under 10 dB"),
        ({"margin_db": 2.9}, Level.LIFT, "margin 2.9 dB, under 3 dB"),
        ({"margin_db": -4.0}, Level.LIFT, "margin -4.0 dB, under 3 dB"),
        ({"received_percent": 80.0}, Level.CLEAR, "margin 30.0 dB"),
        ({"received_percent": 50.0}, Level.THIN, "only 50 % of control packets received"),
        ({"received_percent": 79.0}, Level.THIN, "only 79 % of control packets received"),
        ({"received_percent": 49.0}, Level.LIFT, "only 49 % of control packets received"),
        ({"margin_db": None}, Level.CLEAR, "100 % of control packets received"),
        ({"silence_s": 0.5}, Level.LIFT, "no telemetry for 0.5 s"),
        ({"silence_s": 1.0}, Level.LOST, "no telemetry for 1.0 s"),
        ({"silence_s": 0.6}, Level.LIFT, "no telemetry for 0.6 s"),
        ({"silence_s": 1.2}, Level.LOST, "no telemetry for 1.2 s"),
        ({"failsafe_active": True}, Level.LOST, "failsafe active"),
        ({"failsafe_active": True, "margin_db": 2.0}, Level.LOST, "failsafe active"),
    ],
)
def test_level_and_its_reason(changes: dict[str, object], level: Level, reason: str) -> None:
    judge = judged(**changes)
    assert (judge.level, judge.reason) == (level, reason)


def test_nothing_known_is_no_level() -> None:
    assert judged(silence_s=None).level is None
    assert judged(margin_db=None, received_percent=None).level is None


def test_levels_are_ranked_worst_last() -> None:
    assert sorted(Level, key=lambda level: level.rank) == [
        Level.CLEAR,
        Level.THIN,
        Level.LIFT,
        Level.LOST,
    ]


def test_worse_is_taken_at_once_and_better_only_after_it_has_held() -> None:
    judge = judged()
    assert judge.judge(1.0, view=replace(GOOD, margin_db=8.0), limits=LIMITS)
    assert judge.level is Level.THIN
    assert not judge.judge(1.25, view=GOOD, limits=LIMITS)
    assert not judge.judge(1.25 + RECOVERY_S - 0.01, view=GOOD, limits=LIMITS)
    assert judge.judge(1.25 + RECOVERY_S, view=GOOD, limits=LIMITS)
    assert (judge.level, judge.since_s) == (Level.CLEAR, 1.25 + RECOVERY_S)


def test_a_margin_that_hovers_at_the_threshold_does_not_flicker() -> None:
    judge, changes = judged(), 0
    for tick in range(400):
        margin_db = 9.5 + (tick % 7) * RECOVERY_DB / 7
        view = replace(GOOD, margin_db=margin_db)
        changes += judge.judge(tick * 0.05, view=view, limits=LIMITS)
    assert changes == 1
    assert judge.level is Level.THIN


def test_recovery_starts_anew_when_the_link_dips_again() -> None:
    judge = judged(margin_db=8.0)
    good_at_s = (1.0, 1.5)
    for at_s in good_at_s:
        assert not judge.judge(at_s, view=GOOD, limits=LIMITS)
    assert not judge.judge(1.9, view=replace(GOOD, margin_db=9.0), limits=LIMITS)
    assert not judge.judge(2.1, view=GOOD, limits=LIMITS)
    assert judge.judge(2.1 + RECOVERY_S, view=GOOD, limits=LIMITS)


def test_the_reason_follows_the_figures_while_the_level_stands() -> None:
    judge = judged(margin_db=9.0)
    assert not judge.judge(0.1, view=replace(GOOD, margin_db=6.0), limits=LIMITS)
    assert judge.reason == "margin 6.0 dB, under 10 dB"


AHEAD = {"stop_margin_p05_db": 12.0, "stop_point_m": 412.0}


@pytest.mark.parametrize(
    ("changes", "level", "reason"),
    [
        ({}, Level.CLEAR, "stop margin 12.0 dB (5 %): stops at 412 m"),
        (
            {"stop_margin_p05_db": 7.5},
            Level.THIN,
            "stop margin 7.5 dB (5 %), under 10 dB: stops at 412 m",
        ),
        (
            {"stop_margin_p05_db": -2.9},
            Level.LIFT,
            "stop margin -2.9 dB (5 %), under -2.5 dB: stops at 412 m",
        ),
        (
            {"stop_margin_p05_db": -2.9, "brakes": True},
            Level.THIN,
            "stop margin -2.9 dB (5 %): stops at 412 m, brakes already",
        ),
        (
            {"stop_margin_p05_db": -2.5, "brakes": True},
            Level.THIN,
            "stop margin -2.5 dB (5 %), under 10 dB: stops at 412 m",
        ),
        (
            {"stop_margin_p05_db": -2.9, "brakes": True, "margin_db": 3.0},
            Level.THIN,
            "stop margin -2.9 dB (5 %): stops at 412 m, brakes already",
        ),
        (
            {"stop_margin_p05_db": -2.9, "brakes": True, "margin_db": 2.0},
            Level.LIFT,
            "stop margin -2.9 dB (5 %), under -2.5 dB: stops at 412 m",
        ),
        ({"silence_s": 0.6}, Level.THIN, "no telemetry for 0.6 s"),
        (
            {"silence_s": 0.6, "stop_margin_p05_db": -2.9},
            Level.LIFT,
            "no telemetry for 0.6 s, stop margin -2.9 dB (5 %), under -2.5 dB: stops at 412 m",
        ),
        ({"silence_s": 1.1}, Level.LOST, "no telemetry for 1.1 s"),
        ({"received_percent": 40.0}, Level.LIFT, "only 40 % of control packets received"),
    ],
)
def test_the_forecast_decides_where_there_is_one(
    changes: dict[str, object], level: Level, reason: str
) -> None:
    judge = judged(**{**AHEAD, **changes})
    assert (judge.level, judge.reason) == (level, reason)


def test_a_weak_link_that_grows_stronger_is_thin_at_worst() -> None:
    judge = judged(coming_nearer=True, margin_db=1.0)
    assert (judge.level, judge.reason) == (Level.THIN, "margin 1.0 dB, coming nearer")


@pytest.mark.parametrize(
    ("changes", "level", "reason"),
    [
        ({}, Level.CLEAR, "margin 30.0 dB, coming nearer"),
        ({"margin_db": 3.0}, Level.CLEAR, "margin 3.0 dB, coming nearer"),
        # No level: the packets that come in are all there is to go by.
        ({"margin_db": None}, Level.CLEAR, "100 % of control packets received"),
        ({"margin_db": None, "received_percent": None}, None, ""),
        ({"silence_s": 0.6}, Level.THIN, "no telemetry for 0.6 s"),
    ],
)
def test_coming_nearer_is_judged_by_the_margin_now(
    changes: dict[str, object], level: Level | None, reason: str
) -> None:
    judge = judged(**{**AHEAD, "stop_margin_p05_db": -9.0, "coming_nearer": True, **changes})
    assert (judge.level, judge.reason) == (level, reason)


def test_the_reason_of_a_better_level_is_its_own() -> None:
    judge = judged(margin_db=8.0)
    for at_s in (1.0, 1.0 + RECOVERY_S):
        judge.judge(at_s, view=GOOD, limits=LIMITS)
    assert (judge.level, judge.reason) == (Level.CLEAR, "margin 30.0 dB")


def test_while_it_recovers_the_old_reason_stands_and_unknown_changes_nothing() -> None:
    judge = judged(margin_db=8.0)
    assert not judge.judge(0.5, view=GOOD, limits=LIMITS)
    assert not judge.judge(0.6, view=replace(GOOD, silence_s=None), limits=LIMITS)
    assert (judge.level, judge.reason, judge.since_s) == (
        Level.THIN,
        "margin 8.0 dB, under 10 dB",
        0.0,
    )
    assert judge.better_since_s == 0.5


def test_a_driver_who_brakes_is_let_off_only_with_margin_to_spare() -> None:
    judge = judged(**AHEAD | {"stop_margin_p05_db": -2.9})
    braking = replace(GOOD, **AHEAD | {"stop_margin_p05_db": -1.0, "brakes": True})
    for at_s in (1.0, 1.0 + RECOVERY_S):
        judge.judge(at_s, view=braking, limits=LIMITS)
    assert (judge.level, judge.reason) == (
        Level.THIN,
        "stop margin -1.0 dB (5 %): stops at 412 m, brakes already",
    )
    # Weak where it is, by less than the margin to spare: no better than it was.
    judge = judged(**AHEAD | {"stop_margin_p05_db": -2.9})
    weak = replace(braking, margin_db=4.0)
    for at_s in (1.0, 1.0 + RECOVERY_S):
        judge.judge(at_s, view=weak, limits=LIMITS)
    assert judge.level is Level.LIFT


def test_coming_nearer_is_clear_only_with_margin_to_spare() -> None:
    judge = judged(coming_nearer=True, margin_db=1.0)
    for margin_db, level in ((4.9, Level.THIN), (5.0, Level.CLEAR)):
        view = replace(GOOD, coming_nearer=True, margin_db=margin_db)
        for at_s in (1.0, 1.0 + RECOVERY_S):
            judge.judge(at_s, view=view, limits=LIMITS)
        assert judge.level is level
