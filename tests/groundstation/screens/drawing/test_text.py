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
    clauses,
    clean,
    fit,
    line,
    named,
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
    assert wrap(text, 20, 3) == ("the port is busy:", "close the other", "program")
    assert wrap(text, 20, 2) == ("the port is busy:", "close the other pro…")


def test_wrap_keeps_a_command_in_one_piece() -> None:
    text = "Plug it in; `groundstation sources` lists what is there"
    assert wrap(text, 29, 3) == ("Plug it in;", "`groundstation sources` lists", "what is there")
    assert wrap(text, 22, 4)[1:3] == ("`groundstation", "sources` lists what is")
    assert wrap("lowest margin 27.4 dB", 18, 2) == ("lowest margin", "27.4 dB")
    assert wrap("27.4 dB and more", 6, 9) == ("27.4", "dB and", "more")
    assert wrap("a stray ` is a mark like others", 12, 3) == (
        "a stray ` is",
        "a mark like",
        "others",
    )


@given(FOREIGN, st.integers(0, 30))
def test_clauses_never_exceed_their_width(text: str, width: int) -> None:
    assert cell_len(clauses(text, width)) <= width


def test_clauses_end_where_a_sentence_may_and_say_that_there_is_more() -> None:
    text = "There is no port. Plug it in; then look: 1.5 s, at most"
    assert clauses(text, len(text)) == text
    assert clauses(text, 40) == "There is no port. Plug it in; then look…"
    assert clauses(text, 39) == "There is no port. Plug it in…"
    assert clauses(text, 18) == "There is no port…"
    assert clauses(text, 12) == "There is no…"
    bracketed = "margin -2.9 dB at 5 % (expected 3.0 dB, weakest heading) at 136 m: far"
    assert clauses(bracketed, 40) == "margin -2.9 dB at 5 %…"
    assert (
        clauses(bracketed, 68)
        == "margin -2.9 dB at 5 % (expected 3.0 dB, weakest heading) at 136 m…"
    )


def test_what_happened_names_its_kind_once() -> None:
    assert named("mark", "second joint") == "mark: second joint"
    assert named("pass", "pass 2: peak 141.1 km/h") == "pass 2: peak 141.1 km/h"
    assert named("level", "LIFT: margin 2.6 dB") == "LIFT: margin 2.6 dB"
    assert named("source", "connected: simulated car") == "source connected: simulated car"
    assert named("source", "retrying") == "source retrying"


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
