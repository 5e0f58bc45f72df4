"""What was measured on the walk: marks down, headings across, levels in dBm.

A level that is only a bound is written as one; a hold that runs is marked.
"""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.rangecheck.record import Hold, LevelKind
from groundstation.rangecheck.setting import HEADINGS_DEG
from groundstation.rangecheck.view import WalkView
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import UNKNOWN, line, number

SHORT_HEADINGS = {0: "nose away", 90: "left", 180: "towards", 270: "right"}
"""Where the nose points, as the driver sees it."""

_MARK_CELLS, _DISTANCE_CELLS, _LEVEL_CELLS = 8, 10, 11


def check_table(walk: WalkView, *, width: int, rows: int) -> list[Line]:
    """Return the table in `rows` rows; the newest marks stay where not all have room."""
    title = f" {'MARK':<{_MARK_CELLS - 1}}{'distance':>{_DISTANCE_CELLS}}"
    title += "".join(f"{SHORT_HEADINGS[each]:>{_LEVEL_CELLS}}" for each in HEADINGS_DEG)
    title += f"{'spread':>{_LEVEL_CELLS}}"
    drawn = [line(width, (title, Ink.TITLE), pad=Ink.TITLE)]
    marks = sorted({hold.mark for hold in walk.holds} | _running(walk))
    if not marks and rows > 1:
        drawn.append(line(width, ("  nothing measured yet", Ink.FAINT)))
    room = max(rows - len(drawn), 0)
    drawn += [_row(mark, walk, width) for mark in marks[max(len(marks) - room, 0) :]]
    return (drawn + [line(width)] * rows)[:rows]


def level_text(hold: Hold) -> str:
    """Return a hold's level; `--` where there was none, `≤` where it is only a bound."""
    text = number(hold.level_dbm, 1)
    return f"≤{text}" if hold.bounded and hold.level_dbm is not None else text


def _running(walk: WalkView) -> set[int]:
    return set() if walk.mark is None else {walk.mark}


def _row(mark: int, walk: WalkView, width: int) -> Line:
    held = {hold.heading_deg: hold for hold in walk.holds if hold.mark == mark}
    now = walk.mark == mark
    distance_m = walk.distance_m if now else next(iter(held.values())).distance_m
    by_fix = any(hold.by_fix for hold in held.values())
    runs: list[Run] = [
        (f" {'▶' if now else ' '} {mark + 1:<{_MARK_CELLS - 3}}", Ink.STRONG if now else Ink.TEXT),
        (f"{number(distance_m, 1 if by_fix else 0, 'm'):>{_DISTANCE_CELLS}}", Ink.STRONG),
    ]
    for heading_deg in HEADINGS_DEG:
        if now and walk.heading_deg == heading_deg and heading_deg not in held:
            runs.append((f"{'▶ ' + number(walk.level_dbm, 1):>{_LEVEL_CELLS}}", Ink.STRONG))
            continue
        hold = held.get(heading_deg)
        text = "·" if hold is None else level_text(hold)
        runs.append((f"{text:>{_LEVEL_CELLS}}", Ink.FAINT if hold is None else Ink.TEXT))
    runs.append((f"{_between(list(held.values())):>{_LEVEL_CELLS}}", Ink.TEXT))
    if any(hold.kind not in (LevelKind.DBM, LevelKind.NONE) for hold in held.values()):
        runs.append(("  mapped", Ink.FAINT))
    return line(width, *runs)


def _between(holds: Sequence[Hold]) -> str:
    """Return how far the worst heading lies under the best."""
    levels = [hold.level_dbm for hold in holds if hold.level_dbm is not None]
    return f"{max(levels) - min(levels):.1f} dB" if len(levels) > 1 else UNKNOWN
