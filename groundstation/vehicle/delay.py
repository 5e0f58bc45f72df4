"""The vehicle's clock against arrival times: how late a frame is, how unsteady the link.

The two clocks have no common zero, so the shortest delay seen stands for "no delay" (the lower
envelope of arrival time less vehicle time). It is taken over the last minute, so that a drift of
the car's oscillator does not pile up.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ENVELOPE_S = 60


@dataclass(slots=True)
class Delay:
    """Follows the delay of one vehicle's frames."""

    seconds: list[tuple[int, float]] = field(default_factory=list)
    """Whole second of the session, smallest offset in it."""
    offset_s: float | None = None
    """Arrival less vehicle time, of the newest frame."""
    jitter_s: float = 0.0
    frames: int = 0

    def restart(self) -> None:
        """Forget the clock: the vehicle was switched off and on."""
        self.seconds, self.offset_s = [], None

    def take(self, vehicle_s: float, at_s: float) -> None:
        """Take note of a frame that is not late."""
        offset_s = at_s - vehicle_s
        if self.offset_s is not None:
            # RFC 3550, section 6.4.1 and A.8: J += (|D| - J) / 16.
            self.jitter_s += (abs(offset_s - self.offset_s) - self.jitter_s) / 16
        self.offset_s = offset_s
        self.frames += 1
        second = int(at_s)
        if self.seconds and self.seconds[-1][0] == second:
            if offset_s < self.seconds[-1][1]:
                self.seconds[-1] = (second, offset_s)
            return
        self.seconds.append((second, offset_s))
        while self.seconds[0][0] < second - ENVELOPE_S:
            del self.seconds[0]

    @property
    def envelope_s(self) -> float | None:
        """Smallest offset of the last minute: vehicle time plus this is the earliest arrival."""
        return min((offset_s for _, offset_s in self.seconds), default=None)

    @property
    def latency_s(self) -> float | None:
        """Delay of the newest frame beyond the smallest seen."""
        envelope_s = self.envelope_s
        if self.offset_s is None or envelope_s is None:
            return None
        return self.offset_s - envelope_s

    @property
    def jitter(self) -> float | None:
        """Smoothed change of the delay, seconds; None before the second frame."""
        return self.jitter_s if self.frames > 1 else None
