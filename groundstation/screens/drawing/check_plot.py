"""The levels of a walk over the distance, with the threshold below which the control link is lost.

Both axes are those of the log-distance law: on them a fit is a straight line, and a mark that was
typed wrong stands out.
"""

from __future__ import annotations

from collections.abc import Callable
from math import log10

from groundstation.rangecheck.record import Hold
from groundstation.rangecheck.view import WalkView
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import line, number

HEADING_MARKS = {0: "▲", 90: "◀", 180: "▼", 270: "▶"}
"""The car's nose, the driver at the foot."""

_ASIDE_CELLS = {0: -3, 90: -1, 180: 1, 270: 3}
"""Beside the place of their mark, so that none hides another."""

LEAST_ROWS = 8
_LABEL_CELLS = 10
_AIR_DB = 4.0
_AIR_DECADES = 0.08


def check_plot(walk: WalkView, *, threshold_dbm: float | None, width: int, rows: int) -> list[Line]:
    """Return the plot in `rows` rows; none where nothing has a level or there is no room."""
    held = [(hold, hold.level_dbm) for hold in walk.holds if hold.level_dbm is not None]
    if not held or rows < LEAST_ROWS:
        return []
    drawn_rows, columns = rows - 2, max(width - _LABEL_CELLS - 2, 1)
    levels = [level_dbm for _, level_dbm in held]
    lowest = min(levels) if threshold_dbm is None else min(*levels, threshold_dbm)
    low_dbm, high_dbm = lowest - _AIR_DB, max(levels) + _AIR_DB
    decades = [log10(hold.distance_m) for hold, _ in held]
    first, last = min(decades) - _AIR_DECADES, max(decades) + _AIR_DECADES

    def row_of(dbm: float) -> int:
        share = (high_dbm - dbm) / (high_dbm - low_dbm)
        return min(int(share * drawn_rows), drawn_rows - 1)

    def column_of(distance_m: float) -> int:
        share = (log10(distance_m) - first) / (last - first)
        return min(int(share * columns), columns - 1)

    grid = [[" "] * columns for _ in range(drawn_rows)]
    threshold_row = None if threshold_dbm is None else row_of(threshold_dbm)
    if threshold_row is not None:
        grid[threshold_row] = ["╌"] * columns
    for hold, level_dbm in held:
        mark = HEADING_MARKS.get(hold.heading_deg, "●")
        aside = column_of(hold.distance_m) + _ASIDE_CELLS.get(hold.heading_deg, 0)
        grid[row_of(level_dbm)][min(max(aside, 0), columns - 1)] = mark
    labels = {0: f"{high_dbm:.0f}", drawn_rows - 1: f"{low_dbm:.0f}"}
    if threshold_row is not None and threshold_dbm is not None:
        labels[threshold_row] = f"{threshold_dbm:.0f} lost"
    drawn = [_title(width)]
    for place, cells in enumerate(grid):
        ink = Ink.LIMIT if place == threshold_row else Ink.FIGURE
        label = f" {labels.get(place, ''):>{_LABEL_CELLS - 1}} "
        axis = "┤" if place in labels else "│"
        drawn.append(line(width, (label, Ink.AXIS), (axis, Ink.AXIS), ("".join(cells), ink)))
    drawn.append(_distances([hold for hold, _ in held], column_of, width))
    return drawn


def _title(width: int) -> Line:
    shapes = "   ".join(
        f"{HEADING_MARKS[heading]} {words}"
        for heading, words in ((0, "nose away"), (90, "left"), (180, "towards"), (270, "right"))
    )
    return line(width, (f" LEVEL dBm over distance   {shapes}", Ink.TITLE), pad=Ink.TITLE)


def _distances(holds: list[Hold], column_of: Callable[[float], int], width: int) -> Line:
    runs: list[Run] = [(" " * (_LABEL_CELLS + 2), Ink.AXIS)]
    taken = 0
    for distance_m in sorted({hold.distance_m for hold in holds}):
        text = number(distance_m, 0, "m")
        start = max(column_of(distance_m) - len(text) // 2, 0)
        if start < taken or start + len(text) > width - _LABEL_CELLS - 2:
            continue
        runs.append((" " * (start - taken) + text + " ", Ink.AXIS))
        taken = start + len(text) + 1
    return line(width, *runs)
