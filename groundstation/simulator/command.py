"""What the transmitter sends: throttle and steering, from the driver to the control receiver."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Command:
    """What the transmitter sends."""

    throttle: float = 0.0
    """-1 (full brake) to 1."""
    steering_percent: float = 0.0
    """Positive to the left."""


REST = Command()
"""At a standstill: finger off, wheels straight."""
