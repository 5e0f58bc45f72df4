"""The list of what happened, newest at the foot."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.level import BARS, INKS, MARKS
from groundstation.screens.drawing.text import cells, line, named, wrap
from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import LevelChanged, SessionEvent
from groundstation.wording import clock_text, describe, kind_of

_TIME_CELLS = 8


def happenings(
    events: Sequence[SessionEvent],
    *,
    unit: SpeedUnit,
    width: int,
    rows: int,
    titled: bool = False,
) -> list[Line]:
    """Return the newest events that fit, under a title where one is wanted."""
    drawn = [line(width, (" EVENTS", Ink.TITLE), pad=Ink.TITLE)] if titled else []
    room = max(rows - len(drawn), 0)
    told: list[Line] = []
    for event in reversed(list(events)[-room:] if room else []):
        if len(told) == room:
            break
        told = _rows(event, unit, width, room - len(told)) + told
    drawn += told
    return drawn + [line(width)] * (rows - len(drawn))


def _rows(event: SessionEvent, unit: SpeedUnit, width: int, most: int) -> list[Line]:
    """Return an event as one row, or as two where it needs and has them."""
    lead, text = _worded(event, unit)
    time = (f"{clock_text(event.at_s):>{_TIME_CELLS}}  ", Ink.FAINT)
    room = max(width - _TIME_CELLS - 3 - cells(lead), 1)
    first, *more = wrap(text, room, min(most, 2)) or [""]
    under = (" " * (_TIME_CELLS + 2 + cells(lead)), Ink.FAINT)
    return [
        line(width, time, *lead, (first, Ink.TEXT)),
        *(line(width, under, (each, Ink.TEXT)) for each in more),
    ]


def _worded(event: SessionEvent, unit: SpeedUnit) -> tuple[list[Run], str]:
    """Return what stands before an event's words, and the words."""
    if not isinstance(event, LevelChanged):
        return [], named(kind_of(event), describe(event, unit))
    word = f"{MARKS[event.level]} {event.level}"
    if event.level in BARS:
        return [(f" {word} ", BARS[event.level]), (" ", Ink.TEXT)], event.reason
    return [(word, INKS[event.level]), (" ", Ink.TEXT)], event.reason
