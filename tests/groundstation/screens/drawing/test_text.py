from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.text import (
    ago,
    as_text,
    beside,
    cells,
    clean,
    fit,
    line,
    number,
    spread,
    wrap,
)

FOREIGN = st.text(max_size=40)


@given(FOREIGN)
def test_clean_text_holds_nothing_that_moves_a_cursor_or_takes_no_cell(text: str) -> None:
    cleaned = clean(text)
    assert cleaned.isprintable()
    assert all(cell_len(mark) > 0 for mark in cleaned)


@given(FOREIGN, st.integers(0, 30))
def test_fit_never_exceeds_its_width(text: str, width: int) -> None:
    assert cell_len(fit(text, width)) <= width


@given(FOREIGN, FOREIGN, st.integers(0, 50))
def test_a_line_is_exactly_as_wide_as_asked(left: str, right: str, width: int) -> None:
    row = line(width, (clean(left), Ink.TEXT), (clean(right), Ink.STRONG))
    assert cells(row) == width
    assert cells(spread(width, [(clean(left), Ink.TEXT)], [(clean(right), Ink.TEXT)])) == width


@given(FOREIGN, st.integers(1, 20), st.integers(1, 4))
def test_wrapped_text_keeps_to_its_box(text: str, width: int, rows: int) -> None:
    wrapped = wrap(text, width, rows)
    assert len(wrapped) <= rows
    assert all(cell_len(row) <= width for row in wrapped)


def test_wrap_breaks_at_spaces_and_cuts_with_an_ellipsis() -> None:
    text = "the port is busy: close the other program"
    assert wrap(text, 20, 3) == ["the port is busy:", "close the other", "program"]
    assert wrap(text, 20, 2) == ["the port is busy:", "close the other pro…"]


def test_markup_is_text_like_any_other() -> None:
    assert clean("[red]x[/]") == "[red]x[/]"
    assert clean("\x1b[31mx\x07") == "\ufffd[31mx\ufffd"
    assert clean("a\u202eb\u200bc") == "a\ufffdb\ufffdc"


def test_spread_keeps_the_right_end() -> None:
    row = spread(12, [("a long left end", Ink.TEXT)], [("right", Ink.STRONG)])
    assert as_text([row]) == "a long right"


def test_neighbours_of_one_ink_become_one_run() -> None:
    assert line(6, ("ab", Ink.TEXT), ("cd", Ink.TEXT)) == (("abcd  ", Ink.TEXT),)


def test_blocks_side_by_side_are_filled_up() -> None:
    tall = [line(3, (text, Ink.TEXT)) for text in ("a", "b")]
    assert as_text(beside((3, tall), (2, tall[:1]))) == "a  a \nb    "


def test_unknown_is_never_a_number() -> None:
    assert number(None, 1) == "--"
    assert number(None, 0, "dB") == "-- dB"
    assert number(0.0, 0, "dB") == "0 dB"


def test_a_rounded_zero_has_no_sign() -> None:
    assert number(-0.04, 1) == "0.0"
    assert number(-0.06, 1) == "-0.1"


def test_age_in_words() -> None:
    assert ago(3.24) == "3.2 s ago"
    assert ago(99.97) == "2 min ago"
    assert ago(600) == "10 min ago"
