"""Where a replay stands, on one row: time, a bar with the bookmarks, speed, paused or not."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import isinf

from groundstation.desk import Bookmark, ReplayState
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, clauses, line, named
from groundstation.wording import clock_text

_PLAYED, _TO_COME, _HERE = "━", "─", "┃"
_BOOKMARK, _LOUD_BOOKMARK = "╵", "▼"
NAMED_FOR_S = 1.0
"""A bookmark's text is shown while the replay stands at most this far behind it."""


def progress(state: ReplayState, bookmarks: Sequence[Bookmark], width: int) -> Line:
    """Return the progress row of a replay."""
    place = clock_text(state.position_s - state.start_s)
    length = clock_text(state.end_s - state.start_s)
    left: list[Run] = [(f" {_sign(state)} ", Ink.REPLAY), (f" {place}", Ink.STRONG)]
    left.append((f" / {length}  ", Ink.FAINT))
    right: list[Run] = [(f"  {speed_text(state.speed)} ", Ink.STRONG)]
    if here := _passed(state, bookmarks):
        right.insert(0, (f"  {clauses(named(here.kind, here.text), width // 4)}", Ink.TEXT))
    bar = _bar(state, bookmarks, max(width - cells(left) - cells(right), 0))
    return line(width, *left, *bar, *right)


def speed_text(speed: float) -> str:
    """Return a replay's speed in words: `x0.5`, `x1`, `max`."""
    return "max" if isinf(speed) else f"x{speed:g}"


def _sign(state: ReplayState) -> str:
    if state.ended:
        return "END"
    return "PAUSED" if state.paused else "PLAYING"


def _passed(state: ReplayState, bookmarks: Sequence[Bookmark]) -> Bookmark | None:
    place = bisect_right([mark.at_s for mark in bookmarks], state.position_s + 1e-6)
    if not place or state.position_s - bookmarks[place - 1].at_s > NAMED_FOR_S:
        return None
    return bookmarks[place - 1]


def _bar(state: ReplayState, bookmarks: Sequence[Bookmark], room: int) -> list[Run]:
    if room < 3:
        return [(" " * room, Ink.TEXT)]
    length_s = max(state.end_s - state.start_s, 1e-9)

    def cell(at_s: float) -> int:
        return min(max(int((at_s - state.start_s) / length_s * room), 0), room - 1)

    here = cell(state.position_s)
    marks = [_PLAYED if place < here else _TO_COME for place in range(room)]
    for bookmark in bookmarks:
        loud = bookmark.kind in ("level", "mark")
        if loud or marks[cell(bookmark.at_s)] != _LOUD_BOOKMARK:
            marks[cell(bookmark.at_s)] = _LOUD_BOOKMARK if loud else _BOOKMARK
    before, after = "".join(marks[:here]), "".join(marks[here + 1 :])
    return [(before, Ink.TEXT), (_HERE, Ink.STRONG), (after, Ink.FAINT)]
