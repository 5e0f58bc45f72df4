"""The parts of the range check's screen, row by row."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Verdict
from groundstation.rangecheck.view import Step
from groundstation.screens.drawing.check_figures import check_figures
from groundstation.screens.drawing.check_keys import check_keys_page, check_keys_row
from groundstation.screens.drawing.check_page import CheckLook, check_page
from groundstation.screens.drawing.check_plot import check_plot
from groundstation.screens.drawing.check_steps import steps
from groundstation.screens.drawing.check_table import check_table
from groundstation.screens.drawing.check_verdict import check_verdict, findings_in_order
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.text import as_text, cells
from tests.groundstation.screens.check_desks import (
    HOLDING,
    NOT_WALKED,
    SENSORS,
    check,
    check_scenes,
    holds,
    resting,
)


def test_a_step_that_was_left_out_is_to_do_until_the_verdict_and_then_no_ok() -> None:
    missing = Finding(rule=Rule.FAILSAFE, outcome=Outcome.MISSING, text="failsafe not proven yet")
    found = (SENSORS, (missing,), (), (missing,))
    walking = check(Step.WALK, "", findings=found)
    left_out = replace(walking.steps[1], done=False)
    order = (walking.steps[0], left_out, *walking.steps[2:])
    assert "○ 2 failsafe proof   to do" in as_text(steps(replace(walking, steps=order), 100))
    judged = check(Step.VERDICT, "", findings=found, verdict=Verdict.HOLD)
    order = (judged.steps[0], left_out, *judged.steps[2:])
    text = as_text(steps(replace(judged, steps=order), 100))
    assert "✗ 2 failsafe proof   HOLD    failsafe not proven yet" in text


def test_what_holds_comes_first_and_causes_before_what_comes_of_them() -> None:
    margin, level = HOLDING[1], HOLDING[0]
    view = check(
        Step.VERDICT, "", findings=((), (), (), (*SENSORS, margin, level)), verdict=Verdict.HOLD
    )
    assert findings_in_order(view)[:2] == [level, margin]
    assert findings_in_order(view)[2:] == list(SENSORS)


def test_reasons_without_room_are_counted_and_can_be_scrolled_to() -> None:
    view = check_scenes()["hold"].check_view
    first = as_text(check_verdict(view, width=80, rows=12, scale=2))
    assert "the throttle stayed at 10 %" in first
    assert "more: ↓" in first
    assert "pack 32.9 V" not in first
    last = as_text(check_verdict(view, width=80, rows=12, scale=2, first=7))
    assert "pack 32.9 V" in last
    assert "more" not in last.replace("more than", "")
    assert "pack 32.9 V" in as_text(check_verdict(view, width=80, rows=12, scale=2, first=99))


def test_where_there_is_room_the_walk_stands_under_the_reasons() -> None:
    view = check_scenes()["hold"].check_view
    assert "nose away" in as_text(check_verdict(view, width=120, rows=32, scale=4))
    assert "nose away" not in as_text(check_verdict(view, width=80, rows=17, scale=2))


def test_the_newest_marks_stay_in_a_small_table() -> None:
    walk = replace(NOT_WALKED, mark=5, distance_m=320.0, heading_deg=0, holds=holds(6))
    text = as_text(check_table(walk, width=80, rows=4))
    assert "320 m" in text
    assert "80 m" in text
    assert " 20 m" not in text


def test_the_spread_is_that_of_the_headings() -> None:
    walk = replace(NOT_WALKED, holds=holds(1))
    assert "2.4 dB" in as_text(check_table(walk, width=80, rows=3))
    walk = replace(NOT_WALKED, holds=holds(1, last=1))
    assert "--" in as_text(check_table(walk, width=80, rows=3))


def test_unknown_figures_are_never_zero() -> None:
    snapshot = replace(resting(None, failsafe_active=None), channels={})
    text = as_text(check_figures(snapshot, width=80, scale=1))
    assert "▀▀ ▀▀" in text
    assert "▟▀▙" not in text


def test_an_active_failsafe_takes_its_whole_figure() -> None:
    rows = check_figures(resting(failsafe_active=True), width=80, scale=1)
    assert all(any(ink is Ink.TROUBLE for _, ink in row) for row in rows)


@pytest.mark.parametrize("step", list(Step))
@pytest.mark.parametrize("width", [80, 120])
def test_every_key_of_a_step_has_room_and_is_explained(step: Step, width: int) -> None:
    row = as_text([check_keys_row(step, width)])
    assert row.rstrip().endswith("? keys  q quit")
    assert "t theme" in row
    page = as_text(check_keys_page(80, 23))
    keys = [text.strip() for text, ink in check_keys_row(step, width) if ink is Ink.KEY]
    for key in keys:
        assert f"  {key} " in page
    assert "what was measured is kept" in page


def test_trouble_with_the_recording_is_loud() -> None:
    desk = check_scenes()["trouble"]
    look = CheckLook(
        title=desk.title,
        snapshot=desk.snapshot,
        record=desk.record_state,
        check=desk.check_view,
        said="",
        width=80,
        rows=23,
    )
    assert "NOT RECORDING" in as_text(check_page(look))


def test_levels_are_drawn_over_distance_where_there_is_room() -> None:
    walk = replace(NOT_WALKED, holds=holds(4))
    rows = check_plot(walk, threshold_dbm=-100.0, width=100, rows=16)
    assert len(rows) == 16
    assert {cells(row) for row in rows} == {100}
    text = as_text(rows[1:])
    assert text.count("▲") == 4
    assert "-100 lost" in text
    assert text.split("\n")[-1].split() == ["10", "m", "20", "m", "40", "m", "80", "m"]
    # Farther is weaker: each mark stands lower and more to the right than the one before.
    places = [(y, row.index("▲")) for y, row in enumerate(text.split("\n")) if "▲" in row]
    assert places == sorted(places)
    assert [x for _, x in places] == sorted(x for _, x in places)
    assert check_plot(walk, threshold_dbm=-100.0, width=100, rows=7) == []
    assert check_plot(NOT_WALKED, threshold_dbm=-100.0, width=100, rows=16) == []


def test_one_mark_without_a_threshold_is_drawn_too() -> None:
    walk = replace(NOT_WALKED, holds=holds(1, last=1))
    text = as_text(check_plot(walk, threshold_dbm=None, width=60, rows=8))
    assert "▲" in text
    assert "lost" not in text
