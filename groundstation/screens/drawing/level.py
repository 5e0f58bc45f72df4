"""The control link's level: its mark, its row over the full width, its large word.

Four things carry it, each enough without the others: the word, the shape of the mark, reverse
video from LIFT on, and the ink.
"""

from __future__ import annotations

from rich.cells import cell_len

from groundstation.radio.level import Level
from groundstation.screens.drawing.fix import fix_trouble
from groundstation.screens.drawing.glyphs import large, largest_scale, rows_of
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import UNKNOWN, blank, cells, clean, fit, line, spread
from groundstation.vehicle.snapshot import Snapshot

MARKS = {Level.CLEAR: "●", Level.THIN: "◆", Level.LIFT: "▲", Level.LOST: "■"}
INKS = {Level.CLEAR: Ink.CLEAR, Level.THIN: Ink.THIN, Level.LIFT: Ink.LIFT, Level.LOST: Ink.LOST}
BARS = {Level.LIFT: Ink.LIFT_BAR, Level.LOST: Ink.LOST_BAR}
"""Levels that take the screen's attention."""

COUNTED_BELOW_S = 10.0
"""From here on the time to the lift takes the place of the level's large word."""

CALM_SCALE = 2
"""Largest scale of CLEAR: a level that is no trouble stays calm."""


def banner(snapshot: Snapshot, width: int, *, range_check: str = "") -> Line:
    """Return the row that says the level and its reason.

    While it is calm, also why distances do not come from a fix, and how the range check stands.
    """
    level, trouble = snapshot.level, fix_trouble(snapshot)
    right: list[Run] = [(f"  {trouble} ", Ink.THIN)] if trouble else []
    if level is None:
        if snapshot.control.rssi_dbm is not None and snapshot.control.threshold_dbm is None:
            said = " ○ no margin: the threshold is not known; give --threshold"
            return spread(width, [(said, Ink.STRONG)], right)
        return spread(width, [(" ○ control link not known yet", Ink.FAINT)], right)
    mark, reason = MARKS[level], clean(snapshot.level_reason)
    lift_in_s = snapshot.forecast.lift_in_s
    if bar := BARS.get(level):
        signs = f"{mark}{mark}{mark}"
        end = f" {level} {signs} "
        text = fit(f" {signs} {level}  {reason}", max(width - len(end), 0))
        return spread(width, [(text, bar)], [(end, bar)], pad=bar)
    if lift_in_s is not None:
        reason = f"LIFT in {lift_in_s:.{int(lift_in_s < COUNTED_BELOW_S)}f} s  {reason}"
    room = max(width - len(level) - 5 - cells(right), 0)
    end = f"  {fit(range_check, width * 3 // 5)} " if range_check else ""
    if cell_len(reason) + cell_len(end) <= room:
        right.append((end, Ink.LABEL))
    left = (f" {mark} {level}  ", INKS[level]), (fit(reason, room), Ink.STRONG)
    return spread(width, left, right)


def block(
    snapshot: Snapshot, *, width: int, scale: int, calm_scale: int = CALM_SCALE
) -> list[Line]:
    """Return the large word under its label, `rows_of(scale) + 1` rows."""
    level = snapshot.level
    bar = BARS.get(level) if level else None
    ink = bar or (INKS[level] if level else Ink.FAINT)
    ground = bar or Ink.TEXT
    word: str = level or UNKNOWN
    counted = _counted(snapshot)
    wanted = min(scale, calm_scale) if level is Level.CLEAR else scale
    fitting = largest_scale(word, width=width - 2, scale=wanted)
    label = " CONTROL LINK"
    if level and counted is not None:
        word, label = f"{counted:.1f}", f" LIFT IN s  {MARKS[level]} {level}"
        fitting = largest_scale(word, width=width - 2, scale=scale)
    title = bar or Ink.TITLE
    rows = [line(width, (label, title), pad=title)]
    if fitting:
        rows += [line(width, (f" {text}", ink), pad=ground) for text in large(word, fitting)]
    else:
        rows.append(line(width, (f" {word}", ink), pad=ground))
    if level and len(rows) < rows_of(scale):
        rows.append(blank(width, ground))
        held_s = max(snapshot.at_s - snapshot.level_since_s, 0.0)
        rows.append(line(width, (f" {MARKS[level]} for {_duration(held_s)}", ground), pad=ground))
    rows += [blank(width, ground)] * (rows_of(scale) + 1 - len(rows))
    return rows[: rows_of(scale) + 1]


def _counted(snapshot: Snapshot) -> float | None:
    """Return the seconds to the lift point where they are counted down."""
    lift_in_s = snapshot.forecast.lift_in_s
    if lift_in_s is None or lift_in_s >= COUNTED_BELOW_S or snapshot.level in BARS:
        return None
    return lift_in_s


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
