from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import cells, line
from groundstation.screens.widgets.panel import changed_cells

RUNS = st.lists(st.tuples(st.text("ab█ ", max_size=5), st.sampled_from([Ink.TEXT, Ink.LABEL])))


def spread_out(row: Line) -> list[tuple[str, Ink]]:
    return [(mark, ink) for text, ink in row for mark in text]


@given(RUNS, RUNS)
def test_redrawing_only_the_changed_cells_gives_the_new_line(
    before: list[tuple[str, Ink]], after: list[tuple[str, Ink]]
) -> None:
    old, new = line(12, *before), line(12, *after)
    start, end = changed_cells(old, new)
    on_screen = spread_out(old)
    on_screen[start:end] = spread_out(new)[start:end]
    assert on_screen == spread_out(new)


def test_only_the_cells_that_differ_are_changed() -> None:
    old = line(10, ("speed ", Ink.LABEL), ("128", Ink.TEXT))
    new = line(10, ("speed ", Ink.LABEL), ("138", Ink.TEXT))
    assert changed_cells(old, new) == (7, 8)


def test_a_change_of_ink_is_a_change() -> None:
    old, new = line(4, ("abcd", Ink.TEXT)), line(4, ("ab", Ink.TEXT), ("cd", Ink.STALE))
    assert changed_cells(old, new) == (2, 4)


def test_a_line_of_another_width_is_drawn_whole() -> None:
    narrow = line(8, ("left", Ink.TEXT), ("end", Ink.LABEL))
    wide = line(20, ("left", Ink.TEXT), ("    " * 3, Ink.TEXT), ("end", Ink.LABEL))
    assert changed_cells(narrow, wide) == (0, 20)


def test_wide_characters_count_as_two_cells() -> None:
    old = line(8, ("\U0001f600ab", Ink.TEXT))
    new = line(8, ("\U0001f600ac", Ink.TEXT))
    assert changed_cells(old, new) == (3, 4)
    assert cells(new) == 8


@pytest.mark.parametrize("text", ["", "abc"])
def test_a_line_changed_into_itself_still_has_an_end(text: str) -> None:
    row = line(5, (text, Ink.TEXT))
    start, end = changed_cells(row, row)
    assert 0 <= start < end
