"""Axes of strip charts: round ends that hold still while the values move under them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor, log10

from groundstation.vehicle.traces import Span


@dataclass(frozen=True, slots=True)
class Axis:
    """The values at the foot and at the head of a chart."""

    low: float
    high: float

    def share(self, value: float) -> float:
        """Return where a value lies, 0 at the foot to 1 at the head, clamped."""
        return min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)


def round_up(value: float, *, least: float) -> float:
    """Return the next 1, 1.5, 2, 3, 5 times a power of ten that is not under a value.

    Args:
        value: What must fit.
        least: The smallest answer, itself such a number.
    """
    if value <= least:
        return least
    power = 10.0 ** floor(log10(value))
    return next(step * power for step in (1, 1.5, 2, 3, 5, 10) if step * power >= value - 1e-9)


def from_zero(spans: Iterable[Span | None], *, least: float) -> Axis:
    """Return an axis from 0 to a round head over all spans."""
    return Axis(0.0, round_up(max((s[1] for s in spans if s), default=0.0), least=least))


def both_ways(spans: Iterable[Span | None], *, least: float) -> Axis:
    """Return an axis with 0 in its middle."""
    head = round_up(max((max(-s[0], s[1]) for s in spans if s), default=0.0), least=least)
    return Axis(-head, head)


def margin_axis(spans: Iterable[Span | None]) -> Axis:
    """Return an axis up to 40 dB, going below 0 in steps of 20 only where values do.

    Its head never moves: the same height is always the same margin, and more than 40 dB is plenty.
    """
    low = min((span[0] for span in spans if span), default=0.0)
    return Axis(min(20.0 * floor(low / 20), 0.0), 40.0)
