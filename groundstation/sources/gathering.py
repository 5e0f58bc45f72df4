"""How long bytes may gather before they are read: not at all, unless they come very fast.

Understanding a frame costs less than waking up for it. A stream that is faster than any usual one
is therefore left alone for a few milliseconds after each read; all others are read as they come.
"""

from __future__ import annotations

from math import inf

FAST_BYTES_PER_S = 16_000.0
"""Twice what 200 motion frames a second are with all that goes with them, and more than 115200 baud
carry: nobody whose frames come a few milliseconds apart waits for the sake of the processor."""

GATHER_S = 0.008
"""Below the 20 ms in which the screen's figures follow, and the 50 ms of a tick. Where the cable is
pulled, so much of the end is lost with the port."""

GATHER_BYTES = 2048
"""Half of what a port's buffer holds: the other half is for a wait that oversleeps. It ends the
wait early above 256 kB/s, 2.5 Mbaud."""

WINDOW_S = 0.1
"""Over so long the speed is taken, so that the pieces of one frame are no fast stream."""


class Gathering:
    """Follows the speed of one stream."""

    def __init__(self) -> None:
        self._wait_s = 0.0
        self._since_s = -inf
        self._bytes = 0

    def wait_s(self, size: int, at_s: float) -> float:
        """Take note of `size` bytes read at `at_s`; return how long to leave the next alone."""
        self._bytes += size
        window_s = at_s - self._since_s
        if window_s >= WINDOW_S:
            bytes_per_s = self._bytes / window_s
            is_fast = bytes_per_s > FAST_BYTES_PER_S
            self._wait_s = min(GATHER_S, GATHER_BYTES / bytes_per_s) if is_fast else 0.0
            self._since_s, self._bytes = at_s, 0
        return self._wait_s
