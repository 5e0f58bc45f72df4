"""The order of one vehicle's frames: its clock unrolled, its losses counted.

Owns the reading of the header's two counters. The sequence number (16 bits, one count over
all kinds) is compared by serial-number arithmetic (RFC 1982). The clock (32 bits, microseconds)
wraps every 71.6 minutes and is unrolled by the arrival time, so that a silence of any length
is bridged; a clock that jumps where no wrap explains it is a reboot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

CLOCK_WRAP_US = 1 << 32
SEQUENCE_WRAP = 1 << 16

LATE_US = 2_000_000
"""How far the clock may step back, and how long after a newer one a frame may arrive: frames
are overtaken on UDP, and a fix is stamped when measured."""

AHEAD_US = 10_000_000
"""How far the clock may run ahead of the arrival time, when a backlog is handed over at once."""

MAX_FRAMES_PER_S = 2000
"""More frames than this per second of clock cannot have been lost: the count began anew."""

MAX_FRAMES_AT_ONCE = 16
"""So many frames more, because a car may send several with one reading of its clock."""


def sequence_step(earlier: int, later: int) -> int:
    """Return how far `later` lies ahead of `earlier`, -32768 to 32767 (RFC 1982).

    RFC 1982 leaves a distance of exactly half the numbers undefined; here it lies behind.
    """
    half = SEQUENCE_WRAP // 2
    return (later - earlier + half) % SEQUENCE_WRAP - half


class Place(NamedTuple):
    """Where a frame stands among its vehicle's frames."""

    vehicle_us: int
    """The clock, unrolled."""
    missed: int = 0
    """Frames lost just before this one."""
    late: bool = False
    rebooted: bool = False


@dataclass(slots=True)
class Order:
    """Follows the two counters of one vehicle."""

    sequence: int = -1
    clock_us: int = 0
    """The clock as it came, of the newest frame."""
    vehicle_us: int = 0
    """The same, unrolled."""
    at_s: float | None = None

    def place(self, sequence: int, clock_us: int, at_s: float | None) -> Place:
        """Return where the frame stands, and take note of it.

        Args:
            sequence: The frame's sequence number.
            clock_us: The frame's clock, as it came.
            at_s: Arrival on the session clock; None where it is not known.
        """
        if self.sequence < 0:
            return self._follow(sequence, clock_us, at_s, Place(clock_us))
        step = sequence_step(self.sequence, sequence)
        ahead_us = (clock_us - self.clock_us + LATE_US) % CLOCK_WRAP_US - LATE_US
        waited_us = None if at_s is None or self.at_s is None else round((at_s - self.at_s) * 1e6)
        if (
            ahead_us < LATE_US
            and (step < 0 or (step == 0 and ahead_us <= 0))
            and (waited_us is None or waited_us <= LATE_US)
        ):
            return Place(self.vehicle_us + ahead_us, late=True)
        if ahead_us < 0:
            missed = _missed(step, LATE_US)
            if missed is not None:
                # A later frame stamped with an earlier measurement: the clock keeps its newest
                # reading.
                place = Place(self.vehicle_us + ahead_us, missed)
                self.sequence, self.at_s = sequence, at_s
                return place
        elif waited_us is None:
            missed = _missed(step, ahead_us) if ahead_us < CLOCK_WRAP_US // 2 else None
        else:
            ahead_us += max(0, round((waited_us - ahead_us) / CLOCK_WRAP_US)) * CLOCK_WRAP_US
            missed = _missed(step, ahead_us) if ahead_us <= waited_us + AHEAD_US else None
        if missed is None:
            place = Place(self.vehicle_us + max(waited_us or 0, 0), rebooted=True)
        else:
            place = Place(self.vehicle_us + ahead_us, missed)
        return self._follow(sequence, clock_us, at_s, place)

    def _follow(self, sequence: int, clock_us: int, at_s: float | None, place: Place) -> Place:
        self.sequence, self.clock_us, self.at_s = sequence, clock_us, at_s
        self.vehicle_us = place.vehicle_us
        return place


def _missed(step: int, ahead_us: int) -> int | None:
    """Return the frames lost in a gap, None where the sequence numbers cannot have gone on.

    A gap longer than the counter is ambiguous by whole wraps; the fewest lost frames are taken,
    so a loss is never overstated.
    """
    missed = (step - 1) % SEQUENCE_WRAP
    if (missed - MAX_FRAMES_AT_ONCE) * 1_000_000 > MAX_FRAMES_PER_S * ahead_us:
        return None
    return missed
