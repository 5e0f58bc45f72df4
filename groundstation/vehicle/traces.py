"""The last minutes of the charted channels, as lowest-to-highest per tick.

Owns what strip charts draw. A chart of fewer columns than ticks merges neighbours by their
extremes, so no peak is ever lost to drawing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

TICK_S = 0.05
"""The grid of the session clock on which silence, levels and charts are looked at."""

CHARTED = ("speed_mps", "yaw_rate_dps", "accel_y_g", "accel_z_g", "margin_db")
"""Channels with a trace; margin_db is the control link's."""

KEPT_S = 120.0

Span = tuple[float, float]
"""Lowest and highest."""

COURSE_BIN_M = 5.0
COURSE_BINS = 400
"""Places remembered: two kilometres, far beyond any control link of such a car."""


def widen(swings: dict[str, Span], channel: str, value: float | None) -> None:
    """Widen a channel's swing since the last tick to a value, where it is known."""
    if value is None:
        return
    low, high = swings.get(channel, (value, value))
    if value < low:
        low = value
    if value > high:
        high = value
    swings[channel] = (low, high)


class Traces:
    """Remembers the swings of the charted channels."""

    def __init__(self) -> None:
        self._ticks: deque[tuple[float, Mapping[str, Span]]] = deque(maxlen=round(KEPT_S / TICK_S))

    def clear(self) -> None:
        """Forget everything, as after a seek."""
        self._ticks.clear()

    def add(self, at_s: float, swings: Mapping[str, Span]) -> None:
        """Take note of the swings since the tick before."""
        self._ticks.append((at_s, swings))

    def columns(self, channel: str, *, seconds: float, count: int) -> list[Span | None]:
        """Return the channel's last `seconds` in `count` columns, oldest first.

        Column borders lie on a fixed grid of the session clock, so a chart scrolls by whole columns
        and does not shimmer. A column in which nothing was heard is None.
        """
        columns: list[Span | None] = [None] * count
        if not self._ticks:
            return columns
        width_s = seconds / count
        newest = int(self._ticks[-1][0] / width_s + 1e-9)
        for at_s, swings in reversed(self._ticks):
            place = count - 1 - (newest - int(at_s / width_s + 1e-9))
            if place < 0:
                break
            span = swings.get(channel)
            if span is None:
                continue
            held = columns[place]
            columns[place] = (
                span if held is None else (min(held[0], span[0]), max(held[1], span[1]))
            )
        return columns


class CourseTrace:
    """The margin over distance, of the pass that runs or the last one."""

    def __init__(self) -> None:
        self._bins: dict[int, Span] = {}

    def clear(self) -> None:
        """Forget everything: a new pass begins."""
        self._bins.clear()

    def add(self, distance_m: float, margin_db: Span) -> None:
        """Take note of the margins heard at a place."""
        place = int(distance_m / COURSE_BIN_M)
        if 0 <= place < COURSE_BINS:
            held = self._bins.get(place, margin_db)
            self._bins[place] = (min(held[0], margin_db[0]), max(held[1], margin_db[1]))

    def places(self) -> list[tuple[float, Span]]:
        """Return distance in metres and margins in dB, nearest first."""
        return [((place + 0.5) * COURSE_BIN_M, span) for place, span in sorted(self._bins.items())]
