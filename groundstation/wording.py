"""Session events in words: one wording for lists, plain lines and the session file's index.

Also how words are broken into rows: a number stays with its unit, a command in one piece.
"""

from __future__ import annotations

import re
import textwrap

from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)

BOUND = "\u00a0"
"""A blank at which no row is broken. Foreign text has none: it is not printable."""

_TOGETHER = re.compile(
    r"`[^`]{1,40}`|(?<=\d) (?:dBm|dBi|dB|[kM]?Hz|deg/s|deg|km/h|mph|m/s²?|m|s|g|V|°C|%)(?![\w/])"
)


def kind_of(event: SessionEvent) -> str:
    """Return the event's kind, one word."""
    match event:
        case LevelChanged():
            return "level"
        case SourceChanged():
            return "source"
        case PassEnded():
            return "pass"
        case Noted(kind=kind):
            return kind


def describe(event: SessionEvent, unit: SpeedUnit = SpeedUnit.KMH) -> str:
    """Return the event as one line of plain text, free of control characters."""
    match event:
        case LevelChanged(level=level, reason=reason):
            text = f"{level}: {reason}"
        case SourceChanged(state=state, detail=detail):
            # A sentence that begins with the state says it already.
            said = detail.lower().startswith(state)
            text = detail if said else f"{state}: {detail}".removesuffix(": ")
        case PassEnded():
            text = _describe_pass(event, unit)
        case Noted(text=noted):
            text = noted
    return printable(text)


def printable(text: str) -> str:
    """Return text without characters that could move a cursor or reorder a line."""
    return "".join(mark if mark.isprintable() else "\ufffd" for mark in text)


def bound(text: str) -> str:
    """Return text with `BOUND` for the blanks within a command and between number and unit."""
    return _TOGETHER.sub(lambda found: found[0].replace(" ", BOUND), text)


def filled(text: str, width: int, *, first: str = "", then: str = "") -> list[str]:
    """Return text broken into rows of a width, each led by blanks or a mark of its own."""
    rows = textwrap.wrap(
        bound(text),
        width,
        initial_indent=first,
        subsequent_indent=then,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace(BOUND, " ") for row in rows]


def clock_text(at_s: float) -> str:
    """Return a time of the session clock as minutes, seconds and tenths: `3:07.4`."""
    tenths = int(at_s * 10 + 1e-6)
    return f"{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"


def _describe_pass(ended: PassEnded, unit: SpeedUnit) -> str:
    peak = f"pass {ended.number}: peak {unit.from_mps(ended.peak_speed_mps):.1f} {unit}"
    if ended.satellite_peak_mps is not None:
        peak += f" (satellite {unit.from_mps(ended.satellite_peak_mps):.1f})"
    parts = [peak]
    if ended.lowest_margin_db is not None:
        at_m = ended.lowest_margin_at_m
        where = "" if at_m is None else f" at {at_m:.0f} m"
        parts.append(f"lowest margin {ended.lowest_margin_db:.1f} dB{where}")
    if ended.yaw_rate_abs_dps is not None:
        parts.append(f"yaw {ended.yaw_rate_abs_dps:.0f} deg/s")
    if ended.accel_z_max_g is not None:
        sign = "at least " if ended.clipped else ""
        parts.append(f"shocks to {sign}{ended.accel_z_max_g:.1f} g")
    if ended.braking_mps2 is not None:
        parts.append(f"braking {ended.braking_mps2:.1f} m/s²")
    return ", ".join(parts)
