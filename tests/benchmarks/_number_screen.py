"""The baseline of the latency benchmark: a minimal screen with one number from a serial port.

`python -m tests.benchmarks._number_screen SOURCE poll|at-once`: the speed is drawn 20 times a
second, or as soon as it has arrived.
"""

from __future__ import annotations

import sys

from textual.app import App, ComposeResult
from textual.widgets import Static

from groundstation.clock import MonotonicClock
from groundstation.inbound import BytesReceived
from groundstation.screens.base import REFRESH_HZ
from groundstation.sources.base import open_source
from protocol import Receiver, SampleReceived, Value

NUMBER_ROW = 3
"""Where the number stands, counted from 1; nothing else is ever drawn there."""


class NumberApp(App[None]):
    """Shows the newest speed, and nothing else."""

    CSS = f"Static {{ height: 1; margin-top: {NUMBER_ROW - 1}; }}"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS = [("q", "quit", "quit")]  # noqa: RUF012

    def __init__(self, source: str, *, at_once: bool) -> None:
        super().__init__()
        self._source = source
        self._at_once = at_once
        self._number = Static("no speed")
        self._speed_mps: Value = None
        self._shown_mps: Value = None

    def compose(self) -> ComposeResult:
        yield self._number

    def on_mount(self) -> None:
        if not self._at_once:
            self.set_interval(1 / REFRESH_HZ, self.show)
        self.run_worker(self.read())

    def show(self) -> None:
        if self._speed_mps != self._shown_mps:
            self._shown_mps = self._speed_mps
            self._number.update(f"{self._speed_mps} m/s", layout=False)

    async def read(self) -> None:
        receiver = Receiver()
        async with open_source(self._source, clock=MonotonicClock()) as source:
            async for inbound in source.events():
                if not isinstance(inbound, BytesReceived):
                    continue
                for event in receiver.receive_data(inbound.data, inbound.at_s):
                    if isinstance(event, SampleReceived) and event.kind.name == "motion":
                        self._speed_mps = event.values["speed_mps"]
                        if self._at_once:
                            self.show()


if __name__ == "__main__":
    NumberApp(sys.argv[1], at_once=sys.argv[2] == "at-once").run()
