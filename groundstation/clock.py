"""Where time comes from. The core never asks; whoever runs it passes a clock in."""

from __future__ import annotations

import asyncio
import time
from typing import Protocol


class Clock(Protocol):
    """A monotonic clock that can also wait."""

    def now_s(self) -> float:
        """Return seconds on this clock; the zero means nothing. May be called from any thread."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait for `seconds` of this clock."""
        ...


class MonotonicClock:
    """The system's monotonic clock."""

    def now_s(self) -> float:
        """Return seconds since some fixed moment."""
        return time.monotonic()

    async def sleep(self, seconds: float) -> None:
        """Wait for `seconds`."""
        await asyncio.sleep(max(seconds, 0.0))
