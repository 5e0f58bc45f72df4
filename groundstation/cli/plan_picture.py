"""The margins of a course plan as a picture of characters, told apart by shape and not by colour.

What is judged by is a line, the bounds above and below it are dots; the margin to be kept is a
stroke across, no margin a broken one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import floor

import numpy as np

from groundstation.planning.plan import Plan
from groundstation.screens.drawing.axis import Axis, round_up
from groundstation.screens.drawing.plots import band, row_of

GUTTER = 7
HEAD_DB, STEP_DB = 60.0, 20.0
"""Beside the transmitter there is more than that; it would only press the rest flat."""

DOT_STEP = 6
"""Half cells from one dot of a bound to the next."""

_BLANK_BRAILLE = 0x2800
_KEPT, _NOTHING_LEFT = "─", "╌"
_DRIVER, _LIFT, _FAR_END, _STOP = "◇", "△", "┼", "□"
_FIGURES = 6


def picture(plan: Plan, *, width: int, rows: int) -> list[str]:
    """Return the picture, its axes and what its marks mean.

    Args:
        plan: The plan.
        width: In cells.
        rows: Of the plot alone.
    """
    count = width - GUTTER - 1
    start_m = min(0.0, plan.course.stands_at_m)
    end_m = max(plan.course.stop_at_m, plan.course.stands_at_m)
    along_m = start_m + (np.arange(2 * count) + 0.5) / (2 * count) * (end_m - start_m)
    found = plan.margins_at(along_m)
    lowest_db = min(float(np.min(found.plane_earth_db)), float(np.min(found.deciding_db)))
    axis = Axis(min(STEP_DB * floor(lowest_db / STEP_DB), 0.0), HEAD_DB)
    plot = _over(
        _curve(found.deciding_db, axis, rows),
        _curve(found.free_space_db, axis, rows, dotted=True),
        _curve(found.plane_earth_db, axis, rows, dotted=True),
    )
    figures = {0: f"{axis.high:g}", rows - 1: f"{axis.low:g}"}
    for value_db, stroke in ((0.0, _NOTHING_LEFT), (plan.required_margin_db, _KEPT)):
        if axis.low < value_db < axis.high:
            row = row_of(value_db, axis, rows)
            plot[row] = plot[row].replace(" ", stroke)
            figures[row] = f"{value_db:.1f}".removesuffix(".0")
    drawn = [
        f"{figures.get(row, ''):>{GUTTER - 1}} {'┤' if row in figures else '│'}{text}"
        for row, text in enumerate(plot)
    ]

    def cell(at_m: float) -> int:
        return min(max(int((at_m - start_m) / (end_m - start_m) * count), 0), count - 1)

    marks = [(0.0, ""), (plan.course.stands_at_m, _DRIVER), (plan.course.length_m, _FAR_END)]
    if plan.reach.lift_at_m is not None and plan.reach.lift_at_m < plan.course.length_m:
        marks.append((plan.reach.lift_at_m, _LIFT))
    marks.append((plan.course.stop_at_m, _STOP))
    foot = ["─"] * count
    for at_m, mark in marks:
        if mark:
            foot[cell(at_m)] = mark
    drawn.append(" " * GUTTER + "└" + "".join(foot))
    drawn.append(_distances([start_m, end_m], cell, width))
    named = {_DRIVER: "you", _LIFT: "lift here", _FAR_END: "far end", _STOP: "stop point"}
    used = [mark for _, mark in sorted(marks) if mark]
    drawn.append(" " * (GUTTER + 1) + "   ".join(f"{mark} {named[mark]}" for mark in used))
    return drawn


def _curve(values_db: np.ndarray, axis: Axis, rows: int, *, dotted: bool = False) -> list[str]:
    spans = [
        None if value > axis.high or (dotted and place % DOT_STEP) else (float(value), float(value))
        for place, value in enumerate(values_db)
    ]
    return band(spans, axis, rows)


def _over(*plots: Sequence[str]) -> list[str]:
    """Return plots of braille dots laid over one another."""
    drawn = []
    for texts in zip(*plots, strict=True):
        cells = []
        for marks in zip(*texts, strict=True):
            bits = 0
            for mark in marks:
                bits |= 0 if mark == " " else ord(mark) - _BLANK_BRAILLE
            cells.append(chr(_BLANK_BRAILLE + bits) if bits else " ")
        drawn.append("".join(cells))
    return drawn


def _distances(ends_m: Sequence[float], cell: Callable[[float], int], width: int) -> str:
    """Return the row of round distances under the axis."""
    start_m, end_m = ends_m
    step_m = round_up((end_m - start_m) / _FIGURES, least=0.1)
    text = [" "] * width
    free = 0
    at_m = step_m * -floor(-start_m / step_m) if start_m < 0 else 0.0
    while at_m <= end_m:
        figure = f"{at_m:g}"
        first = GUTTER + 1 + cell(at_m)
        if first >= free and first + len(figure) <= width:
            text[first : first + len(figure)] = figure
            free = first + len(figure) + 1
        at_m += step_m
    unit_at = min(free, width - 1)
    text[unit_at : unit_at + 1] = "m"
    return "".join(text).rstrip()
