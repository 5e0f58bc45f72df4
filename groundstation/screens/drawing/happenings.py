"""The list of what happened, newest at the foot."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.level import BARS, INKS, MARKS
from groundstation.screens.drawing.text import fit, line, named, wrap
from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import (
    LevelChanged,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
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
    """Return an event as one row; the summary of a pass as two, where it needs and has them."""
    if not isinstance(event, PassEnded):
        return [_row(event, unit, width)]
    first, *more = wrap(describe(event, unit), max(width - _TIME_CELLS - 3, 1), min(most, 2))
    time = (f"{clock_text(event.at_s):>{_TIME_CELLS}}  ", Ink.FAINT)
    under = (" " * (_TIME_CELLS + 2), Ink.FAINT)
    return [
        line(width, time, (first, Ink.TEXT)),
        *(line(width, under, (each, Ink.TEXT)) for each in more),
    ]


def _row(event: SessionEvent, unit: SpeedUnit, width: int) -> Line:
    time = (f"{clock_text(event.at_s):>{_TIME_CELLS}}  ", Ink.FAINT)
    room = max(width - _TIME_CELLS - 3, 0)
    if isinstance(event, LevelChanged):
        ink = BARS.get(event.level, INKS[event.level])
        word = f"{MARKS[event.level]} {event.level}"
        word = f" {word} " if event.level in BARS else word
        reason = fit(event.reason, max(room - len(word) - 1, 0))
        return line(width, time, (word, ink), (f" {reason}", Ink.TEXT))
    if isinstance(event, SourceChanged) and event.detail.startswith(event.state):
        return line(width, time, (fit(f"source {event.detail}", room), Ink.TEXT))
    text = named(kind_of(event), describe(event, unit))
    return line(width, time, (fit(text, room), Ink.TEXT))
