"""Who leads a check without a screen: a script, lines on standard input, or the walk itself."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterable, Sequence

from groundstation.cli.check_script import Saying
from groundstation.cli.checking import CheckStation
from groundstation.rangecheck.view import Step
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import TICK_S


class Leader:
    """A listener that says what is due, and notices the end."""

    def __init__(self, station: CheckStation, sayings: Sequence[Saying]) -> None:
        self._station = station
        self._sayings = list(sayings)
        self.finished = asyncio.Event()

    def happened(self, event: SessionEvent) -> None:
        """Wait for ticks."""

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Say what is due at this tick of the session clock."""
        while self._sayings and self._sayings[0].at_s <= tick * TICK_S:
            self._station.tell(self._sayings.pop(0).words)
        if not self._sayings and self._station.check.step is Step.VERDICT:
            self.finished.set()

    def follow(self, lines: Iterable[str]) -> None:
        """Say every line, until they end: then nobody leads any more, and the verdict is due."""
        loop = asyncio.get_running_loop()

        def read() -> None:
            try:
                for line in lines:
                    if line.strip():
                        loop.call_soon_threadsafe(self._station.tell, line.strip())
                loop.call_soon_threadsafe(self._station.tell, "verdict")
            except RuntimeError:
                # The loop is closed: the check is over, and nobody listens.
                return

        # A daemon: a read that never returns must not keep the program.
        threading.Thread(target=read, name="words", daemon=True).start()


async def lead(
    station: CheckStation,
    sayings: Sequence[Saying],
    *,
    lines: Iterable[str] | None,
    for_s: float | None,
) -> None:
    """Run a check to its verdict, to the end of its source or of its time."""
    leader = Leader(station, sayings)
    station.add_listener(leader)
    if lines is not None:
        leader.follow(lines)
    running = asyncio.ensure_future(station.run(for_s))
    finishing = asyncio.ensure_future(leader.finished.wait())
    try:
        await asyncio.wait({running, finishing}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        finishing.cancel()
        if not running.done():
            running.cancel()
            await asyncio.wait({running})
    if not running.cancelled():
        running.result()
