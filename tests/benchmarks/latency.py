"""From bytes at the serial port to changed bytes on the terminal: the speed leaves idle.

A steady stream of motion frames at 100 Hz says one speed; at random moments it says another, and
the clock runs from the writing of that frame to the first bytes that the screen writes into the
rows in which speed stands. Baselines, in the same run behind the same port: a minimal screen with
that one number, drawn 20 times a second, and drawn as soon as it has arrived.

A screen of 20 Hz waits 25 ms in the mean, and 47.5 ms at the 95th percentile, by design; our
figures follow at 50 Hz and wait 10 and 19 ms. What it takes beyond that is its own slowness.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import sys
from collections.abc import Sequence
from itertools import count
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from time import perf_counter

from groundstation.screens.app import FIGURES_HZ
from groundstation.screens.base import REFRESH_HZ
from groundstation.screens.drawing.plan import plan
from groundstation.sources.pseudo_terminal import PseudoTerminal
from protocol import Sender, Value
from tests.benchmarks._number_screen import NUMBER_ROW
from tests.benchmarks._targets import Row
from tests.benchmarks._terminal import COLUMNS, ROWS, Terminal

PERIOD_S = 0.01
SPEEDS_MPS = (3.0, 6.0)
"""Below a pass, and in figures that differ in every unit."""

SETTLE_S = 3.0
PAUSE_S = (0.15, 0.30)
"""Between an answer and the next change; any phase of a screen's rhythm is as likely."""

LONGEST_S = 1.0
SEED = 3

_PLACED = re.compile(rb"\x1b\[(\d+)(?:;\d*)?H")
"""The cursor is sent to a row."""

QUICK = ("--events", "50")


class Car:
    """Sends frames at a steady pace into a port, with the speed it is told."""

    def __init__(self, port: PseudoTerminal) -> None:
        self.speed_mps = SPEEDS_MPS[0]
        self._port = port
        self._sender = Sender()
        self._numbers = count()
        self._began_s = self._due_s = perf_counter()

    def until_due_s(self) -> float:
        return max(self._due_s - perf_counter(), 0.0)

    def send(self) -> None:
        """Send what is due, and plan the next."""
        number = next(self._numbers)
        if number % 200 == 0:
            self._write("ident", {"control_sensitivity_dbm": -105.0, "accel_full_scale_g": 16.0})
        if number % 4 == 0:
            radio: dict[str, Value] = {"control_rssi_dbm": -60.0, "control_received_percent": 100}
            self._write("radio", radio)
        self._write(
            "motion",
            {
                "speed_mps": self.speed_mps,
                "yaw_rate_dps": 0.0,
                "accel_x_g": 0.0,
                "accel_y_g": 0.0,
                "accel_z_g": 1.0,
                "accel_z_max_g": 1.0,
                "accel_z_min_g": 1.0,
                "clipped_samples": 0,
                "failsafe_active": False,
            },
        )
        self._due_s += PERIOD_S

    def _write(self, kind: str, values: dict[str, Value]) -> None:
        clock_us = round((self._due_s - self._began_s) * 1e6)
        self._port.write(self._sender.encode(kind, values, clock_us))


def reaches_rows(written: bytes, rows: range) -> bool:
    """Return whether the cursor is sent to one of some rows, counted from 1."""
    return any(int(row) in rows for row in _PLACED.findall(written))


def measure(
    command: Sequence[str], rows: range, *, port: PseudoTerminal, events: int
) -> list[float]:
    """Return the delay of each event in seconds."""
    pause_s = random.Random(SEED).uniform
    delays_s: list[float] = []
    car = Car(port)
    with Terminal(command, os.environ) as terminal:
        give_up_s = terminal.began_s + SETTLE_S + LONGEST_S * events
        next_event_s = terminal.began_s + SETTLE_S
        changed_s: float | None = None
        while len(delays_s) < events:
            written, seen_s = terminal.read(car.until_due_s())
            if reaches_rows(written, rows):
                if changed_s is not None:
                    delays_s.append(seen_s - changed_s)
                    changed_s = None
                # What still comes into these rows by then was no answer to the next change.
                next_event_s = max(next_event_s, seen_s + pause_s(*PAUSE_S))
            elif seen_s > give_up_s:
                raise RuntimeError("the changes do not reach the terminal, or more than they do")
            if car.until_due_s() > 0.0:
                continue
            if changed_s is None and seen_s >= next_event_s:
                car.speed_mps = SPEEDS_MPS[car.speed_mps == SPEEDS_MPS[0]]
                changed_s = perf_counter()
            car.send()
    return delays_s


def run(events: int) -> dict[str, dict[str, float]]:
    """Return the median and the 95th percentile of each screen, in milliseconds."""
    figures = plan(COLUMNS, ROWS, is_replay=False, has_trouble=False)
    # The upper rows of the large figures; below them, time that the level has held counts on.
    above = figures.header + figures.banner + 1
    our_rows = range(above + 1, above + 1 + 2 * figures.scale)
    number_rows = range(NUMBER_ROW, NUMBER_ROW + 1)
    number_screen = [sys.executable, "-m", "tests.benchmarks._number_screen"]
    found = {}
    with TemporaryDirectory() as name, PseudoTerminal() as port:
        settings = Path(name) / "settings.toml"
        settings.touch()
        source = f"serial:{port.path}"
        ours = [sys.executable, "-m", "groundstation", "live", source]
        ours += ["--settings", str(settings), "--sessions", name]
        for screen, command, rows in (
            ("groundstation live", ours, our_rows),
            (f"one number, {REFRESH_HZ:.0f} Hz", [*number_screen, source, "poll"], number_rows),
            ("one number, at once", [*number_screen, source, "at-once"], number_rows),
        ):
            delays_s = measure(command, rows, port=port, events=events)
            found[screen] = {
                "p50_ms": median(delays_s) * 1e3,
                "p95_ms": quantiles(delays_s, n=20, method="inclusive")[-1] * 1e3,
                "best_ms": min(delays_s) * 1e3,
                "worst_ms": max(delays_s) * 1e3,
            }
    return found


def targets(found: dict[str, dict[str, float]]) -> list[Row]:
    """Return what was to be reached."""
    baseline = f"one number, {REFRESH_HZ:.0f} Hz"
    p95_ms = found["groundstation live"]["p95_ms"]
    ratio = p95_ms / found[baseline]["p95_ms"]
    work = "serial port to terminal, 95 of 100"
    return [Row(work, f"{p95_ms:.1f} ms", "< 25 ms", p95_ms < 25, baseline, ratio)]


def main(argv: list[str]) -> int:
    """Print how long bytes take to the terminal, beside the baselines."""
    parser = argparse.ArgumentParser(prog="latency", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--events", type=int, default=200, help="changes of speed for each screen")
    options = parser.parse_args(argv)
    found = run(options.events)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"serial port to terminal, {COLUMNS}x{ROWS}, {options.events} changes of speed each; ms")
    print("                          p50     p95    best   worst   (target: p95 < 25)")
    for screen, row in found.items():
        print(f"  {screen:20}  {row['p50_ms']:7.1f} {row['p95_ms']:7.1f} ", end="")
        print(f"{row['best_ms']:7.1f} {row['worst_ms']:7.1f}")
    for rate_hz in (FIGURES_HZ, REFRESH_HZ):
        wait_ms = 1e3 / rate_hz
        p50_ms, p95_ms = wait_ms * 0.5, wait_ms * 0.95
        print(f"  by design at {rate_hz:.0f} Hz  {p50_ms:8.1f} {p95_ms:7.1f} ", end="")
        print(f"{0.0:7.1f} {wait_ms:7.1f}")
    return 0
