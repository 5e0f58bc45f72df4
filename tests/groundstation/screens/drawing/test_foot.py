"""The progress of a replay, the keys, and how the rows of a screen are shared out."""

from __future__ import annotations

from math import inf

import pytest

from groundstation.desk import Bookmark, ReplayState
from groundstation.screens.drawing.keys import entry_row, keys_page, keys_row
from groundstation.screens.drawing.plan import Plan, plan
from groundstation.screens.drawing.progress import progress, speed_text
from groundstation.screens.drawing.text import as_text, cells

BOOKMARKS = (
    Bookmark(10.0, "pass", "pass 1"),
    Bookmark(50.0, "level", "LIFT: margin 2.6 dB"),
)


def state(position_s: float = 0.0, **changes: object) -> ReplayState:
    fields = {"start_s": 0.0, "end_s": 100.0, "speed": 1.0, "paused": False, "ended": False}
    return ReplayState(position_s, **(fields | changes))  # type: ignore[arg-type]


def shown(replay: ReplayState, width: int = 80) -> str:
    row = progress(replay, BOOKMARKS, width)
    assert cells(row) == width
    return as_text([row])


def test_progress_says_where_how_fast_and_how_long() -> None:
    text = shown(state(25.0, speed=2.0))
    assert " PLAYING " in text
    assert "0:25.0 / 1:40.0" in text
    assert text.rstrip().endswith("x2")


def test_paused_and_ended_are_words() -> None:
    assert " PAUSED " in shown(state(25.0, paused=True))
    assert " END " in shown(state(100.0, ended=True))


def test_the_bar_is_played_up_to_here_and_holds_the_bookmarks() -> None:
    text = shown(state(25.0))
    bar = text[text.index("━") : text.rindex("─") + 1]
    here = bar.index("┃")
    assert here == int(len(bar) * 0.25)
    assert bar.index("╵") == int(len(bar) * 0.10)
    assert bar.index("▼") == int(len(bar) * 0.50)
    assert set(bar[:here]) == {"━", "╵"}
    assert set(bar[here + 1 :]) == {"─", "▼"}


def test_a_bookmark_just_passed_is_named() -> None:
    assert "  pass 1  x1" in shown(state(10.4))
    assert "  pass 1  x1" not in shown(state(12.0))
    assert "  pass 1  x1" not in shown(state(9.9))


@pytest.mark.parametrize("position_s", [-5.0, 0.0, 100.0, 500.0])
@pytest.mark.parametrize("width", [1, 10, 30, 80, 200])
def test_progress_fits_any_width(position_s: float, width: int) -> None:
    shown(state(position_s), width)


def test_an_empty_recording_has_a_progress_too() -> None:
    shown(state(0.0, end_s=0.0))


def test_speeds_in_words() -> None:
    assert [speed_text(speed) for speed in (0.1, 1.0, 50.0, inf)] == ["x0.1", "x1", "x50", "max"]


def test_the_foot_names_the_keys_in_80_columns() -> None:
    live = as_text([keys_row(replay=None, width=80)])
    replay = as_text([keys_row(replay=state(25.0), width=80)])
    assert live.split() == [
        "m",
        "mark",
        "s",
        "stand",
        "here",
        "d",
        "distance",
        "b",
        "big",
        "u",
        "units",
        "c",
        "channels",
        "?",
        "keys",
        "q",
        "quit",
    ]
    for said in ("space pause", "[ ] speed", "n p marks", "g go to", "? keys", "q quit"):
        assert said in replay
    assert "mark " not in replay


@pytest.mark.parametrize(
    ("changes", "does"),
    [({}, "space pause"), ({"paused": True}, "space go on"), ({"ended": True}, "space again")],
)
def test_the_foot_says_what_the_space_bar_does_now(changes: dict[str, object], does: str) -> None:
    assert as_text([keys_row(replay=state(25.0, **changes), width=80)]).startswith(f" {does} ")


def test_while_waiting_the_foot_names_only_keys_that_do_something() -> None:
    row = as_text([keys_row(replay=None, width=80, is_waiting=True)])
    assert row.split() == ["t", "theme", "?", "keys", "q", "quit"]


@pytest.mark.parametrize("width", [1, 14, 30, 60])
def test_help_and_quit_are_the_last_keys_to_go(width: int) -> None:
    for replay in (None, state(25.0)):
        row = keys_row(replay=replay, width=width)
        assert cells(row) == width
        assert width < 16 or "q quit" in as_text([row])


@pytest.mark.parametrize("is_replay", [False, True])
@pytest.mark.parametrize(("width", "rows"), [(80, 10), (80, 11), (120, 21)])
def test_the_page_of_keys_explains_every_key(is_replay: bool, width: int, rows: int) -> None:
    page = keys_page(is_replay=is_replay, width=width, rows=rows)
    assert len(page) == rows
    assert {cells(row) for row in page} == {width}
    words = as_text(page).split()
    keys = ["space", "←→", ",", ".", "[", "]", "n", "p", "g"] if is_replay else ["m"]
    assert {*keys, "u", "t", "c", "d", "b", "escape", "?", "q"} <= set(words)
    assert "Advice only" in as_text(page)


def test_a_typed_time_and_a_complaint() -> None:
    assert "1:2▏" in as_text([entry_row("1:2", "", 80)])
    assert "not a time" in as_text([entry_row("::", "not a time", 80)])


def rows_of_plan(rows: Plan) -> int:
    above = rows.header + rows.trouble + rows.banner + rows.figures
    return above + rows.charts + rows.details + rows.progress + rows.keys


@pytest.mark.parametrize("width", [1, 40, 76, 80, 110, 120, 160, 250])
@pytest.mark.parametrize("is_replay", [False, True])
@pytest.mark.parametrize("has_trouble", [False, True])
def test_a_plan_uses_every_row(width: int, is_replay: bool, has_trouble: bool) -> None:
    for height in range(1, 90):
        rows = plan(width, height, is_replay=is_replay, has_trouble=has_trouble)
        assert rows_of_plan(rows) == height
        assert min(rows.charts, rows.details, rows.figures) >= 0


@pytest.mark.parametrize("width", [1, 40, 80, 250])
@pytest.mark.parametrize("is_replay", [False, True])
@pytest.mark.parametrize("has_trouble", [False, True])
def test_large_figures_use_every_row(width: int, is_replay: bool, has_trouble: bool) -> None:
    for height in range(1, 90):
        rows = plan(
            width, height, is_replay=is_replay, has_trouble=has_trouble, has_course=True,
            is_large=True,
        )  # fmt: skip
        assert rows_of_plan(rows) == height
        assert rows.banner == 1
        assert rows.course == 0
        if height >= 13:
            assert (rows.header, rows.keys) == (1, 1)
            assert (rows.trouble, rows.progress) == (has_trouble, is_replay)


def test_80x24_holds_all_essentials() -> None:
    for is_replay in (False, True):
        rows = plan(80, 24, is_replay=is_replay, has_trouble=not is_replay)
        assert (rows.scale, rows.lower_scale) == (2, 1)
        assert rows.charts >= 6
        assert rows.details >= 4


def test_a_larger_screen_gets_larger_figures_and_lists_side_by_side() -> None:
    rows = plan(120, 40, is_replay=False, has_trouble=False)
    assert (rows.scale, rows.lower_scale, rows.wide) == (3, 2, True)
    assert rows.charts >= 12


def test_the_level_is_the_last_thing_to_go() -> None:
    for height in range(1, 24):
        rows = plan(60, height, is_replay=True, has_trouble=True)
        assert rows.banner == 1
        assert rows.figures >= 4 or height < 5
