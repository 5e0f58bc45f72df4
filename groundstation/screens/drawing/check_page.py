"""The whole screen of a range check, but for the keys at its foot.

The steps and the instruction never move. Below them stand the live figures and the table of the
walk; at the end the verdict takes their place.
"""

from __future__ import annotations

from dataclasses import dataclass

from groundstation import cautions
from groundstation.desk import RecordState
from groundstation.rangecheck.setting import HEADINGS_DEG
from groundstation.rangecheck.view import CheckView, Step
from groundstation.screens.drawing.check_figures import check_figures
from groundstation.screens.drawing.check_plot import check_plot
from groundstation.screens.drawing.check_steps import steps
from groundstation.screens.drawing.check_table import check_table
from groundstation.screens.drawing.check_verdict import check_verdict, so_far
from groundstation.screens.drawing.glyphs import rows_of
from groundstation.screens.drawing.header import header, trouble_row
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, fit, line, spread, wrap
from groundstation.vehicle.snapshot import Snapshot

_LARGE_FROM = (110, 34)
"""Columns and rows from which figures and verdict are drawn large."""

_CAUTIONS = {Step.FAILSAFE: cautions.PROOF, Step.WALK: cautions.CARRIED}


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLook:
    """Everything that one drawing of the screen reads."""

    title: str
    snapshot: Snapshot
    record: RecordState
    check: CheckView
    said: str
    shows_walk: bool = False
    """The walk's table in place of the verdict."""
    first_reason: int = 0
    """Of the verdict's findings, the first that is shown."""
    width: int
    rows: int
    """Without the foot."""


def check_page(look: CheckLook) -> list[Line]:
    """Return all rows of the screen."""
    width, check = look.width, look.check
    head = [
        header(
            identity=look.snapshot.identity,
            title=look.title,
            record=look.record,
            is_replay=False,
            width=width,
        )
    ]
    if look.record.trouble:
        head.append(trouble_row(look.record, width))
    caution = (fit(cautions.BESIDE_A_TITLE, width - 15), Ink.TITLE)
    head.append(line(width, (" RANGE CHECK  ", Ink.TITLE_STRONG), caution, pad=Ink.TITLE))
    head += steps(check, width)
    said = _said(look)
    is_large = width >= _LARGE_FROM[0] and look.rows >= _LARGE_FROM[1] - 1
    if check.step is Step.VERDICT and not look.shows_walk:
        rows = _left(look, head, said)
        body = check_verdict(
            check, width=width, rows=rows, scale=4 if is_large else 2, first=look.first_reason
        )
        return (head + body + said)[: look.rows]
    if check.step is not Step.VERDICT:
        head += _instruction(look, is_large=is_large)
    scale = 2 if is_large else 1
    if _left(look, head, said) >= rows_of(scale) + 3:
        head += check_figures(look.snapshot, width=width, scale=scale)
    rows = _left(look, head, said)
    if check.step in (Step.SENSORS, Step.FAILSAFE):
        body = so_far(check, width=width, rows=rows)
    else:
        body = _walk(look, rows)
    return (head + body + said)[: look.rows]


def _walk(look: CheckLook, rows: int) -> list[Line]:
    """Return the table of the walk, and below it the levels drawn where there is room."""
    walk, marks = look.check.walk, {hold.mark for hold in look.check.walk.holds}
    table_rows = len(marks | ({walk.mark} if walk.mark is not None else set())) + 2
    plot = check_plot(
        walk,
        threshold_dbm=look.snapshot.control.threshold_dbm,
        width=look.width,
        rows=rows - table_rows,
    )
    return [*check_table(walk, width=look.width, rows=rows - len(plot)), *plot]


def _left(look: CheckLook, head: list[Line], said: list[Line]) -> int:
    return max(look.rows - len(head) - len(said), 0)


def _instruction(look: CheckLook, *, is_large: bool) -> list[Line]:
    width, check = look.width, look.check
    drawn = [line(width, (" DO THIS NOW", Ink.TITLE), pad=Ink.TITLE)]
    if is_large:
        drawn.append(line(width))
    told = wrap(check.instruction, width - 3, 2)
    drawn += [line(width, (f"  {text}", Ink.STRONG)) for text in [*told, "", ""][:2]]
    caution = _CAUTIONS.get(check.step, "")
    drawn.append(line(width, (f"  {fit(caution, width - 3)}", Ink.THIN)))
    drawn.append(_bar(look))
    if is_large:
        drawn.append(line(width))
    return drawn


def _bar(look: CheckLook) -> Line:
    """Return how far the hold or the turn has come, else the step."""
    share, said = _progress(look.check)
    end: list[Run] = [(f"  {said:<18}", Ink.STRONG)]
    room = max(look.width - cells(end) - 2, 0)
    full = round(min(max(share, 0.0), 1.0) * room)
    return spread(
        look.width,
        [("  ", Ink.TEXT), ("█" * full, Ink.MARGIN_AREA), ("░" * (room - full), Ink.FAINT)],
        end,
    )


def _progress(check: CheckView) -> tuple[float, str]:
    walk = check.walk
    here = {hold.heading_deg for hold in walk.holds if hold.mark == walk.mark}
    if check.step is Step.WALK and walk.held_s > 0.0:
        held_s = min(walk.held_s, walk.hold_s)
        return held_s / walk.hold_s, f"hold {held_s:.1f} of {walk.hold_s:.0f} s"
    if check.step is Step.WALK and walk.heading_deg in here and len(here) < len(HEADINGS_DEG):
        return abs(walk.turned_deg) / 90.0, f"turned {walk.turned_deg:.0f} deg"
    step = next(each for each in check.steps if each.step is check.step)
    return step.progress, f"step {100.0 * step.progress:.0f} % done"


def _said(look: CheckLook) -> list[Line]:
    text = fit(look.said, max(look.width - 2, 0))
    return [line(look.width, (f" {text}", Ink.LABEL))]
